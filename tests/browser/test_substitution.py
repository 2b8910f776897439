"""Pin a runner-up, see the other colours chosen anew, and undo it, in a browser."""

import pytest
from playwright.sync_api import Page, expect

from tests.factories import a_put_up, a_range, a_roll, a_shade, a_spool, an_offer, some_bobbins

RED, ROSE = "#b01c2e", "#bc2a3a"


@pytest.fixture
def shelf_of_reds(transactional_db, workshop):
    a_spool(a_shade("R1", hex="#b42232", name="harbour red"))
    a_spool(a_shade("R2", hex="#ac1a2c", name="deep red"))
    a_spool(a_shade("R3", hex="#c63648", name="pale red"))
    some_bobbins(count=20)
    a_roll()
    sold = a_shade("R7", hex=ROSE, name="rose", range=a_range("Cormorant", "Fine"))
    an_offer(a_put_up(sold.range), price="3.90")


def test_a_runner_up_is_pinned_and_undone(
    shelf_of_reds,
    signed_in: Page,
    stitch_file,
    axe_is_silent,
    fits,
):
    page = signed_in
    page.get_by_label("Stitch files").set_input_files(stitch_file(RED, ROSE))
    page.get_by_label("Pieces", exact=True).fill("5")
    page.get_by_role("button", name="Ask the shelf").click()

    def chosen(number: int):
        return page.locator("tr").filter(has_text=f"colour {number}").first.locator('[data-label="Chosen"]')

    expect(chosen(1)).to_contain_text("Skerry Forty · R2")
    expect(chosen(2)).to_contain_text("Skerry Forty · R1")
    expect(page.get_by_text("Buying this one shade would bring the mean difference")).to_be_visible()
    axe_is_silent(page)

    chosen(1).get_by_role("link", name="harbour red R1").click()
    expect(chosen(1)).to_contain_text("Skerry Forty · R1")
    expect(chosen(1)).to_contain_text("Pinned.")
    expect(chosen(2)).to_contain_text("Skerry Forty · R3")
    axe_is_silent(page)
    fits(page)
    axe_is_silent(page)
    page.set_viewport_size({"width": 1280, "height": 900})

    chosen(1).get_by_role("link", name="Undo").click()
    expect(chosen(1)).to_contain_text("Skerry Forty · R2")
    expect(chosen(2)).to_contain_text("Skerry Forty · R1")

    chosen(1).get_by_role("link", name="leave out deep red").click()
    expect(page.get_by_text("Left out: Skerry Forty R2")).to_be_visible()
    axe_is_silent(page)
    page.get_by_role("link", name="use it again").click()
    expect(chosen(1)).to_contain_text("Skerry Forty · R2")
