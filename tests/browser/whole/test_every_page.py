"""Every named page of the demo's week, as everybody has to be able to use it: axe is silent, nothing lies beside it.

The ordinary form walks the pages that a day leads through; the whole walk (``-m exhaustive``) all that have an address.
"""

from collections.abc import Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.contrib.auth.models import User
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Page

from tests.benchmarks.large_shelf.page_walk import LOOKED_AT, NO_PAGES, pages_to_look_at
from tests.browser.conftest import CONTRAST, END_TRANSITIONS, RULES
from workshop.demo import load_demo
from workshop.demo.designs import keep_demo_designs
from workshop.demo.week import lay_out_week

# What a day leads through, from the first look to what is bought.
OF_A_DAY = (
    "today",
    "jobs",
    "job",
    "run_sheet",
    "plan_sheet",
    "designs",
    "shelf",
    "item",
    "own",
    "buying",
    "order",
)
DESK, NARROW = {"width": 1280, "height": 800}, {"width": 320, "height": 700}
# As WCAG 1.4.4 has it: text at twice its size, in a window of a desk.
TWICE = "document.documentElement.style.fontSize = '200%'"
AS_IT_WAS = "document.documentElement.style.fontSize = ''"
WIDER = "document.documentElement.scrollWidth - document.documentElement.clientWidth"


@pytest.fixture
def pages(transactional_db, settings, tmp_path, signed_in: Page) -> dict[str, str]:
    """Return every page of the demo's week by the name of its route."""
    settings.MEDIA_ROOT = tmp_path / "files"
    at = timezone.now()
    demo = load_demo(at=at, by=None)
    lay_out_week(keep_demo_designs(at=at, machine=demo.batch.machine), at=at)
    assert User.objects.count() == 1
    return pages_to_look_at()


def problems_of(page: Page, name: str, address: str) -> Iterator[str]:
    """Yield what is wrong with one page: what axe reports light, dark and narrow, and what scrolls sideways."""

    def axe(how: str, rules: dict[str, object]) -> Iterator[str]:
        for each in Axe().run(page, options=rules).response["violations"]:
            where = "; ".join(str(node["target"][0]) for node in each["nodes"][:3])
            yield f"{name}, {how}: {each['id']} ({each['help']}) at {where}"

    page.set_viewport_size(DESK)  # type: ignore[arg-type]
    answer = page.goto(address)
    page.locator("main").wait_for()
    if answer is None or answer.status not in (200, 422):
        yield f"{name}: answered {answer.status if answer else 'nothing'}"
    yield from axe("light", RULES)
    page.emulate_media(color_scheme="dark")
    page.evaluate(END_TRANSITIONS)
    yield from axe("dark", CONTRAST)
    page.emulate_media(color_scheme="light")
    page.evaluate(END_TRANSITIONS)
    page.evaluate(TWICE)
    if (wider := page.evaluate(WIDER)) > 0:
        yield f"{name}, text twice as large: {wider} px lie beside it"
    page.evaluate(AS_IT_WAS)
    page.set_viewport_size(NARROW)  # type: ignore[arg-type]
    if (wider := page.evaluate(WIDER)) > 0:
        yield f"{name}, 320 px wide: {wider} px lie beside it"
    yield from axe("320 px wide", RULES)


def walk(page: Page, pages: dict[str, str]) -> list[str]:
    found = [problem for name, address in pages.items() for problem in problems_of(page, name, address)]
    print(f"{len(pages)} pages, each in four forms: {len(found)} problems")
    for problem in found:
        print(problem)
    return found


def test_the_pages_of_a_day_are_there_for_everybody(signed_in: Page, pages: dict[str, str]) -> None:
    of_a_day = {name: pages[name] for name in OF_A_DAY}
    assert walk(signed_in, of_a_day) == []


@pytest.mark.exhaustive
def test_every_page_is_there_for_everybody(signed_in: Page, pages: dict[str, str]) -> None:
    # What this workshop has no record of is looked at by the tests of its own room.
    assert len(pages) >= 70
    assert walk(signed_in, pages) == []


def test_each_route_is_a_page_or_none(pages: dict[str, str]) -> None:
    assert set(LOOKED_AT) >= NO_PAGES
    assert reverse("today") in pages.values()
