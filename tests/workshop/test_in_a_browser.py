"""The frame in a real browser: readable by everybody, at any width, with and without JavaScript."""

import os
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse
from django.utils import timezone

pytest.importorskip("playwright")
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from workshop.people.members import opening_link

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    pytest.mark.urls("tests.workshop.places"),
]

WCAG = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}}
PATHS = ["/", "/preferences/", "/preferences/password/", "/nowhere/", "/forbidden/", "/malformed/"]


@pytest.fixture
def browser(chromium: Browser) -> Browser:
    return chromium


def opened(browser: Browser, live_server: Any, *, client: Client | None = None, **context: Any) -> Page:
    """Return an empty page of ``browser``, signed in like ``client``, that fails the test on any complaint."""
    place = browser.new_context(base_url=live_server.url, **context)
    if client is not None:
        place.add_cookies(
            [{"name": "sessionid", "value": client.cookies["sessionid"].value, "url": live_server.url}]
        )
    page = place.new_page()
    page.on("pageerror", lambda error: pytest.fail(f"{page.url}: {error}"))
    page.on("console", lambda message: complain(page, message.type, message.text))
    return page


def complain(page: Page, kind: str, text: str) -> None:
    # The browser itself notes every page that is answered with an error status; those are asked for here.
    if kind in {"error", "warning"} and "the server responded with a status of 40" not in text:
        pytest.fail(f"{page.url}: {text}")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1280, 320])
def test_no_page_is_hard_to_read_or_wider_than_the_screen(
    browser: Browser, live_server: Any, signed_in: Client, scheme: Any, width: int
) -> None:
    size: Any = {"width": width, "height": 800}
    inside = opened(browser, live_server, client=signed_in, color_scheme=scheme, viewport=size)
    outside = opened(browser, live_server, color_scheme=scheme, viewport=size)
    for page, path in [*((inside, path) for path in PATHS), (outside, "/sign-in/?next=/shelf/")]:
        page.goto(path)
        found = Axe().run(page, options=WCAG)
        assert found.violations_count == 0, f"{path}: {found.generate_report()}"
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), path
        seen = os.environ.get("SCREENSHOTS")
        if seen:
            page.screenshot(path=f"{seen}/{path.strip('/').replace('/', '-')}-{width}-{scheme}.png")


def test_the_check_for_readability_finds_faint_print(
    browser: Browser, live_server: Any, signed_in: Client
) -> None:
    page = opened(browser, live_server, client=signed_in)
    page.goto("/")
    page.evaluate("document.querySelector('h1').setAttribute('class', 'faint')")
    page.evaluate("document.styleSheets[1].insertRule('.faint { color: #ccc !important; font-size: 1rem }')")
    assert Axe().run(page, options=WCAG).violations_count == 1


def test_a_chosen_look_overrules_the_device(browser: Browser, live_server: Any, signed_in: Client) -> None:
    page = opened(browser, live_server, client=signed_in, color_scheme="light")
    page.goto("/preferences/")
    light = page.evaluate("getComputedStyle(document.body).backgroundColor")
    page.get_by_label("dark", exact=True).check()
    page.get_by_role("button", name="Save").click()
    expect(page.locator("html")).to_have_attribute("data-theme", "dark")
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") != light


def test_a_person_can_open_the_workshop_and_sign_out_without_javascript(
    browser: Browser, live_server: Any
) -> None:
    page = opened(browser, live_server, java_script_enabled=False, viewport={"width": 360, "height": 740})
    page.goto(reverse("open_workshop", args=[opening_link(at=timezone.now())]))
    page.get_by_label("Your name").fill("robin")
    page.get_by_label("Password", exact=True).fill("quiet-harbour-7")
    page.get_by_label("Password, once more").fill("quiet-harbour-7")
    page.get_by_role("button", name="Open the workshop").click()
    assert page.get_by_text("Welcome, robin.").is_visible()
    page.get_by_label("Settings, help, sign out").click()
    page.get_by_role("link", name="Settings").click()
    page.get_by_role("main").get_by_role("button", name="Sign out").click()
    assert page.get_by_role("heading", name="Sign in").is_visible()
    assert User.objects.count() == 1


def test_the_first_step_by_keyboard_skips_to_the_content(
    browser: Browser, live_server: Any, signed_in: Client
) -> None:
    page = opened(browser, live_server, client=signed_in)
    page.goto("/")
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to the content")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("#content")).to_be_focused()


def test_places_lie_at_the_bottom_of_a_phone_and_cover_nothing(
    browser: Browser, live_server: Any, signed_in: Client
) -> None:
    page = opened(browser, live_server, client=signed_in, viewport={"width": 320, "height": 640})
    page.goto("/")
    page.evaluate("scrollTo(0, document.body.scrollHeight)")
    places = page.get_by_role("navigation", name="Places").bounding_box()
    foot = page.get_by_role("contentinfo").bounding_box()
    assert places is not None
    assert foot is not None
    assert places["y"] + places["height"] == pytest.approx(640, abs=1)
    assert foot["y"] + foot["height"] <= places["y"] + 1
    for box in [link.bounding_box() for link in page.get_by_role("navigation").get_by_role("link").all()]:
        assert box is not None
        assert min(box["width"], box["height"]) >= 44


def test_nothing_but_the_sheet_is_printed(browser: Browser, live_server: Any, signed_in: Client) -> None:
    page = opened(browser, live_server, client=signed_in, color_scheme="dark")
    page.goto("/")
    page.emulate_media(media="print")
    assert not page.get_by_role("navigation").is_visible()
    assert not page.get_by_role("contentinfo").is_visible()
    assert page.get_by_role("heading", name="A place").is_visible()
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    assert page.evaluate("getComputedStyle(document.body).color") == "rgb(0, 0, 0)"


def test_files_dropped_on_their_field_are_in_it(
    browser: Browser, live_server: Any, signed_in: Client
) -> None:
    page = opened(browser, live_server, client=signed_in)
    page.goto("/drop/")
    dropped = page.evaluate_handle(
        """() => { const all = new DataTransfer();
        for (const name of ["pennant.dst", "cap.pes"]) all.items.add(new File(["x"], name)); return all; }"""
    )
    page.dispatch_event(".drop", "dragenter", {"dataTransfer": dropped})
    assert "drop-over" in str(page.locator(".drop").get_attribute("class"))
    page.dispatch_event(".drop", "drop", {"dataTransfer": dropped})
    assert page.evaluate("Array.from(document.querySelector('input[type=file]').files, f => f.name)") == [
        "pennant.dst",
        "cap.pes",
    ]
    assert page.get_by_text("2 files: pennant.dst, cap.pes").is_visible()
    assert "drop-over" not in str(page.locator(".drop").get_attribute("class"))


def test_a_file_field_for_one_file_takes_no_more(
    browser: Browser, live_server: Any, signed_in: Client
) -> None:
    page = opened(browser, live_server, client=signed_in)
    page.goto("/drop/?one")
    dropped = page.evaluate_handle(
        """() => { const all = new DataTransfer();
        for (const name of ["a.dst", "b.dst"]) all.items.add(new File(["x"], name)); return all; }"""
    )
    page.dispatch_event(".drop", "drop", {"dataTransfer": dropped})
    assert page.evaluate("document.querySelector('input[type=file]').files.length") == 0
    assert page.get_by_text("2 files were dropped; this field takes one.").is_visible()


def test_a_part_of_a_page_is_fetched_under_the_security_policy(
    browser: Browser, live_server: Any, signed_in: Client
) -> None:
    page = opened(browser, live_server, client=signed_in)
    page.goto("/drop/")
    page.get_by_role("button", name="Fetch").click()
    page.get_by_text("no page of the house").wait_for()
