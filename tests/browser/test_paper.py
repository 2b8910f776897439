"""Sheets on paper, as Chromium prints them for somebody who changed nothing: without backgrounds, A4 and Letter."""

import re
from collections.abc import Iterator
from io import BytesIO

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse
from playwright.sync_api import Browser, Page
from pypdfium2 import PdfDocument, PdfPage

from inventory.shelf.receipts import receive_offcut
from planning.jobs.jobs import JobFacts, make_job
from planning.library.designs import keep_design
from planning.models import Fabric, Job, Machine
from planning.run.promise import promise
from planning.run.ticks import Happening, begin, note
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW, a_delivery, a_roll, a_shade, a_spool, a_stabilizer, some_bobbins

PAPERS = ("A4", "Letter")
COLOURS = [f"#{level:02x}{255 - level:02x}60" for level in range(0, 240, 16)]
PIECES = 240
# Large enough to be read at arm's length.
LETTER_PT = 14
# A capital letter is at least so high, in its own size: from 0.66 for serifs to 0.73 for the widest sans.
CAPITAL = 0.66


@pytest.fixture
def jobs(transactional_db, workshop, settings, tmp_path, stitch_file) -> tuple[Job, Job]:
    """Return a draft and a running job of fifteen colours and 240 pieces, for which most is short."""
    settings.MEDIA_ROOT = tmp_path / "files"
    machine = Machine.objects.get()
    machine.needles = 6
    machine.save()
    for number, colour in enumerate(COLOURS):
        a_spool(a_shade(f"R{number}", hex=colour, name=f"Harbour Signal {number}"), left_m=100)
    some_bobbins(count=40)
    a_roll(metres=60)
    receive_offcut(a_stabilizer(), width_mm=420, height_mm=400, delivery=a_delivery())
    path = stitch_file(*COLOURS, name="sampler.pes", stitches=400)
    design = keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)
    wanted = JobFacts(
        what="crew caps", pieces=PIECES, tests=1, machine=machine, fabric=Fabric.objects.get(name="twill")
    )
    draft, running = (make_job(wanted, designs=[design], at=NOW, by=None) for _ in range(2))
    running = Job.objects.with_everything().get(pk=running.pk)
    promise(running, at=NOW, by=None, although_short=True)
    running = Job.objects.with_everything().get(pk=running.pk)
    begin(running, at=NOW)
    note(running, Happening(kind="piece", key="first", position=1), at=NOW, by=None)
    return draft, running


@pytest.fixture
def reader(request, chromium: Browser, live_server, jobs) -> Iterator[Page]:
    """A page of somebody who reads this language, in the dark."""
    client = Client()
    client.force_login(User.objects.create_superuser("morgan"))
    context = chromium.new_context(base_url=live_server.url, locale=request.param, color_scheme="dark")
    session = {"name": "sessionid", "value": client.cookies["sessionid"].value, "url": live_server.url}
    context.add_cookies([session])  # type: ignore[list-item]
    page = context.new_page()
    page.set_default_timeout(60_000)
    yield page
    context.close()


def printed(page: Page, address: str, paper: str) -> PdfDocument:
    page.goto(address)
    page.locator("main").wait_for()
    return PdfDocument(BytesIO(page.pdf(format=paper)))


def lines_of(sheet: PdfPage) -> list[str]:
    """Return the lines of text of a page, without the number at its foot."""
    lines = [" ".join(line.split()) for line in sheet.get_textpage().get_text_bounded().splitlines()]
    return [line for line in lines if line and not re.fullmatch(r"\d+ / \d+", line)]


def headings_at_a_foot(document: PdfDocument, headings: set[str]) -> list[str]:
    """Return the headings that are the last on a page with what they stand over on the next."""
    last = [lines_of(document[number])[-1] for number in range(len(document) - 1)]
    return [line for line in last if line in headings]


def headings_of(page: Page) -> set[str]:
    written = page.locator("main").locator("h2, h3, caption").all_inner_texts()
    return {" ".join(each.split()) for each in written if each.strip()}


def test_a_heading_alone_at_a_foot_is_found(chromium: Browser):
    page = chromium.new_page()
    page.set_content(
        "<style>p{height:235mm;margin:0;break-inside:avoid}h2{margin:0}</style><main><p>long</p><h2>Alone</h2><p>x</p></main>"
    )
    document = PdfDocument(BytesIO(page.pdf(format="A4", margin={"top": "14mm", "bottom": "14mm"})))
    assert headings_at_a_foot(document, headings_of(page)) == ["Alone"]
    page.close()


def test_a_heading_goes_to_the_next_page_with_what_it_stands_over(signed_in: Page):
    page = signed_in
    page.goto(reverse("people"))
    headings = headings_of(page)

    def alone() -> list[str]:
        """Return the headings that are left at a foot while the page is pushed down by and by."""
        found = []
        for down_mm in range(180, 264, 4):
            page.evaluate("mm => { document.querySelector('main').style.paddingTop = `${mm}mm`; }", down_mm)
            with PdfDocument(BytesIO(page.pdf(format="A4", page_ranges="1-2"))) as document:
                found += headings_at_a_foot(document, headings)
        return found

    assert alone() == []
    # Without the rule one is left there, so that what is asked above says something.
    page.evaluate(
        "() => { for (const each of document.querySelectorAll('main *')) { each.style.breakAfter = 'auto';"
        " each.style.breakInside = 'auto'; } }"
    )
    assert alone()


@pytest.mark.parametrize("reader", ["en-GB", "de-DE"], indirect=True)
def test_sheets_take_the_paper_they_should_and_are_ink_on_white(reader: Page, jobs: tuple[Job, Job]):
    draft, running = jobs
    design = draft.placed.get().design.pk
    asked = f"/plan/?design={design}&pieces={PIECES}&machine={draft.machine_id}&fabric={draft.fabric_id}"
    sheets = {
        asked: 1,
        f"/jobs/{draft.pk}/": 1,
        f"/jobs/{running.pk}/run/": 2,
        f"/jobs/{draft.pk}/cut/": 2,
        "/help/": 8,
    }
    taken = {}
    for address, most in sheets.items():
        for paper in PAPERS:
            with printed(reader, address, paper) as document:
                taken[address, paper] = len(document)
                assert len(document) <= most, (address, paper)
                assert headings_at_a_foot(document, headings_of(reader)) == [], (address, paper)
                seen = document[0].render(scale=0.25, grayscale=True).to_pil().convert("L")
                levels = sorted(seen.get_flattened_data())  # type: ignore[attr-defined]
                assert levels[len(levels) // 2] == 255, (address, paper)
    print(taken)
    # The plan has a line for each thread, and its caution, whole.
    reader.goto(asked)
    assert reader.locator(".lasts tbody tr").count() >= len(COLOURS)


@pytest.mark.parametrize("reader", ["de-DE"], indirect=True)
def test_every_piece_of_a_run_has_a_box_and_its_marks_are_told(reader: Page, jobs: tuple[Job, Job]):
    running = jobs[1]
    with printed(reader, f"/jobs/{running.pk}/run/", "A4") as document:
        texts = [" ".join(lines_of(sheet)) for sheet in document]
    called = reader.locator(".boxes > li").evaluate_all(
        "all => all.map(each => each.childNodes[2].textContent)"
    )
    everything = " ".join(texts)
    assert len(called) >= PIECES
    assert all(" ".join(each.split()) in everything for each in called)
    marked = [" ".join(each.split()) for each in reader.locator(".run-marked li").all_text_contents()]
    assert marked
    # On every page with boxes, for nobody turns the sheet to read a mark.
    assert all(each in text for text in texts for each in marked)
    reader.emulate_media(media="print")
    boxes = reader.locator(".ticked .box").evaluate_all(
        "all => all.map(e => getComputedStyle(e).printColorAdjust)"
    )
    assert set(boxes) == {"exact"}


@pytest.mark.parametrize("reader", ["en-GB"], indirect=True)
def test_the_letters_of_a_cut_sheet_are_read_standing(reader: Page, jobs: tuple[Job, Job]):
    for paper in PAPERS:
        with printed(reader, f"/jobs/{jobs[0].pk}/cut/", paper) as document:
            high = 0
            for sheet in document:
                read = sheet.get_textpage()
                for at, letter in enumerate(read.get_text_range()):
                    if letter == "A":
                        _left, bottom, _right, top = read.get_charbox(at)
                        high += top - bottom >= LETTER_PT * CAPITAL
        drawn = reader.locator(".cut-piece").count()
        assert drawn > 10
        assert high >= drawn
