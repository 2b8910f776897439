"""The first hour in a browser: from one stitch file to an honest answer, its acts counted."""

from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import Page, expect

from inventory.models import Spool
from tests.browser.journeys import FOUR_WAYS, Walker, Way, walking

FIVE_COLOURS = Path(__file__).resolve().parents[2] / "fixtures/designs/harbour-pennant.vp3"
MOST_ACTS = 30


def first_hour(walker: Walker) -> None:
    """Go from the first page to the plan sheet: four spools owned, one colour not."""
    page = walker.page
    page.goto("/")
    walker.press(page.get_by_role("link", name="Start with one stitch file"))
    walker.choose_file(page.locator("input[type=file]"), str(FIVE_COLOURS))
    walker.type(page.get_by_label("How many pieces?"), "24")
    walker.press(page.get_by_role("button", name="Look at its colours"))
    page.get_by_role("heading", name="Which of these do you own?").wait_for()
    for number, level in enumerate(("full", "half", "full", "three quarters")):
        colour = page.locator(".first-colour").nth(number)
        walker.press(colour.locator("[name=answer][value=own]"))
        if number == 0:
            walker.type(colour.get_by_label("Whose is it?"), "Skerry")
        walker.type(colour.get_by_label("Code on the label"), f"{140 + number}")
        walker.press(colour.locator(f'[name=looks][value="{level}"]'))
        walker.press(colour.get_by_role("button", name="That is the"))
        expect(colour.get_by_text(f"Skerry {140 + number}")).to_be_visible()
    walker.press(page.locator(".first-colour").nth(4).get_by_role("button", name="No"))
    walker.press(page.get_by_role("link", name="Go on to the machine"))
    page.get_by_role("heading", name="What will it be stitched on?").wait_for()
    walker.press(page.locator("[name=machine][value=one]"))
    walker.press(page.locator('[name=hoop][value="130x180"]'))
    walker.press(page.locator("[name=cloth][value=woven]"))
    walker.press(page.get_by_role("button", name="Is there enough for 24?"))
    page.get_by_role("heading", name="harbour-pennant").wait_for()
    expect(page.locator("main")).to_contain_text("Rope Tan")
    assert Spool.objects.count() == 4


@FOUR_WAYS
def test_five_colours_come_to_an_answer_in_thirty_acts(visit: Callable[..., Page], way: Way) -> None:
    walker = walking(visit, way)
    first_hour(walker)
    print(f"first hour, {way.name}: {walker.told()}")
    assert walker.acts <= MOST_ACTS


def test_the_steps_have_nothing_to_mend(
    visit: Callable[..., Page], axe_is_silent: Callable[[Page], None], fits: Callable[[Page], None]
) -> None:
    page = visit(width=1280)
    page.goto("/first-hour/")
    axe_is_silent(page)
    page.locator("input[type=file]").set_input_files(str(FIVE_COLOURS))
    page.get_by_role("button", name="Look at its colours").click()
    page.get_by_role("heading", name="Which of these do you own?").wait_for()
    colour = page.locator(".first-colour").first
    colour.locator("[name=answer][value=near]").click(force=True)
    colour.locator("[name=looks][value=weigh]").click(force=True)
    axe_is_silent(page)
    fits(page)
    page.set_viewport_size({"width": 1280, "height": 900})
    page.get_by_role("link", name="Go on, leave the rest open").click()
    page.get_by_role("heading", name="What will it be stitched on?").wait_for()
    axe_is_silent(page)
    fits(page)
