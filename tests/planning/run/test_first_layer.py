"""What a run sheet says before anything is opened: what comes next, where the spools are, and which pieces are done."""

import re

import pytest
from django.urls import reverse

from planning.run.promise import promise
from planning.run.sheet import MOST_COMING, coming, sheet_rows, soon, threading_order, threads_are
from planning.run.standing import Run, run_of
from planning.run.ticks import Happening, begin, note
from tests.factories import NOW, a_key, a_shade, a_spool, some_bobbins
from tests.pages import page_text
from tests.planning.run.jobs import BLUE, RED, a_job

pytestmark = pytest.mark.django_db


@pytest.fixture
def running(stitch_file, workshop):
    """A job of ninety pieces on one needle, whose bobbin ends again and again before the same block."""
    a_spool(a_shade("R", hex=RED, name="harbour red"), left_m=900)
    a_spool(a_shade("B", hex=BLUE), left_m=900)
    some_bobbins(count=30)
    job = a_job(stitch_file(RED, BLUE, stitches=900), pieces=90)
    promise(job, at=NOW, by=None, although_short=True)
    begin(job, at=NOW)
    return job


def tick(job, times: int, *, spoiled: tuple[int, ...] = ()) -> Run:
    for number in range(times):
        kind = "spoiled" if number in spoiled else "piece"
        note(job, Happening(kind=kind, key=a_key()), at=NOW, by=None)
    return run_of(job)


def test_what_comes_is_told_with_the_numbers_of_its_pieces(running):
    run = run_of(running)
    rows = sheet_rows(run)
    told = coming(run, rows)
    due = [row.position for row in rows if row.notes and row.position > 1]
    assert sum(len(numbers) for numbers, _notes in told) == min(MOST_COMING, len(due)) > 1
    # What is the same at several of them is said once.
    assert len({notes for _numbers, notes in told}) == len(told)
    by_number = {row.called.removeprefix("piece "): tuple(row.notes) for row in rows}
    assert all(by_number[number] == notes for numbers, notes in told for number in numbers)


def test_what_is_due_within_three_pieces_stands_beside_the_next(running):
    run = run_of(running)
    rows = sheet_rows(run)
    first = next(row for row in rows if row.notes and row.position > 1)
    early = soon(run, rows)
    assert (early is not None) == (first.position <= run.left[3])
    run = tick(running, first.position - 2)
    near = soon(run, sheet_rows(run))
    assert near is not None
    assert near.position == run.left[1] == first.position


def test_spools_and_their_places_are_counted(running):
    run = run_of(running)
    threads = threading_order(run, spare={})
    assert threads_are(threads) == "2 spools"
    assert threads_are([]) == "no spool is known"


def test_pieces_have_their_marks_on_the_screen_and_those_done_wait_behind_their_number(signed_in, running):
    tick(running, 14, spoiled=(5,))
    answer = signed_in.get(reverse("run_sheet", args=[running.pk]))
    page = answer.content.decode()
    assert "Done: <span data-done>14</span>" in page
    boxes = page.partition('<ul class="boxes">')[2].partition("</section>")[0]
    assert len(re.findall(r"<li class=\"ticked", boxes)) == 14
    assert len(re.findall(r"<li class=\"ticked spoiled", boxes)) == 1
    # The words of a change that comes again and again stand once for the screen and once for paper, not at each piece.
    often = next(note for row in sheet_rows(run_of(running)) if row.marks for note in row.notes)
    assert boxes.count(often) == 0
    assert page.count('class="run-marked"') == 2
    assert "Where each thread is" in page


def test_a_short_run_hides_none_of_its_pieces(signed_in, running):
    tick(running, 12)
    assert "run-done" not in page_text(signed_in.get(reverse("run_sheet", args=[running.pk])))
