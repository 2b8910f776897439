"""A file's colours in a browser: chosen where it has none, and remembered for the next one."""

import pytest
from playwright.sync_api import Locator, Page, expect

from tests.browser.dropping import drop
from tests.browser.folds import unfold
from tests.factories import a_roll, a_shade, a_spool, some_bobbins

MOST_CLICKS = 5


@pytest.fixture
def wall(transactional_db, workshop):
    """A wall with a few threads of different colours, and enough of everything."""
    for code, hex, name in (
        ("K1", "#202022", "tar black"),
        ("K2", "#2e2e30", "soot"),
        ("W1", "#f2f1ec", "sail white"),
        ("R1", "#b01c2e", "harbour red"),
        ("B1", "#1c2b8d", "deep blue"),
    ):
        a_spool(a_shade(code, hex=hex, name=name))
    some_bobbins(count=20)
    a_roll()


class Hand:
    """A hand that clicks, and how often it did."""

    def __init__(self) -> None:
        self.clicks = 0

    def click(self, what: Locator) -> None:
        self.clicks += 1
        what.click()


def test_a_dropped_file_without_colours_comes_to_enough_in_under_six_clicks(
    wall, signed_in: Page, stitch_file, axe_is_silent, fits
):
    page, hand = signed_in, Hand()
    content = stitch_file("#ff0000", "#00ff00", name="rope.dst").read_bytes()
    drop(page, [("rope.dst", content)])
    hand.click(page.get_by_role("button", name="Ask the shelf"))
    expect(page.locator(".answer")).to_contain_text("Choose 2 colours")
    axe_is_silent(page)
    hand.click(page.get_by_role("group", name="Block 1,").get_by_text("harbour red"))
    hand.click(page.get_by_role("group", name="Block 2,").get_by_text("sail white"))
    hand.click(page.get_by_role("button", name="Use these shades"))
    expect(page.locator(".answer")).to_contain_text("Enough for all")
    expect(page.get_by_role("row").filter(has_text="harbour red").first).to_contain_text("Enough")
    assert hand.clicks <= MOST_CLICKS

    # One more, and the file is not asked about again.
    hand.click(page.get_by_role("button", name="Remember them for this file"))
    expect(page.locator(".messages")).to_contain_text("Done")
    assert hand.clicks <= MOST_CLICKS
    axe_is_silent(page)
    fits(page)
    page.set_viewport_size({"width": 1280, "height": 900})
    page.goto("/")
    drop(page, [("rope.dst", content)])
    page.get_by_role("button", name="Ask the shelf").click()
    expect(page.locator(".answer")).to_contain_text("Enough for all")


def test_a_remembered_black_is_used_by_the_next_file_by_itself(
    wall, signed_in: Page, stitch_file, axe_is_silent, fits
):
    page = signed_in
    drop(page, [("cap.pes", stitch_file("#000000", name="cap.pes").read_bytes())])
    page.get_by_role("button", name="Ask the shelf").click()
    expect(page.get_by_role("row").filter(has_text="tar black").first).to_contain_text("Enough")
    unfold(page)
    page.get_by_role("link", name="soot K2").click()
    page.get_by_role("button", name="every file").click()
    expect(page.locator(".messages")).to_contain_text("Done")

    page.goto("/")
    drop(page, [("bag.pes", stitch_file("#000000", "#ffffff", name="bag.pes", stitches=150).read_bytes())])
    page.get_by_role("button", name="Ask the shelf").click()
    expect(page.locator(".answer")).to_contain_text("Enough for all")
    unfold(page)
    black = page.locator("#threads tr").filter(has_text="soot").first
    expect(black).to_contain_text("remembered")
    axe_is_silent(page)
    fits(page)
    page.goto("/workshop/colours/")
    expect(page.get_by_role("row").filter(has_text="#000000")).to_contain_text("K2")
    axe_is_silent(page)
