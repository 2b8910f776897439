"""Chromium, a served workshop, and what every page must pass: axe with nothing to report."""

from collections.abc import Callable, Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.contrib.auth.models import User
from django.test import Client
from playwright.sync_api import Browser, BrowserContext, Page, expect

from tests.browser.journeys import visiting
from tests.planning.conftest import stitch_file, workshop  # noqa: F401 - fixtures that pages need too

RULES: dict[str, object] = {
    "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
}
CONTRAST: dict[str, object] = {"runOnly": {"type": "rule", "values": ["color-contrast"]}}
# Waiting for them may take for ever: a page of which nothing else moves gets no frames in which they could end.
END_TRANSITIONS = (
    "document.getAnimations().filter(each => each instanceof CSSTransition).forEach(each => each.finish())"
)
# A busy machine is slow now and then: nobody waits longer for a test that passes.
LONGEST_WAIT_MS = 60_000
expect.set_options(timeout=LONGEST_WAIT_MS)

PASSWORD = "spindle-and-thread"


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if "tests/browser/" in item.path.as_posix():
            item.add_marker(pytest.mark.browser)


@pytest.fixture
def page(chromium: Browser, live_server, settings, tmp_path) -> Iterator[Page]:
    """A page of a fresh visit to the served workshop; any error in the browser fails the test."""
    settings.MEDIA_ROOT = tmp_path / "files"
    context = chromium.new_context(
        base_url=live_server.url, color_scheme="light", viewport={"width": 1280, "height": 900}
    )
    page = context.new_page()
    page.set_default_timeout(LONGEST_WAIT_MS)
    problems: list[str] = []
    page.on("pageerror", lambda error: problems.append(str(error)))
    page.on("console", lambda said: problems.append(said.text) if said.type == "error" else None)
    foreign: list[str] = []
    page.on("request", lambda asked: foreign.append(asked.url) if live_server.url not in asked.url else None)
    yield page
    context.close()
    # Chromium logs each answer of 4xx; pages that refuse in words answer 422 on purpose.
    assert [each for each in problems if "status of 422" not in each] == []
    assert [each for each in foreign if not each.startswith(("data:", "blob:"))] == []


@pytest.fixture
def signed_in(page: Page, live_server, transactional_db) -> Page:
    """The first page as morgan finds it, whose way through the sign-in has tests of its own."""
    client = Client()
    client.force_login(User.objects.create_superuser("morgan", password=PASSWORD))
    session = {"name": "sessionid", "value": client.cookies["sessionid"].value, "url": live_server.url}
    page.context.add_cookies([session])  # type: ignore[list-item]
    page.goto("/")
    page.get_by_role("heading", name="Is there enough?").first.wait_for()
    return page


@pytest.fixture
def phone_signed_in(
    chromium: Browser, live_server, transactional_db
) -> Iterator[tuple[BrowserContext, Page]]:
    """A signed-in phone; its browser may complain that the network is away, for that is what is tried."""
    User.objects.create_superuser("morgan", password=PASSWORD)
    context = chromium.new_context(
        base_url=live_server.url, viewport={"width": 360, "height": 740}, has_touch=True, is_mobile=True
    )
    page = context.new_page()
    page.set_default_timeout(LONGEST_WAIT_MS)
    problems: list[str] = []
    page.on("pageerror", lambda error: problems.append(str(error)))
    page.goto("/sign-in/")
    page.get_by_label("Name").fill("morgan")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in", exact=True).click()
    page.get_by_role("heading", name="Is there enough?").wait_for()
    yield context, page
    context.close()
    assert problems == []


@pytest.fixture
def visit(chromium: Browser, live_server, transactional_db, settings, tmp_path):
    """Return a function that opens the workshop on a screen so wide, signed in; every visit is closed at the end."""
    settings.MEDIA_ROOT = tmp_path / "files"
    client = Client()
    client.force_login(User.objects.create_superuser("morgan", password=PASSWORD))
    session = {"name": "sessionid", "value": client.cookies["sessionid"].value, "url": live_server.url}
    opened: list[Page] = []

    def open_page(*, width: int, javascript: bool = True) -> Page:
        page = visiting(chromium, live_server.url, width=width, javascript=javascript)
        page.context.add_cookies([session])  # type: ignore[list-item]
        opened.append(page)
        return page

    yield open_page
    for page in opened:
        page.context.close()


@pytest.fixture
def axe_is_silent() -> Callable[[Page], None]:
    """Return a check that axe has nothing to report of a page as it stands, nor of its colours in the dark."""

    def check(page: Page) -> None:
        silent(page, RULES)
        page.emulate_media(color_scheme="dark")
        page.evaluate(END_TRANSITIONS)
        silent(page, CONTRAST)
        page.emulate_media(color_scheme="light")
        page.evaluate(END_TRANSITIONS)

    def silent(page: Page, rules: dict[str, object]) -> None:
        page.locator("main").wait_for()
        results = Axe().run(page, options=rules)
        assert results.violations_count == 0, results.generate_report()

    return check


@pytest.fixture
def fits() -> Callable[[Page], None]:
    """Return a check that nothing of a page lies beyond its width at 320 px."""

    def check(page: Page) -> None:
        page.locator("main").wait_for()
        page.set_viewport_size({"width": 320, "height": 700})
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= 320, f"the page is {wide} px wide"

    return check
