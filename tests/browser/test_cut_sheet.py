"""The cut sheet in the browser: look, cut, and take it back."""

import re

import pytest
from playwright.sync_api import Page, expect

from inventory.models import StabilizerRoll
from inventory.shelf.receipts import receive_offcut
from planning.jobs.jobs import JobFacts, make_job
from planning.library.designs import keep_design
from planning.models import Fabric, Job
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW, a_delivery, a_roll, a_shade, a_spool, a_stabilizer, some_bobbins


@pytest.fixture
def job(transactional_db, stitch_file, workshop, settings, tmp_path) -> Job:
    settings.MEDIA_ROOT = tmp_path / "files"
    a_spool(a_shade("R", hex="#b01c2e", name="harbour red"))
    some_bobbins(count=20)
    a_roll()
    receive_offcut(a_stabilizer(), width_mm=420, height_mm=400, delivery=a_delivery())
    path = stitch_file("#b01c2e")
    design = keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)
    twill = Fabric.objects.get(name="twill")
    return make_job(JobFacts(what="crew caps", pieces=10, fabric=twill), designs=[design], at=NOW, by=None)


def test_planning_cutting_and_undoing(job: Job, signed_in: Page, axe_is_silent, fits):
    page = signed_in
    page.goto(f"/jobs/{job.pk}/")
    page.get_by_role("link", name="Cut sheet").click()
    expect(page.locator(".answer")).to_contain_text("Enough to cut all of it")
    expect(page.locator("main svg[width='100%']").first).to_be_visible()
    expect(page.get_by_role("heading", name="Before you cut")).to_be_visible()
    axe_is_silent(page)
    before = StabilizerRoll.objects.get().on_hand

    page.get_by_role("button", name="Cut it").click()
    expect(page.get_by_text("Cut, and taken off the shelf.")).to_be_visible()
    assert StabilizerRoll.objects.get().on_hand < before
    axe_is_silent(page)

    with page.expect_navigation():
        page.get_by_role("link", name="Take this cut back").click()
    axe_is_silent(page)
    page.get_by_role("button", name="Take it back").click()
    page.wait_for_load_state()
    assert StabilizerRoll.objects.get().on_hand == before
    page.goto(f"/jobs/{job.pk}/cut/")
    expect(page.get_by_role("link", name="Take this cut back")).to_have_count(0)
    fits(page)
    axe_is_silent(page)


def test_only_what_is_needed_at_the_table_is_printed(job: Job, signed_in: Page):
    page = signed_in
    page.goto(f"/jobs/{job.pk}/cut/")
    page.emulate_media(media="print")
    expect(page.get_by_role("button", name="Cut it")).to_be_hidden()
    expect(page.get_by_role("table").first).to_be_visible()


def test_jobs_are_cut_together_and_the_cut_is_taken_back(job: Job, signed_in: Page, axe_is_silent, fits):
    design = job.placed.get().design
    other = make_job(
        JobFacts(what="sail bags", pieces=4, fabric=job.fabric), designs=[design], at=NOW, by=None
    )
    page = signed_in
    page.goto("/jobs/")
    page.get_by_role("heading", name="Cut stabilizer together").click()
    with page.expect_navigation():
        page.get_by_role("link", name="Cut stabilizer for several").click()
    axe_is_silent(page)
    page.get_by_label("crew caps").check()
    page.get_by_label("sail bags").check()
    page.get_by_role("button", name="Show the cut").click()
    expect(page.locator(".answer")).to_contain_text("one after another")
    expect(page.get_by_text(f"job {other.pk}: tear-away")).to_be_visible()
    axe_is_silent(page)
    before = StabilizerRoll.objects.get().on_hand
    page.get_by_role("button", name="Cut it").click()
    expect(page.locator(".answer")).to_contain_text("All of it is cut")
    axe_is_silent(page)
    page.get_by_role("link", name="Take this cut back").click()
    page.get_by_role("button", name="Take it back").click()
    page.wait_for_load_state()
    assert StabilizerRoll.objects.get().on_hand == before
    page.goto(f"/jobs/cut/?job={job.pk}&job={other.pk}")
    fits(page)


def test_the_day_stabilizer_runs_out_is_read_on_its_page(job: Job, signed_in: Page, axe_is_silent, fits):
    page = signed_in
    page.goto("/jobs/")
    page.get_by_role("heading", name="When stabilizer runs out").click()
    with page.expect_navigation():
        page.get_by_role("link", name="When stabilizer runs out").click()
    expect(page.get_by_role("heading", name="When stabilizer runs out")).to_be_visible()
    axe_is_silent(page)
    fits(page)
    axe_is_silent(page)


def test_a_job_s_cut_sheet_prints_on_one_page(job: Job, signed_in: Page):
    page = signed_in
    page.goto(f"/jobs/{job.pk}/cut/")
    printed = page.pdf(format="A4")
    assert len(re.findall(rb"/Type\s*/Page[^s]", printed)) == 1


def test_a_fabric_begins_with_a_recipe(signed_in: Page, axe_is_silent, fits):
    page = signed_in
    page.goto("/workshop/fabrics/add/")
    with page.expect_navigation():
        page.get_by_role("link", name="Very elastic").click()
    axe_is_silent(page)
    fits(page)
    page.get_by_label("Name").fill("rib")
    page.get_by_role("button", name="Add it").click()
    expect(page.get_by_role("heading", name="rib", exact=True)).to_be_visible()
    axe_is_silent(page)
