"""The ways that people go again and again, each on four ways through the pages, with what it takes of them."""

import re
from collections.abc import Callable

from playwright.sync_api import Locator, Page, expect

from inventory.ledger import ledger_problems
from inventory.models import Order, Spool, StockItem
from planning.models import Job, RunEvent
from tests.browser.journeys import FOUR_WAYS, Walker, Way, walking

Visit = Callable[..., Page]


def button(page: Page, name: str) -> Locator:
    return page.get_by_role("button", name=name, exact=True).first


def link(page: Page, name: str) -> Locator:
    return page.get_by_role("link", name=name, exact=True).first


def arrived(walker: Walker, journey: str, way: Way, *, most_acts: int) -> None:
    """Print what the journey took; it must never take more than it does now."""
    walker.keeps_the_focus()
    walker.page.wait_for_load_state()
    print(f"{journey}, {way.name}: {walker.told()}")
    assert walker.acts <= most_acts


@FOUR_WAYS
def test_what_is_short_is_stitched_in_another_thread(short_job: Job, visit: Visit, way: Way) -> None:
    walker = walking(visit, way)
    page = walker.page
    page.goto(f"/jobs/{short_job.pk}/")
    answer = page.locator(".answer").first
    expect(answer).to_contain_text("Short: harbour red")
    walker.press(button(page, "Try signal red"))
    expect(answer).to_contain_text("Enough for all 43 pieces")
    assert short_job.pinned_shades.get().shade.code == "R2"
    arrived(walker, "short, then another thread", way, most_acts=1)


@FOUR_WAYS
def test_what_is_short_is_bought_and_received(wanting_job: Job, visit: Visit, way: Way) -> None:
    walker = walking(visit, way)
    page = walker.page
    page.goto(f"/jobs/{wanting_job.pk}/")
    expect(page.locator(".answer").first).to_contain_text("Short")
    walker.press(link(page, "See it in Buying"))
    walker.press(button(page, "Draft this order"))
    expect(page.get_by_role("heading", name="Order 1 to Quay Supplies")).to_be_visible()
    walker.press(button(page, "It is sent"))
    expect(page.get_by_text("Order 1 is placed")).to_be_visible()
    page.goto("/")  # the parcel comes on another day
    walker.press(link(page, "It came"))
    walker.press(button(page, "All of it came"))
    expect(page.get_by_text("On the shelf now:")).to_be_visible()
    line = Order.objects.get().lines.with_received().get()
    assert line.to_come == 0
    assert Spool.objects.count() == 1 + line.things
    walker.press(link(page, "Jobs"))
    walker.press(link(page, "pennants"))
    expect(page.locator(".answer").first).to_contain_text("Enough")
    assert not ledger_problems()
    arrived(walker, "short, bought and received", way, most_acts=7)


@FOUR_WAYS
def test_a_run_has_a_break_and_a_spoiled_piece(ready_job: Job, visit: Visit, way: Way) -> None:
    walker = walking(visit, way)
    page = walker.page

    def next_is(called: str) -> None:
        expect(page.get_by_role("heading", name=called)).to_be_visible()

    def happens(name: str) -> None:
        walker.press(page.locator(".something > summary"))
        expect(page.locator(".something-sheet")).to_be_visible()
        walker.press(page.locator(".something button").filter(has_text=name).first)

    page.goto(f"/jobs/{ready_job.pk}/")
    walker.press(button(page, "Promise it: set its material aside"))
    walker.press(button(page, "Begin at the machine"))
    next_is("Next: test 1")
    for called, then in (("test 1", "piece 1"), ("piece 1", "piece 2")):
        walker.press(button(page, f"{called}: done"))
        next_is(f"Next: {then}")
    happens("It broke: harbour red")
    expect(page.get_by_text("Thread broke: piece 2").first).to_be_visible()
    walker.press(button(page, "piece 2: done"))
    next_is("Next: piece 3")
    happens("It is spoiled")
    next_is("Next: spare 1")
    walker.press(button(page, "spare 1: done"))
    next_is("Every piece is done")
    if way.javascript:
        expect(
            page.get_by_role("status").filter(has_text=re.compile("Noted: .*spare 1: done"))
        ).to_be_visible()
    expect(page.get_by_text("3 of 3 good, 1 spoiled")).to_be_visible()
    walker.press(link(page, "Finish"))
    walker.press(button(page, "Finish the job"))
    expect(page.get_by_text("3 of 3").first).to_be_visible()
    kinds = list(RunEvent.objects.filter(job=ready_job).order_by("id").values_list("kind", flat=True))
    assert kinds == ["piece", "piece", "break", "piece", "spoiled", "piece"]
    assert not ledger_problems()
    arrived(walker, "a run with a break and a spoiled piece", way, most_acts=12)


@FOUR_WAYS
def test_a_box_is_counted(box: list[Spool], visit: Visit, way: Way) -> None:
    walker = walking(visit, way)
    page = walker.page
    page.goto("/shelf/")
    walker.press(link(page, "Stocktake"))
    walker.choose(page.get_by_label("Place", exact=True), "grey box (3)")
    walker.press(button(page, "Begin a stocktake"))
    for number, found in enumerate(("640 m", "25.5 g", "half")):
        expect(page.get_by_label("Label code", exact=True)).to_have_value(box[number].label)
        walker.type(page.get_by_label("Found"), found)
        walker.send(button(page, "Note it"))
        expect(page.get_by_text(f"{number + 1} of 3 seen")).to_be_visible()
    walker.press(button(page, "Finish: 0 not seen"))
    expect(page.get_by_text("3 of 3 seen")).to_be_visible()
    held = [StockItem.objects.get(pk=each.pk).on_hand for each in box]
    # 25.5 g less the 12 g of the core, at 27 tex.
    assert held == [640_000, 500_000, 500_000]
    assert not ledger_problems()
    arrived(walker, "a box of three is counted", way, most_acts=10)


@FOUR_WAYS
def test_whether_it_is_owned_is_answered_in_a_shop(shelf: None, visit: Visit, way: Way) -> None:
    walker = walking(visit, way)
    page = walker.page
    page.goto("/")
    walker.press(link(page, "Shelf"))
    walker.press(page.get_by_role("link", name=re.compile("Do I own this")).first)
    asked = page.get_by_role("searchbox", name=re.compile("A shade code"))
    walker.type(asked, "H171")
    walker.send(button(page, "Look"))
    expect(page.get_by_text("No, not this shade")).to_be_visible()
    expect(page.get_by_role("table").last).to_contain_text("harbour red")
    arrived(walker, "do I own this", way, most_acts=4)
