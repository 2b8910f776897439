"""How long the pages are before anything is opened, on the demo workshop: an answer is read, not scrolled to."""

from collections.abc import Callable

import pytest
from django.utils import timezone
from playwright.sync_api import Page

from planning.models import Fabric, Machine
from workshop.demo import load_demo
from workshop.demo.designs import keep_demo_designs

DESK, PHONE = (1280, 900), (360, 780)
# So many screens are the most, at the desk and on a phone.
MOST_SCREENS = {"plan": (2.0, 4.0), "keep a job": (2.0, 4.0)}


@pytest.fixture
def demo_pages(transactional_db, settings, tmp_path) -> dict[str, str]:
    """Return the addresses of pages of the demo workshop by what they are."""
    settings.MEDIA_ROOT = tmp_path / "files"
    demo = load_demo(at=timezone.now(), by=None)
    machine = Machine.objects.get(name=demo.batch.machine)
    designs = keep_demo_designs(at=timezone.now(), machine=machine.name)
    fabric = Fabric.objects.get(name=demo.batch.fabric)
    badge = designs[demo.batch.design]
    asked = f"design={badge.pk}&fabric={fabric.pk}&machine={machine.pk}"
    return {
        "plan": f"/plan/?{asked}&pieces=24&needed_on={timezone.localdate():%Y}-12-31",
        "today": "/",
        "shelf": "/shelf/",
        "buying": "/buying/",
        "keep a job": f"/jobs/keep/?{asked}&pieces=24",
    }


def screens(page: Page, address: str, size: tuple[int, int]) -> float:
    """Return how many screens a page takes, and see that nothing lies beside it."""
    page.set_viewport_size({"width": size[0], "height": size[1]})
    page.goto(address)
    page.locator("main").wait_for()
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0], f"{address} scrolls sideways"
    return float(page.evaluate("document.documentElement.scrollHeight")) / size[1]


def test_an_answer_is_read_without_much_scrolling(
    demo_pages: dict[str, str], signed_in: Page, axe_is_silent: Callable[[Page], None]
) -> None:
    found = {
        name: tuple(screens(signed_in, address, size) for size in (DESK, PHONE))
        for name, address in demo_pages.items()
    }
    for name, (desk, phone) in found.items():
        print(f"{name}: {desk:.2f} screens at {DESK[0]} px, {phone:.2f} at {PHONE[0]} px")
    for name, most in MOST_SCREENS.items():
        assert all(length <= limit for length, limit in zip(found[name], most, strict=True)), (
            name,
            found[name],
        )
    signed_in.set_viewport_size({"width": 320, "height": 700})
    signed_in.goto(demo_pages["plan"])
    axe_is_silent(signed_in)
    assert signed_in.evaluate("document.documentElement.scrollWidth") <= 320
