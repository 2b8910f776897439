"""Pin a runner-up, see the other colours chosen anew, and undo it, in a browser."""

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Page, expect

from inventory.models import Shade
from tests.browser.folds import unfold
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
        return (
            page.locator("#threads tr")
            .filter(has_text=f"colour {number}")
            .first.locator('[data-label="Chosen"]')
        )

    def offered(number: int):
        return page.locator("tr.row-more").filter(has_text=f"For colour {number}")

    expect(chosen(1)).to_contain_text("Skerry Forty · R2")
    expect(chosen(2)).to_contain_text("Skerry Forty · R1")
    unfold(page)
    expect(page.get_by_text("Buying this one shade would bring the mean difference")).to_be_visible()
    axe_is_silent(page)

    offered(1).get_by_role("link", name="harbour red R1").click()
    expect(chosen(1)).to_contain_text("Skerry Forty · R1")
    expect(offered(1)).to_contain_text("Pinned.")
    expect(chosen(2)).to_contain_text("Skerry Forty · R3")
    fits(page)
    axe_is_silent(page)
    page.set_viewport_size({"width": 1280, "height": 900})

    offered(1).get_by_role("link", name="Take back").click()
    expect(chosen(1)).to_contain_text("Skerry Forty · R2")
    expect(chosen(2)).to_contain_text("Skerry Forty · R1")

    unfold(page)
    offered(1).get_by_role("link", name="leave out deep red").click()
    expect(page.get_by_text("Left out: Skerry Forty R2")).to_be_visible()
    axe_is_silent(page)
    page.get_by_role("link", name="use it again").click()
    expect(chosen(1)).to_contain_text("Skerry Forty · R2")

    # Kept as a job, the pins stay with it.
    unfold(page)
    offered(1).get_by_role("link", name="harbour red R1").click()
    page.get_by_role("link", name="Keep as a job").click()
    page.get_by_label("What is it?").fill("crew caps")
    page.get_by_role("button", name="Keep the job").click()
    expect(chosen(1)).to_contain_text("Skerry Forty · R1")
    page.get_by_role("button", name="Take back the pin").click()
    expect(chosen(1)).to_contain_text("Skerry Forty · R2")
    unfold(page)
    offered(2).get_by_role("button", name="pale red R3").click()
    expect(chosen(2)).to_contain_text("Skerry Forty · R3")
    page.get_by_role("button", name="Pin all as they are now").click()
    expect(page.get_by_text("Pinned for this job: 2 colours.")).to_be_visible()
    axe_is_silent(page)
    fits(page)


def test_two_pictures_lie_in_one_place_and_nothing_moves_for_who_asked_for_less_motion(
    shelf_of_reds, signed_in: Page, stitch_file, axe_is_silent
):
    page = signed_in
    page.get_by_label("Stitch files").set_input_files(stitch_file(RED, ROSE))
    page.get_by_role("button", name="Ask the shelf").click()
    page.locator("#pictures > summary").click()
    asked, chosen = page.locator(".picture-pair figure").first, page.locator(".picture-pair figure").last
    assert asked.bounding_box()["x"] < chosen.bounding_box()["x"]

    page.get_by_label("As chosen").check()
    expect(asked).to_be_hidden()
    place = chosen.bounding_box()
    page.get_by_label("As asked for").check()
    expect(chosen).to_be_hidden()
    expect(asked).to_be_visible()
    assert asked.bounding_box()["x"] == pytest.approx(place["x"])

    page.get_by_label("In turn").check()
    expect(asked).to_be_visible()
    expect(asked).to_be_hidden()
    expect(asked).to_be_visible()
    seconds = asked.evaluate("figure => parseFloat(getComputedStyle(figure).animationDuration)")
    assert seconds >= 2.0  # each of the two for a second at least
    page.emulate_media(reduced_motion="reduce")
    expect(page.get_by_label("In turn")).to_be_hidden()
    assert chosen.evaluate("figure => getComputedStyle(figure).animationName") == "none"

    page.get_by_role("link", name="eyes that tell green less well").click()
    expect(page.locator('[aria-current="true"]').filter(has_text="eyes that tell green")).to_be_visible()
    axe_is_silent(page)


def test_the_map_of_gaps_and_the_equivalents_are_clean_and_fit(
    shelf_of_reds, signed_in: Page, axe_is_silent, fits
):
    page = signed_in
    for address in ("/gaps/", "/shelf/equivalents/?q=R1"):
        page.set_viewport_size({"width": 1280, "height": 900})
        page.goto(address)
        axe_is_silent(page)
        fits(page)
        axe_is_silent(page)


def test_card_and_thread_are_marked_on_a_photograph(
    shelf_of_reds, signed_in: Page, tmp_path, axe_is_silent, fits
):
    pixels = np.full((200, 400, 3), 118, dtype=np.uint8)
    pixels[:, 200:] = (176, 28, 46)
    Image.fromarray(pixels).save(tmp_path / "thread.png")
    page = signed_in
    page.goto(f"/shelf/catalogue/shades/{Shade.objects.get(code='R1').pk}/colour/")
    page.get_by_label("Photograph of the thread").set_input_files(tmp_path / "thread.png")
    canvas = page.locator("canvas.marking")
    canvas.scroll_into_view_if_needed()

    def drag(left: float, right: float) -> None:
        box = canvas.bounding_box()
        page.mouse.move(box["x"] + left * box["width"], box["y"] + 0.1 * box["height"])
        page.mouse.down()
        page.mouse.move(box["x"] + right * box["width"], box["y"] + 0.9 * box["height"])
        page.mouse.up()

    drag(0.05, 0.45)
    drag(0.55, 0.95)
    numbers = [float(each) for each in page.get_by_label("Where the thread is").input_value().split(",")]
    assert numbers == pytest.approx([55, 10, 40, 80], abs=1.5)
    page.get_by_role("button", name="Look at the photograph").click()
    expect(page.get_by_role("heading", name="What was found")).to_be_visible()
    expect(page.get_by_text("Approximate: a photograph is")).to_be_visible()
    axe_is_silent(page)
    fits(page)
    page.get_by_role("button", name="Use this colour").click()
    expect(page.get_by_text("Saved.")).to_be_visible()
    expect(page.get_by_text("a photograph, and may be off by")).to_be_visible()
