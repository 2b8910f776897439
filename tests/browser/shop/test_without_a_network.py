"""In the shop, where there is no network: what a phone kept is shown, says how old it is, and goes when somebody signs
out.
"""

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from inventory.models import Shade
from tests.browser.conftest import LONGEST_WAIT_MS
from tests.factories import a_shade, a_spool
from workshop.handbook.pages import ORDER


@pytest.fixture
def shelf(transactional_db) -> list[Shade]:
    red = a_shade("H170", hex="#b01c2e", name="harbour red")
    others = [
        a_shade("H171", hex="#a91d30", name="signal red"),
        a_shade("N210", hex="#101c3d", name="midnight navy"),
    ]
    a_spool(red, left_m=250)
    return [red, *others]


def until(page: Page, holds: Callable[[], bool]) -> None:
    """Wait for what only a promise can tell; a condition that is a promise would be taken as true at once."""
    for _ in range(LONGEST_WAIT_MS // 100):
        if holds():
            return
        page.wait_for_timeout(100)
    raise AssertionError("it never came true")


def paths_kept(page: Page) -> set[str]:
    look = """async () => (await (await caches.open("kept-pages")).keys()).map((each) => new URL(each.url).pathname)"""
    return set(page.evaluate(look))


def kept(page: Page, *wanted: str) -> None:
    """Wait until this device keeps what lies at these paths."""
    until(page, lambda: set(wanted) <= paths_kept(page))


def test_a_phone_answers_in_the_shop_without_a_network(shelf, phone_signed_in, axe_is_silent, fits):
    context, phone = phone_signed_in
    phone.goto("/shelf/pocket/")
    expect(phone.get_by_text("1 of 3 known shades are owned")).to_be_visible()
    # The list that is kept is had once the worker is in charge.
    phone.evaluate("navigator.serviceWorker.ready.then(() => true)")
    phone.reload()
    kept(phone, "/shelf/pocket/", "/shelf/pocket/shades", "/buying/")

    context.set_offline(True)
    phone.reload()
    expect(phone.get_by_text(re.compile(r"No network. This is how it stood on .*, just now"))).to_be_visible()
    field = phone.get_by_role("searchbox", name="A shade code, a name")
    field.fill("h171")
    expect(phone.get_by_text("No. The nearest that is owned is harbour red")).to_be_visible()
    expect(phone.get_by_text("1 spool, 250.0 m free")).to_be_visible()
    field.fill("harbor")
    expect(phone.get_by_text("Not spelled so, but nearly:")).to_be_visible()
    expect(phone.locator("[data-found] li")).to_have_count(1)
    field.fill("red")
    expect(phone.locator("[data-found] li").first).to_contain_text("harbour red")
    field.fill("no such thing")
    expect(phone.get_by_text("No shade that is known here is called so.")).to_be_visible()
    axe_is_silent(phone)
    fits(phone)

    phone.get_by_role("link", name="What to buy").click()
    expect(phone.get_by_role("heading", name="Buying")).to_be_visible()
    expect(phone.locator(".kept-since")).to_be_visible()
    phone.goto("/jobs/")
    expect(phone.get_by_role("heading", name="No network")).to_be_visible()
    phone.get_by_role("link", name=re.compile("In the shop")).click()
    expect(phone.get_by_role("heading", name="In the shop")).to_be_visible()

    context.set_offline(False)
    phone.goto("/preferences/")
    phone.locator(".me summary").click()
    phone.get_by_role("banner").get_by_role("button", name="Sign out").click()
    expect(phone.get_by_role("button", name="Sign in", exact=True)).to_be_visible()
    # What the page for signing in is drawn with may be kept anew; nothing that was anybody's is.
    until(phone, lambda: all("/static/" in each for each in paths_kept(phone)))


def test_the_handbook_is_read_and_searched_without_a_network(shelf, phone_signed_in, axe_is_silent, fits):
    context, phone = phone_signed_in
    phone.goto("/handbook/")
    phone.evaluate("navigator.serviceWorker.ready.then(() => true)")
    phone.reload()
    kept(phone, "/handbook/words", *(f"/handbook/{slug}/" for slug in ORDER))

    context.set_offline(True)
    phone.reload()
    phone.get_by_label("What do you want to know?").fill("how do I weigh a spool")
    found = phone.locator("#handbook-found")
    expect(found.get_by_role("listitem").first).to_have_text("Spools on the shelf")
    axe_is_silent(phone)
    fits(phone)
    found.get_by_role("link").first.click()
    expect(phone.get_by_role("heading", name="Spools on the shelf")).to_be_visible()
    expect(phone.get_by_text("No network. This is how it stood")).to_be_visible()
    phone.goto("/handbook/")
    phone.get_by_label("What do you want to know?").fill("zeppelin")
    expect(found).to_contain_text("No page has all of these words")
