"""A phone beside the machine: each event in two taps with an answer in sight, and forty of them without a network."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from inventory.ledger import ledger_problems
from inventory.models import Shade, StockItem
from planning.models import Job, RunEvent
from planning.run.promise import promise
from planning.run.standing import run_of
from planning.run.ticks import Happening, begin, note
from tests.browser.test_run import job, phone  # noqa: F401 - fixtures
from tests.factories import NOW, a_key, a_spool

# What is tapped on the sheet of what happened, and what the diary has of it.
TWO_TAPS = (
    ("It broke: harbour red", "break"),
    ("half again: deep blue", "restitch"),
    ("Bobbin ran empty", "bobbin"),
    ("Needle changed", "needle"),
    ("Stopped", "stop"),
    ("more bobbin showing", "tension"),
    ("on instead, the rest is kept", "spool"),
    ("It is spoiled", "spoiled"),
)

# A loaded machine draws late; whoever taps looks for the answer so long.
IN_SIGHT_WITHIN_MS = 5_000

FIRST_SHEET_IS_KEPT = """async () => {
    while (!await caches.match(location.href)) await new Promise((later) => setTimeout(later, 50)) }"""


@pytest.fixture
def beside(phone: tuple[BrowserContext, Page], job: Job) -> Iterator[tuple[BrowserContext, Page, Job]]:  # noqa: F811
    context, page = phone
    for shade in Shade.objects.filter(code__in=["R", "B"]):
        a_spool(shade)
    Job.objects.update(pieces=36)
    longer = Job.objects.with_everything().get(pk=job.pk)
    promise(longer, at=NOW, by=None)
    begin(longer, at=NOW)
    page.goto(f"/jobs/{job.pk}/run/")
    expect(page.get_by_role("heading", name="Next: test 1")).to_be_visible()
    return context, page, longer


def comes_in_sight(page: Page, selector: str) -> None:
    """Wait until it is in sight: the page may still be moving to where the focus went."""
    page.wait_for_function(
        "(selector) => { const box = document.querySelector(selector).getBoundingClientRect();"
        " return box.height > 0 && box.top >= 0 && box.bottom <= innerHeight; }",
        arg=selector,
        timeout=IN_SIGHT_WITHIN_MS,
    )


def focus_is_on_the_sheet(page: Page) -> bool:
    return page.evaluate("document.activeElement !== document.body && document.activeElement.isConnected")


def happens(page: Page, button: str) -> None:
    """Two taps: one opens the sheet of what happened, one says it."""
    page.locator(".something > summary").click()
    page.locator(".something button").filter(has_text=button).first.click()


def test_every_event_takes_two_taps_at_most_and_is_answered_in_sight(beside):
    _, page, running = beside
    page.get_by_role("button", name="test 1: done").click()
    expect(page.locator("[data-noted]")).to_contain_text("Noted: test 1: done")
    page.get_by_role("button", name="Go on with the others").click()
    expect(page.locator("[data-noted]")).to_contain_text("Noted: Go on")
    for button, kind in TWO_TAPS:
        happens(page, button)
        expect(page.locator("[data-noted]")).to_contain_text("Noted:")
        expect(page.locator("[data-noted]")).to_contain_text(button[-12:])
        comes_in_sight(page, "[data-noted]")
        assert focus_is_on_the_sheet(page), button
        assert RunEvent.objects.filter(job=running, kind=kind).exists(), button
    assert page.evaluate("document.documentElement.scrollWidth") <= 360


def test_forty_events_without_a_network_are_sent_once_and_in_order(beside):
    context, page, running = beside
    page.evaluate(FIRST_SHEET_IS_KEPT)
    context.set_offline(True)
    told: list[str] = []

    def tick() -> None:
        page.locator(".button-tick").click()
        told.append("piece")

    mixed = [*TWO_TAPS[:6], TWO_TAPS[7]] * 2
    for button, kind in mixed:
        tick()
        happens(page, button)
        told.append(kind)
    while len(told) < 40:
        tick()
    expect(page.get_by_text("40 entries wait on this device")).to_be_visible()
    page.reload()
    expect(page.get_by_text("40 entries wait on this device")).to_be_visible()

    context.set_offline(False)
    expect(page.get_by_text("wait on this device")).to_be_hidden()
    expect(page.locator("[data-noted]")).to_contain_text("Noted:")
    kept = list(RunEvent.objects.filter(job=running).order_by("id"))
    assert [event.kind for event in kept] == told
    assert [event.at for event in kept] == sorted(event.at for event in kept)
    # By when each was tapped, not by when the network came back.
    assert (kept[-1].at - kept[0].at).total_seconds() > 1
    page.reload()
    expect(page.get_by_text("Every piece is done")).to_be_hidden()
    assert RunEvent.objects.filter(job=running).count() == 40
    assert len(run_of(running).done) == told.count("piece") + told.count("spoiled")
    assert not ledger_problems()


def test_what_is_refused_stays_until_a_person_says_what_becomes_of_it(beside):
    context, page, running = beside
    page.evaluate(FIRST_SHEET_IS_KEPT)
    context.set_offline(True)
    for label in ("S-NEW", "S-NONE"):
        page.locator(".something > summary").click()
        other = page.locator(".something details").first
        if other.get_attribute("open") is None:  # without a network the sheet is not drawn anew
            other.locator("summary").click()
        other.get_by_label("Its label").fill(label)
        other.get_by_role("button", name="It is on").click()
    page.locator(".button-tick").click()
    context.set_offline(False)

    refused = page.locator("[data-refused] li")
    expect(refused).to_have_count(2)
    expect(refused.first).to_contain_text('No spool on the shelf has the label "S-NEW"')
    page.reload()
    expect(refused).to_have_count(2)
    # What came after the refused ones was noted all the same.
    assert [event.kind for event in RunEvent.objects.filter(job=running)] == ["piece"]
    assert page.evaluate("document.documentElement.scrollWidth") <= 360

    spare = a_spool(Shade.objects.get(code="R"))
    StockItem.objects.filter(pk=spare.pk).update(label="S-NEW")
    refused.first.get_by_role("button", name="Do it again").click()
    expect(refused).to_have_count(1)
    expect(page.locator("[data-noted]")).to_contain_text("Noted:")
    assert RunEvent.objects.get(job=running, kind="spool").item_id == spare.pk
    assert focus_is_on_the_sheet(page)
    refused.first.get_by_role("button", name="Drop it").click()
    expect(refused).to_have_count(0)
    assert RunEvent.objects.filter(job=running).count() == 2


def test_pages_of_names_hoopings_quotes_and_tests_read_well_and_fit(
    job: Job,  # noqa: F811
    signed_in: Page,
    axe_is_silent,
    fits,
):
    page = signed_in
    Job.objects.update(copies=2, wearer="baby")
    kept = Job.objects.with_everything().get(pk=job.pk)
    promise(kept, at=NOW, by=None)
    begin(kept, at=NOW)
    note(kept, Happening("piece", key=a_key()), at=NOW, by=None)
    for path, heading in [
        ("/jobs/names/", "Names only"),
        (f"/jobs/{job.pk}/hoopings/", "crew caps"),
        (f"/jobs/{job.pk}/quote/", "crew caps"),
        (f"/jobs/{job.pk}/run/", "crew caps"),
    ]:
        page.goto(path)
        page.set_viewport_size({"width": 1280, "height": 900})
        expect(page.get_by_role("heading", level=1)).to_contain_text(heading)
        axe_is_silent(page)
        fits(page)
    expect(page.get_by_text("What does test 1 say?")).to_be_visible()
    expect(page.get_by_text("For a baby")).to_be_visible()
