"""Buying in the browser: from a shortage to what was received, with its labels."""

from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from inventory.models import Order, Spool
from planning.jobs.jobs import JobFacts, make_job
from planning.library.designs import keep_design
from planning.models import Job
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW, a_put_up, a_roll, a_shade, a_spool, an_offer, some_bobbins, use_up


@pytest.fixture
def job(transactional_db, stitch_file, workshop, settings, tmp_path) -> Job:
    settings.MEDIA_ROOT = tmp_path / "files"
    red = a_shade("R", hex="#b01c2e", name="harbour red")
    a_spool(red, left_m=100)
    for week in range(1, 9):
        began = timezone.now() - timedelta(weeks=week)
        use_up(a_spool(red, at=began - timedelta(days=1)), 990_000, at=began)
    some_bobbins(count=60)
    a_roll()
    an_offer(a_put_up(red.range), price="4.20")
    path = stitch_file("#b01c2e", stitches=900)
    design = keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)
    needed_on = timezone.localdate() + timedelta(days=20)
    return make_job(
        JobFacts(what="pennants", pieces=40, needed_on=needed_on), designs=[design], at=NOW, by=None
    )


def test_from_a_shortage_to_the_shelf_with_labels(job: Job, signed_in: Page, axe_is_silent, fits):
    page = signed_in
    page.goto(f"/jobs/{job.pk}/")
    expect(page.locator(".answer").first).to_contain_text("Short")

    page.get_by_role("link", name="Buying").first.click()
    expect(page.locator(".answer")).to_contain_text("To buy from Quay Supplies")
    axe_is_silent(page)
    page.get_by_text("Needs, and why").click()
    page.get_by_role("link", name="harbour red").first.click()
    expect(page.get_by_text("The broken line is the reorder point")).to_be_visible()
    axe_is_silent(page)
    page.go_back()
    page.get_by_role("button", name="Draft this order").click()
    expect(page.get_by_role("heading", name="Order 1 to Quay Supplies")).to_be_visible()
    axe_is_silent(page)

    page.get_by_role("button", name="It is sent").click()
    expect(page.get_by_text("Order 1 is placed")).to_be_visible()
    packs = Order.objects.get().lines.get().packs
    page.get_by_label("Came", exact=True).fill(str(packs))
    page.get_by_label("Lot").fill("L7")
    axe_is_silent(page)
    page.get_by_role("button", name="Put on the shelf").click()
    expect(page.get_by_text("On the shelf now:")).to_be_visible()
    assert Spool.objects.filter(lot="L7").count() == packs
    axe_is_silent(page)
    fits(page)

    page.get_by_role("link", name="Print their labels").click()
    expect(page.get_by_label("Label codes")).to_have_value(
        " ".join(Spool.objects.filter(lot="L7").order_by("label").values_list("label", flat=True))
    )
    with page.expect_download() as labels:
        page.get_by_role("button", name="Make the PDF").click()
    assert labels.value.suggested_filename == "labels.pdf"
    page.goto(f"/jobs/{job.pk}/")
    expect(page.locator(".answer").first).to_contain_text("Enough")


@pytest.mark.parametrize("address", ["/buying/", "/buying/orders/", "/buying/back/"])
def test_the_pages_fit_a_phone_and_axe_is_silent(
    job: Job, signed_in: Page, axe_is_silent, fits, address: str
):
    page = signed_in
    page.goto(address)
    axe_is_silent(page)
    fits(page)
    axe_is_silent(page)


def test_the_list_is_printed_without_what_only_a_screen_needs(job: Job, signed_in: Page):
    page = signed_in
    page.goto("/buying/")
    page.emulate_media(media="print")
    expect(page.get_by_role("button", name="Draft this order")).to_be_hidden()
    expect(page.get_by_role("table").first).to_be_visible()
