"""A part of a piece stitched again, told by a block and about how far, or by the stitch numbers of the machine."""

import json

import pytest
from django.urls import reverse

from inventory.compute.errors import WorkshopError
from inventory.ledger import ledger_problems
from planning.models import Job, RunEvent
from planning.run.again import blocks_of, note_told
from planning.run.promise import promise
from planning.run.standing import run_of, used_so_far
from planning.run.ticks import Happening, begin, take_back
from tests.factories import NOW, a_key, a_shade, a_spool, some_bobbins
from tests.pages import page_text
from tests.planning.run.jobs import BLUE, RED, a_job

pytestmark = pytest.mark.django_db


@pytest.fixture
def running(stitch_file, workshop) -> Job:
    a_spool(a_shade("R", hex=RED), left_m=900)
    a_spool(a_shade("B", hex=BLUE), left_m=900)
    some_bobbins(count=20)
    job = a_job(stitch_file(RED, BLUE, RED, stitches=400))
    promise(job, at=NOW, by=None)
    begin(job, at=NOW)
    return job


def again(job: Job, **part) -> list[RunEvent]:
    return note_told(job, Happening("restitch", key=part.pop("key", a_key()), **part), at=NOW, by=None)


def test_blocks_stand_in_their_order_with_their_threads(running):
    blocks = blocks_of(run_of(running))
    assert [(each.number, each.thread) for each in blocks] == [(1, 1), (2, 2), (3, 1)]
    assert all(each.stitches >= 399 for each in blocks)


def test_half_of_a_block_is_a_quarter_of_a_thread_of_two_blocks(running):
    (event,) = again(running, block=3, share=0.5)
    assert event.thread.order == 1
    assert event.share == pytest.approx(0.25, abs=0.002)


def test_stitch_numbers_reach_over_blocks_one_event_for_each_thread(running):
    first, second, _ = blocks_of(run_of(running))
    start, stop = first.stitches - 100, first.stitches + 200
    events = again(running, from_stitch=start, to_stitch=stop)
    assert [each.thread.order for each in events] == [1, 2]
    assert events[0].share == pytest.approx(100 / (2 * first.stitches), rel=0.01)
    assert events[1].share == pytest.approx(200 / second.stitches, rel=0.01)
    run = run_of(running)
    for event in events:
        thread = run.threads[event.thread.order - 1]
        wanted = round(thread.geometry_at(event.position) * event.share * thread.median)
        assert used_so_far(running)[thread.turns[0].item] == wanted


def test_sent_twice_it_counts_once_and_each_is_taken_back(running):
    key = a_key()
    events = again(running, key=key, from_stitch=300, to_stitch=500)
    assert again(running, key=key, from_stitch=300, to_stitch=500) == events
    for event in events:
        take_back(event, key=a_key(), at=NOW, by=None)
    assert not used_so_far(running)
    assert not ledger_problems()


@pytest.mark.parametrize(
    ("part", "said"),
    [
        ({"block": 9}, "no block 9"),
        ({"block": 1, "share": 1.5}, "about how far"),
        ({"from_stitch": 500, "to_stitch": 400}, "no part of this design"),
        ({"from_stitch": 0, "to_stitch": 99_999}, "no part of this design"),
        ({"design": 4, "block": 1}, "no design 4"),
    ],
)
def test_what_makes_no_sense_is_refused_and_nothing_is_noted(running, part, said):
    with pytest.raises(WorkshopError, match=said):
        again(running, **part)
    assert not RunEvent.objects.exists()


def test_the_page_and_the_phone_tell_it_by_block_and_by_stitch(signed_in, running):
    sheet = signed_in.get(reverse("run_sheet", args=[running.pk]))
    assert "From block" in page_text(sheet)
    sent = {"kind": "restitch", "key": "b1", "design": "1", "block": "2", "share": "0.5"}
    signed_in.post(reverse("happened", args=[running.pk]), sent)
    assert RunEvent.objects.get().share == pytest.approx(0.5, abs=0.01)
    body = {"events": [{"kind": "restitch", "key": "p1", "from_stitch": "380", "to_stitch": "420"}]}
    answer = signed_in.post(
        reverse("happenings", args=[running.pk]), json.dumps(body), content_type="application/json"
    )
    # The blue thread was stitched again a moment ago: it is asked about, and nothing of it is noted until it is meant.
    assert answer.json()["events"][0]["ask"] == "again"
    assert RunEvent.objects.count() == 1
    body["events"][0]["again"] = "yes"
    answer = signed_in.post(
        reverse("happenings", args=[running.pk]), json.dumps(body), content_type="application/json"
    )
    assert "problem" not in answer.json()["events"][0]
    assert RunEvent.objects.count() == 3
