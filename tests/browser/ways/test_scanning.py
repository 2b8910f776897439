"""One component takes codes on every page: a scanner's burst loses none, and is heard wherever the focus is."""

from decimal import Decimal

import pytest
from playwright.sync_api import Page, expect

from inventory.models import Spool
from inventory.orders.orders import OrderedThing, draft_order, place_order
from planning.models import Job, RunEvent
from planning.run.promise import promise
from planning.run.ticks import begin
from tests.factories import NOW, a_put_up, a_shade, a_spool, an_offer

# What a scanner does with two codes, without a pause between them: signs in whatever has the focus, then Enter.
TWO_AT_ONCE = """(codes) => {
  const began = performance.now();
  for (const code of codes) {
    const field = document.activeElement;
    const isField = field.matches("input");
    for (const key of code) {
      const down = new KeyboardEvent("keydown", { key, bubbles: true, cancelable: true });
      if (field.dispatchEvent(down) && isField) document.execCommand("insertText", false, key);
    }
    const enter = new KeyboardEvent("keydown", { key: "Enter", bubbles: true, cancelable: true });
    // Enter presses the first button that sends.
    if (field.dispatchEvent(enter) && isField) {
      const button = [...field.form.elements].find((each) => each.type === "submit");
      field.form.requestSubmit(button ?? null);
    }
  }
  return performance.now() - began;
}"""


def scan(page: Page, *codes: str) -> None:
    took = page.evaluate(TWO_AT_ONCE, list(codes))
    print(f"{len(codes)} codes within {took:.0f} ms at {page.url.split('/', 3)[3] or 'the first page'}")


def is_listening(page: Page) -> None:
    page.wait_for_function("document.documentElement.dataset.codes")


def waits(page: Page, label: str) -> None:
    expect(page.locator("[data-scanned]").get_by_role("button", name=label, exact=True)).to_be_visible()


def test_two_codes_at_once_are_both_taken_wherever_they_come_in(
    box: list[Spool], ready_job: Job, signed_in: Page, axe_is_silent
) -> None:
    page = signed_in
    first, second, third = (each.label for each in box)
    is_listening(page)

    # The search in the header, from wherever the focus is, also in an address.
    page.evaluate("document.activeElement.blur()")
    scan(page, f"HTTPS://SHELF.EXAMPLE/S/{first}", second)
    expect(page.get_by_role("heading", name=first)).to_be_visible()
    waits(page, second)
    axe_is_silent(page)

    # The scan box.
    page.goto("/shelf/scan/")
    is_listening(page)
    page.get_by_label("Label code").focus()
    scan(page, first, third)
    expect(page.locator(".scan-thing")).to_contain_text(first)
    waits(page, third)
    page.locator("[data-scanned]").get_by_role("button", name=second).click()
    expect(page.locator(".scan-thing")).to_contain_text(second)
    assert not page.evaluate("document.activeElement === document.body")
    waits(page, third)
    page.get_by_role("button", name="Forget them").click()
    expect(page.locator("[data-scanned]")).to_be_hidden()

    # A stocktake: its box for what was found has the focus.
    page.goto("/shelf/stocktakes/")
    page.get_by_label("Place", exact=True).select_option(label="grey box (3)")
    page.get_by_role("button", name="Begin a stocktake").click()
    is_listening(page)
    page.get_by_label("Found").focus()
    scan(page, second, third)
    expect(page.get_by_role("alert")).to_contain_text(f"What was found of {second}?")
    page.get_by_label("Found").fill("half")
    page.get_by_role("button", name="Note it").click()
    page.locator("[data-scanned]").get_by_role("button", name=third).click()
    expect(page.get_by_role("alert")).to_contain_text(f"What was found of {third}?")

    # Another spool on the run sheet; a scan where nothing asks for one leads nowhere else.
    spare = a_spool(box[0].shade)
    promise(ready_job, at=NOW, by=None)
    begin(ready_job, at=NOW)
    page.goto(f"/jobs/{ready_job.pk}/run/")
    is_listening(page)
    page.evaluate("document.activeElement.blur()")
    scan(page, third)
    waits(page, third)
    assert page.url.endswith("/run/")
    page.locator(".something > summary").click()
    other = page.locator(".something details").first
    other.locator("summary").click()
    other.get_by_label("Its label").fill("")
    other.get_by_label("Its label").focus()
    scan(page, spare.label, second)
    expect(page.locator("[data-noted]")).to_have_text("Noted: It is on.")
    assert RunEvent.objects.get(kind="spool").item_id == spare.pk
    waits(page, second)


def test_what_came_of_an_order_is_scanned_and_a_burst_loses_nothing(signed_in: Page, axe_is_silent) -> None:
    page = signed_in
    red = a_shade("1147", name="harbour red")
    thing = OrderedThing(
        an_offer(a_put_up(red.range), price="4.20"), packs=2, total=Decimal("8.40"), shade=red
    )
    order = draft_order(thing.offer.supplier, things=[thing], key="d", at=NOW, by=None)
    place_order(order, at=NOW)
    page.goto(f"/buying/orders/{order.number}/")
    is_listening(page)
    page.evaluate("document.activeElement.blur()")
    scan(page, "1147", "S0901")
    expect(page.locator("#came [role=status]")).to_contain_text("1 of 2.")
    expect(page.get_by_label("Scan or type what came")).to_be_focused()
    waits(page, "S0901")
    axe_is_silent(page)
    is_listening(page)
    page.locator("[data-scanned]").get_by_role("button", name="S0901").click()
    expect(page.locator("#came [role=status]")).to_contain_text("S0901 goes on")
    page.keyboard.type("rubbish")
    page.keyboard.press("Enter")
    expect(page.get_by_role("alert")).to_contain_text("Nothing called rubbish")
    expect(page.get_by_label("Came", exact=True)).to_have_value("1")
    page.get_by_role("button", name="Put on the shelf").click()
    expect(page.get_by_role("status").first).to_contain_text("S0901")
    assert [each.label for each in Spool.objects.all()] == ["S0901"]


@pytest.mark.parametrize("address", ["/", "/shelf/", "/shelf/receive/spools/"])
def test_what_is_typed_by_hand_is_sent_at_once(box: list[Spool], signed_in: Page, address: str) -> None:
    page = signed_in
    page.goto(address)
    is_listening(page)
    page.locator("#find").press_sequentially(box[0].label, delay=120)
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name=box[0].label)).to_be_visible()
    expect(page.locator("[data-scanned]")).to_be_hidden()
