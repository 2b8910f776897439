"""A job from its promise to its report, on a phone beside the machine that loses the network for a while."""

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from inventory.ledger import ledger_problems
from inventory.models import Spool, StockItem
from planning.jobs.jobs import JobFacts, make_job
from planning.library.designs import keep_design
from planning.models import Job, Machine, Observation, RunEvent
from planning.run.promise import promise
from planning.run.ticks import begin
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW, a_roll, a_shade, a_spool, some_bobbins

RED, BLUE = "#b01c2e", "#1c2b8d"


@pytest.fixture
def job(transactional_db, workshop, settings, tmp_path, stitch_file) -> Job:
    settings.MEDIA_ROOT = tmp_path / "files"
    a_spool(a_shade("R", hex=RED, name="harbour red"), left_m=900)
    a_spool(a_shade("B", hex=BLUE, name="deep blue"), left_m=900)
    some_bobbins(count=20)
    a_roll()
    path = stitch_file(RED, BLUE, name="badge.pes", stitches=300)
    design = keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)
    wanted = JobFacts(what="crew caps", pieces=4, tests=1, machine=Machine.objects.first())
    made = make_job(wanted, designs=[design], at=NOW, by=None)
    return Job.objects.with_everything().get(pk=made.pk)


@pytest.fixture
def phone(phone_signed_in: tuple[BrowserContext, Page], job: Job) -> tuple[BrowserContext, Page]:
    return phone_signed_in


def weight_of(spool: StockItem) -> str:
    own = Spool.objects.select_related("shade__range", "put_up").get(pk=spool.pk)
    return f"{(own.empty_weight_mg + own.on_hand * own.shade.range.tex / 1000) / 1000:.1f}"


def test_a_job_is_promised_run_without_a_network_and_finished(phone, job, axe_is_silent):
    context, page = phone
    page.goto(f"/jobs/{job.pk}/")
    page.get_by_role("button", name="Promise it: set its material aside").click()
    expect(page.locator(".messages")).to_contain_text("the material for crew caps is set aside")
    page.get_by_role("button", name="Begin at the machine").click()
    expect(page.get_by_role("heading", name="Next: test 1")).to_be_visible()
    axe_is_silent(page)
    page.get_by_role("button", name="test 1: done").click()
    expect(page.get_by_role("heading", name="Next: piece 1")).to_be_visible()

    context.set_offline(True)
    page.get_by_role("button", name="piece 1: done").click()
    expect(page.get_by_text("1 entry waits on this device")).to_be_visible()
    page.get_by_role("button", name="piece 2: done").click()
    page.get_by_text("Something happened").click()
    page.get_by_role("button", name="It broke").first.click()
    expect(page.get_by_text("3 entries wait on this device")).to_be_visible()
    expect(page.get_by_role("heading", name="Next: piece 3")).to_be_visible()
    assert RunEvent.objects.filter(job=job).count() == 1

    context.set_offline(False)
    expect(page.get_by_text("wait on this device")).to_be_hidden()
    expect(page.get_by_text("Thread broke: piece 3")).to_be_visible()
    assert RunEvent.objects.filter(job=job).count() == 4

    page.get_by_role("button", name="piece 3: done").click()
    page.get_by_role("button", name="piece 4: done").click()
    expect(page.get_by_role("heading", name="Every piece is done")).to_be_visible()
    expect(page.get_by_text("Noted: piece 4: done")).to_be_visible()
    with page.expect_navigation():
        page.get_by_role("link", name="Finish", exact=True).click()
    axe_is_silent(page)
    for spool in Spool.objects.order_by("label"):
        page.get_by_label(f"{spool.label} weighs").fill(weight_of(spool))
    page.get_by_label("Steps of the scale").fill("0.1")
    page.get_by_label("Bobbins used").fill("1.5")
    page.get_by_role("button", name="Finish the job").click()
    expect(page.get_by_text("4 of 4")).to_be_visible()
    axe_is_silent(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    assert Observation.objects.filter(job=job, kind="needle").count() == 1  # both spools are of one range
    assert not ledger_problems()


def test_a_piece_spoiled_without_a_network_is_stitched_again_on_a_spare(phone, job):
    context, page = phone
    promise(job, at=NOW, by=None)
    begin(job, at=NOW)
    page.goto(f"/jobs/{job.pk}/run/")
    expect(page.get_by_role("heading", name="Next: test 1")).to_be_visible()
    context.set_offline(True)
    for called in ("test 1", "piece 1", "piece 2", "piece 3"):
        page.get_by_role("button", name=f"{called}: done").click()
    page.get_by_text("Something happened").click()
    page.get_by_role("button", name="It is spoiled").click()
    page.get_by_role("button", name="spare 1: done").click()
    expect(page.get_by_role("heading", name="Every piece is done")).to_be_visible()
    context.set_offline(False)
    expect(page.get_by_text("4 of 4 good, 1 spoiled")).to_be_visible()


def test_a_run_sheet_that_was_seen_opens_without_a_network(phone, job):
    context, page = phone
    promise(job, at=NOW, by=None)
    begin(job, at=NOW)
    page.goto(f"/jobs/{job.pk}/run/")
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.reload()  # now the worker is in charge and keeps the sheet
    expect(page.get_by_role("heading", name="Next: test 1")).to_be_visible()
    context.set_offline(True)
    page.get_by_role("button", name="test 1: done").click()
    page.reload()
    expect(page.get_by_role("heading", name="Next: piece 1")).to_be_visible()
    expect(page.get_by_text("1 entry waits on this device")).to_be_visible()


def test_the_pages_of_a_run_read_well_and_fit(job, signed_in: Page, axe_is_silent, fits):
    promise(job, at=NOW, by=None)
    begin(job, at=NOW)
    page = signed_in
    for path, heading in [
        (f"/jobs/{job.pk}/run/", "crew caps"),
        (f"/jobs/{job.pk}/", "crew caps"),
        ("/jobs/", "Jobs"),
        (f"/jobs/{job.pk}/finish/", "Finish crew caps"),
        (f"/jobs/{job.pk}/again/", "Same again: crew caps"),
        (f"/workshop/machines/{job.machine_id}/learned/", "What"),
    ]:
        page.goto(path)
        page.set_viewport_size({"width": 1280, "height": 900})
        expect(page.get_by_role("heading", level=1)).to_contain_text(heading)
        axe_is_silent(page)
        fits(page)


def test_the_run_sheet_prints_with_boxes_to_tick(job, signed_in: Page, tmp_path):
    promise(job, at=NOW, by=None)
    begin(job, at=NOW)
    page = signed_in
    page.goto(f"/jobs/{job.pk}/run/")
    page.emulate_media(media="print")
    expect(page.get_by_role("button", name="test 1: done")).to_be_hidden()
    expect(page.get_by_text("spare 1")).to_be_visible()
    expect(page.get_by_text("Keep fingers, hair")).to_be_visible()
    pdf = page.pdf(path=tmp_path / "run.pdf")
    assert pdf.count(b"/Type /Page\n") + pdf.count(b"/Type /Page ") + pdf.count(b"/Type/Page") >= 1
