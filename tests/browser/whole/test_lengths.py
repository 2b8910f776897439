"""How long the pages are before anything is opened, in the demo's week: an answer is read, not scrolled to."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from unittest import mock

import pytest
from django.urls import reverse
from playwright.sync_api import Page

from planning.models import Fabric, Job, Machine
from workshop.demo import load_demo
from workshop.demo.designs import keep_demo_designs
from workshop.demo.week import lay_out_week

DESK, PHONE = (1280, 800), (360, 740)
# So many screens are the most, at the desk and on a phone.
MOST_AT_DESK, MOST_ON_PHONE = 2.0, 4.0
# A day with a long name: how lines break must not hang on when this is run.
AT = datetime(2026, 9, 23, 9, 30, tzinfo=UTC)


@pytest.fixture
def demo_pages(transactional_db, settings, tmp_path) -> Iterator[dict[str, str]]:
    """Give the addresses of pages of the demo workshop, in the middle of its week, by what they are."""
    settings.MEDIA_ROOT = tmp_path / "files"
    with mock.patch("django.utils.timezone.now", return_value=AT):
        yield laid_out(at=AT)


def laid_out(*, at: datetime) -> dict[str, str]:
    demo = load_demo(at=at, by=None)
    machine = Machine.objects.get(name=demo.batch.machine)
    designs = keep_demo_designs(at=at, machine=machine.name)
    fabric = Fabric.objects.get(name=demo.batch.fabric)
    asked = f"design={designs[demo.batch.design].pk}&fabric={fabric.pk}&machine={machine.pk}&pieces=24"
    lay_out_week(designs, at=at)
    jobs = {state: Job.objects.filter(state=state).order_by("pk").first() for state in Job.State.values}
    found = {
        "plan": f"{reverse('plan_sheet')}?{asked}&needed_on={at:%Y}-12-31",
        "keep a job": f"{reverse('keep_job')}?{asked}",
        "today": reverse("today"),
        "jobs": reverse("jobs"),
        "shelf": reverse("shelf"),
        "buying": reverse("buying"),
        "designs": reverse("designs"),
    }
    for name, route, state in (
        ("a draft", "job", "draft"),
        ("a promised job", "job", "promised"),
        ("run", "run_sheet", "running"),
        ("report", "job_report", "finished"),
    ):
        job = jobs[state]
        assert job is not None
        found[name] = reverse(route, args=[job.pk])
    return found


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
    too_long = []
    for name, address in demo_pages.items():
        desk, phone = (screens(signed_in, address, size) for size in (DESK, PHONE))
        print(f"{name}: {desk:.2f} screens at {DESK[0]} px, {phone:.2f} at {PHONE[0]} px")
        if desk > MOST_AT_DESK or phone > MOST_ON_PHONE:
            too_long.append((name, round(desk, 2), round(phone, 2)))
    assert too_long == [], too_long
    signed_in.set_viewport_size({"width": 320, "height": 700})
    signed_in.goto(demo_pages["plan"])
    axe_is_silent(signed_in)
    assert signed_in.evaluate("document.documentElement.scrollWidth") <= 320
