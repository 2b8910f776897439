"""How long the pages are before anything is opened, in the demo's week: an answer is read, not scrolled to."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from unittest import mock

import pytest
from django.urls import reverse
from playwright.sync_api import Page

from planning.jobs.jobs import JobFacts, make_job
from planning.library.designs import keep_design
from planning.models import Design, Fabric, Job, Machine
from planning.run.promise import promise
from planning.run.ticks import Happening, begin, note
from planning.stitch_files.reading import read_design_file
from tests.benchmarks.large_shelf.page_walk import pages_to_look_at
from tests.factories import a_shade, a_spool
from workshop.demo import LoadedDemo, load_demo
from workshop.demo.designs import keep_demo_designs
from workshop.demo.week import lay_out_week
from workshop.handbook.pages import ORDER

DESK, PHONE = (1280, 800), (360, 740)
# So many screens are the most, at the desk and on a phone.
MOST = (2.0, 4.0)
# What may be longer, how long at most, and why.
LONGER = {
    "cut_sheet": ((4.0, 5.0), "drawn for paper, so large that its letters are read standing"),
    "handbook: machine": ((2.5, 4.0), "a chapter, with its picture, is read from its beginning to its end"),
}
# A day with a long name: how lines break must not hang on when this is run.
AT = datetime(2026, 9, 23, 9, 30, tzinfo=UTC)
COLOURS = [f"#{level:02x}{255 - level:02x}60" for level in range(0, 240, 16)]


@pytest.fixture
def demo(transactional_db, settings, tmp_path) -> Iterator[LoadedDemo]:
    """Lay the demo workshop out as it is in the middle of its week, and stay in that moment."""
    settings.MEDIA_ROOT = tmp_path / "files"
    with mock.patch("django.utils.timezone.now", return_value=AT):
        loaded = load_demo(at=AT, by=None)
        lay_out_week(keep_demo_designs(at=AT, machine=loaded.batch.machine), at=AT)
        yield loaded


def main_pages(demo: LoadedDemo) -> dict[str, str]:
    """Return the addresses of the pages that a day leads through, by what they are."""
    asked = f"{asked_of(demo)}&design={Design.objects.get(name=demo.batch.design).pk}"
    found = {
        "plan": f"{reverse('plan_sheet')}?{asked}",
        "keep a job": f"{reverse('keep_job')}?{asked}",
        **{name: reverse(name) for name in ("today", "jobs", "shelf", "buying", "designs")},
    }
    for name, route, state in (
        ("a draft", "job", Job.State.DRAFT),
        ("a promised job", "job", Job.State.PROMISED),
        ("run", "run_sheet", Job.State.RUNNING),
        ("finish", "finish_job", Job.State.RUNNING),
        ("report", "job_report", Job.State.FINISHED),
    ):
        job = Job.objects.filter(state=state).order_by("pk").first()
        assert job is not None
        found[name] = reverse(route, args=[job.pk])
    return found


def asked_of(demo: LoadedDemo) -> str:
    fabric = Fabric.objects.get(name=demo.batch.fabric)
    machine = Machine.objects.get(name=demo.batch.machine)
    return f"fabric={fabric.pk}&machine={machine.pk}&pieces=24&needed_on={AT:%Y}-12-31"


def every_page(demo: LoadedDemo) -> dict[str, str]:
    """Return every named page, and those of which each job, design and chapter has its own."""
    found = {**pages_to_look_at(), **main_pages(demo)}
    for job in Job.objects.all():
        found[f"job: {job.what}, {job.state}"] = reverse("job", args=[job.pk])
    for design in Design.objects.all():
        found[f"design: {design.name}"] = reverse("design", args=[design.pk])
        found[f"colours: {design.name}"] = reverse("first_colours", args=[design.pk])
        found[f"choose: {design.name}"] = reverse("design_colours", args=[design.pk])
        found[f"plan: {design.name}"] = f"{reverse('plan_sheet')}?{asked_of(demo)}&design={design.pk}"
    return found | {f"handbook: {slug}": reverse("handbook_page", args=[slug]) for slug in ORDER}


def a_run(what: str, *, pieces: int, done: int, design: Design, machine: Machine) -> str:
    """Begin a run of so many pieces, of which so many are done, the sixth spoiled; return the address of its sheet."""
    facts = JobFacts(
        what=what, pieces=pieces, tests=1, machine=machine, fabric=Fabric.objects.get(name="Woven twill")
    )
    pk = make_job(facts, designs=[design], at=AT, by=None).pk
    promise(Job.objects.with_everything().get(pk=pk), at=AT, by=None, although_short=True)
    job = Job.objects.with_everything().get(pk=pk)
    begin(job, at=AT)
    for position in range(1, done + 1):
        kind = "spoiled" if position == 7 else "piece"
        note(job, Happening(kind=kind, key=f"{what} {position}", position=position), at=AT, by=None)
    return reverse("run_sheet", args=[pk])


def long_runs(demo: LoadedDemo, stitch_file: Callable[..., object]) -> dict[str, str]:
    """Return the sheets of runs of many pieces, and of many colours whose spools run out, as they are begun."""
    back = Machine.objects.get(name=demo.batch.machine)
    window = Machine.objects.exclude(pk=back.pk).get()
    for number, colour in enumerate(COLOURS):
        shade = a_shade(f"R{number}", hex=colour, name=f"Harbour Signal {number}")
        a_spool(shade, left_m=100)
        a_spool(shade, left_m=500)
    path = stitch_file(*COLOURS, name="sampler.pes", stitches=400)
    sampler = keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=AT)  # type: ignore[arg-type]
    badge = Design.objects.get(name=demo.batch.design)
    return {
        "run of 48": a_run("Regatta caps", pieces=48, done=11, design=badge, machine=window),
        "run of 240": a_run("Festival caps", pieces=240, done=25, design=badge, machine=back),
        "run of 48, 15 colours": a_run("Samplers", pieces=48, done=3, design=sampler, machine=window),
        "run of 240, 15 colours": a_run("Samplers for all", pieces=240, done=3, design=sampler, machine=back),
    }


def screens(page: Page, address: str) -> tuple[float, float]:
    """Return how many screens a page takes at the desk and on a phone, and see that nothing lies beside it."""

    def long(size: tuple[int, int]) -> float:
        page.set_viewport_size({"width": size[0], "height": size[1]})
        assert page.evaluate("document.documentElement.scrollWidth") <= size[0], f"{address} scrolls sideways"
        return float(page.evaluate("document.documentElement.scrollHeight")) / size[1]

    page.set_viewport_size({"width": DESK[0], "height": DESK[1]})
    page.goto(address)
    page.locator("main").wait_for()
    return long(DESK), long(PHONE)


def too_long(page: Page, pages: dict[str, str]) -> list[tuple[str, float, float]]:
    """Print how long the pages are, the longest first, and return those that are longer than they may be."""
    found = {name: screens(page, address) for name, address in pages.items()}
    for name, (desk, phone) in sorted(found.items(), key=lambda each: -max(each[1][0] / 2, each[1][1] / 4)):
        print(f"{name}: {desk:.2f} screens at {DESK[0]} px, {phone:.2f} at {PHONE[0]} px")
    most = {name: LONGER[name][0] if name in LONGER else MOST for name in found}
    return [
        (name, round(desk, 2), round(phone, 2))
        for name, (desk, phone) in found.items()
        if desk > most[name][0] or phone > most[name][1]
    ]


def test_an_answer_is_read_without_much_scrolling(
    demo: LoadedDemo, signed_in: Page, axe_is_silent: Callable[[Page], None]
) -> None:
    pages = main_pages(demo)
    signed_in.set_viewport_size({"width": 320, "height": 700})
    signed_in.goto(pages["plan"])
    axe_is_silent(signed_in)
    assert signed_in.evaluate("document.documentElement.scrollWidth") <= 320
    signed_in.set_extra_http_headers({"Accept-Language": "de"})
    assert too_long(signed_in, pages) == []
    assert signed_in.locator("html").get_attribute("lang") == "de"


def test_every_page_takes_a_few_screens_at_most(demo: LoadedDemo, signed_in: Page) -> None:
    pages = every_page(demo)
    assert set(LONGER) <= set(pages)
    assert too_long(signed_in, pages) == []


def test_any_run_takes_a_few_screens_at_most(
    demo: LoadedDemo,
    signed_in: Page,
    axe_is_silent: Callable[[Page], None],
    stitch_file: Callable[..., object],
) -> None:
    runs = long_runs(demo, stitch_file)
    assert too_long(signed_in, runs | {"today": reverse("today")}) == []
    axe_is_silent(signed_in)
    signed_in.goto(runs["run of 240"])
    axe_is_silent(signed_in)
    signed_in.set_extra_http_headers({"Accept-Language": "de"})
    assert too_long(signed_in, runs) == []
