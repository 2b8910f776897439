"""Chromium, a served workshop, and what every page must pass: axe with nothing to report."""

from collections.abc import Callable, Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.contrib.auth.models import User
from playwright.sync_api import Browser, Page

from tests.planning.conftest import stitch_file, workshop  # noqa: F401 - fixtures that pages need too

RULES = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}}
PASSWORD = "spindle-and-thread"


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if "tests/browser/" in item.path.as_posix():
            item.add_marker(pytest.mark.browser)


@pytest.fixture(params=["light", "dark"])
def look(request: pytest.FixtureRequest) -> str:
    return request.param


@pytest.fixture
def page(chromium: Browser, live_server, look: str, settings, tmp_path) -> Iterator[Page]:
    """A page of a fresh visit to the served workshop, in each look; any error in the browser fails the test."""
    settings.MEDIA_ROOT = tmp_path / "files"
    context = chromium.new_context(
        base_url=live_server.url, color_scheme=look, viewport={"width": 1280, "height": 900}
    )
    page = context.new_page()
    page.set_default_timeout(15_000)
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
def signed_in(page: Page, transactional_db) -> Page:
    User.objects.create_superuser("morgan", password=PASSWORD)
    page.goto("/sign-in/")
    page.get_by_label("Name").fill("morgan")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("heading", name="Is there enough?").wait_for()
    return page


@pytest.fixture
def axe_is_silent() -> Callable[[Page], None]:
    """Return a check that axe has nothing to report of a page as it stands."""

    def check(page: Page) -> None:
        results = Axe().run(page, options=RULES)
        assert results.violations_count == 0, results.generate_report()

    return check


@pytest.fixture
def fits() -> Callable[[Page], None]:
    """Return a check that nothing of a page lies beyond its width at 320 px."""

    def check(page: Page) -> None:
        page.set_viewport_size({"width": 320, "height": 700})
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= 320, f"the page is {wide} px wide"

    return check
