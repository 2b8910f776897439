"""The pages of a job from promise to report, and what a phone sends after a while without a network."""

import json
import math

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.models import Reservation, Spool, StockItem
from inventory.shelf.weights import STATED_TEX_SIGMA, TARE_SIGMA
from planning.jobs.jobs import JobFacts, make_job
from planning.jobs.season import forget
from planning.library.designs import keep_design
from planning.models import FactorReset, Job, Machine, Observation, RunEvent, RunReport
from planning.run.finish import drop
from planning.run.promise import promise
from planning.run.standing import run_of
from planning.run.ticks import Happening, begin, note
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW, a_key, a_roll, a_shade, a_spool, some_bobbins
from tests.pages import page_text

pytestmark = pytest.mark.django_db
# On which page the form is that sends back what it showed.
FORM_OF = {"promise_job": "job", "finish_job": "finish_job"}
RED, BLUE = "#b01c2e", "#1c2b8d"


@pytest.fixture
def red(workshop) -> Spool:
    return a_spool(a_shade("R", hex=RED, name="harbour red"), left_m=900, lot="L77")


@pytest.fixture
def job(stitch_file, red) -> Job:
    a_spool(a_shade("B", hex=BLUE, name="deep blue"), left_m=900)
    some_bobbins(count=20)
    a_roll()
    path = stitch_file(RED, BLUE, name="badge.pes", stitches=400)
    design = keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)
    wanted = JobFacts(what="crew caps", pieces=6, tests=1, machine=Machine.objects.first())
    made = make_job(wanted, designs=[design], at=NOW, by=None)
    return Job.objects.with_everything().get(pk=made.pk)


@pytest.fixture
def running(job) -> Job:
    promise(job, at=NOW, by=None)
    begin(job, at=NOW)
    return job


def page(client, name: str, *args) -> str:
    answer = client.get(reverse(name, args=args))
    assert answer.status_code == 200
    return page_text(answer)


def post(client, name: str, *args, **fields):
    if name in FORM_OF:
        fields["shown"] = client.get(reverse(FORM_OF[name], args=args)).context["shown"]
    return client.post(reverse(name, args=args), fields, follow=True)


def test_a_job_is_promised_taken_back_and_dropped_on_its_page(signed_in, job):
    assert "Promise it: set its material aside" in page(signed_in, "job", job.pk)
    post(signed_in, "promise_job", job.pk)
    shown = page(signed_in, "job", job.pk)
    assert "Begin at the machine" in shown
    assert "lot L77" in shown
    assert Reservation.objects.filter(holder=job.holder).exists()
    post(signed_in, "take_back_promise", job.pk)
    assert not Reservation.objects.exists()
    post(signed_in, "drop_job", job.pk)
    assert "It was dropped" in page(signed_in, "job", job.pk)
    post(signed_in, "pick_up_job", job.pk)
    assert "Promise it" in page(signed_in, "job", job.pk)


def test_a_short_job_says_so_on_its_button(signed_in, job, red):
    StockItem.objects.filter(pk=red.pk).update(on_hand=10)
    assert "Promise it although it is short" in page(signed_in, "job", job.pk)
    answer = post(signed_in, "promise_job", job.pk)
    assert "cannot be promised" in answer.content.decode()


def test_a_promise_taken_back_while_its_page_is_made_is_left_out(signed_in, job, monkeypatch):
    promise(job, at=NOW, by=None)
    monkeypatch.setattr("planning.views.jobs.jobs._promise", lambda found: None)
    shown = signed_in.get(f"/jobs/{job.pk}/")
    assert shown.status_code == 200
    assert 'id="promise"' not in shown.content.decode()


def test_a_promised_job_refuses_to_be_changed_in_words(signed_in, job):
    promise(job, at=NOW, by=None)
    answer = signed_in.post(
        reverse("edit_job", args=[job.pk]),
        {
            "form": "facts",
            "what": "caps",
            "pieces": 9,
            "priority": 5,
            "copies": 1,
            "strictness": "picture",
            "machine": job.machine_id,
        },
    )
    assert answer.status_code == 422
    assert "Take the promise back first" in answer.content.decode()


def test_the_run_sheet_names_thread_spool_and_what_is_next(signed_in, running, red):
    shown = page(signed_in, "run_sheet", running.pk)
    assert "Next: test 1" in shown
    assert red.label in shown
    assert "Keep fingers" in shown
    assert "The machine's manual and local safety rules come first" in shown


def test_a_piece_is_ticked_and_taken_back_by_plain_forms(signed_in, running):
    post(signed_in, "happened", running.pk, kind="piece", key="one", position=1)
    assert "Next: piece 1" in page(signed_in, "run_sheet", running.pk)
    event = RunEvent.objects.get()
    post(signed_in, "take_back_event", running.pk, event.pk, key="two")
    assert "Next: test 1" in page(signed_in, "run_sheet", running.pk)


def test_what_happened_twice_is_told_in_words(signed_in, running):
    post(signed_in, "happened", running.pk, kind="piece", key="one", position=1)
    answer = post(signed_in, "happened", running.pk, kind="piece", key="other", position=1)
    assert "Test 1 is ticked already" in answer.content.decode()


def send(client, job: Job, events) -> tuple[int, dict]:
    answer = client.post(
        reverse("happenings", args=[job.pk]), json.dumps({"events": events}), content_type="application/json"
    )
    return answer.status_code, answer.json()


def test_a_phone_sends_what_it_collected_and_sends_it_again(signed_in, running):
    collected = [
        {"kind": "piece", "key": "a", "position": 1},
        {"kind": "piece", "key": "b", "position": "2"},
        {"kind": "break", "key": "c", "position": 3, "thread": 1},
    ]
    first, again = (send(signed_in, running, collected) for _ in range(2))
    numbers = RunEvent.objects.order_by("id").values_list("id", flat=True)
    answers = [{"key": key, "number": number} for key, number in zip("abc", numbers, strict=True)]
    assert first == again == (200, {"events": answers})


def test_one_event_that_makes_no_sense_does_not_hold_up_the_others(signed_in, running):
    status, answer = send(
        signed_in,
        running,
        [
            {"kind": "dance", "key": "a"},
            {"kind": "piece", "key": "b", "position": "first"},
            {"kind": "piece", "key": "c", "position": 99},
            "nonsense",
            {"kind": "piece", "key": "d", "position": 1},
        ],
    )
    assert status == 200
    assert [bool(each.get("problem")) for each in answer["events"]] == [True, True, True, True, False]
    assert RunEvent.objects.count() == 1


@pytest.mark.parametrize("body", ["", "[]", "{}", '{"events": 3}'])
def test_what_is_no_list_of_events_is_refused(signed_in, running, body):
    answer = signed_in.post(reverse("happenings", args=[running.pk]), body, content_type="application/json")
    assert answer.status_code == 400


def tick_all(job: Job) -> None:
    while run_of(job).left:
        note(job, Happening("piece", key=a_key()), at=NOW, by=None)


def test_a_run_is_finished_with_a_weight_and_reported(signed_in, running, red):
    tick_all(running)
    shown = page(signed_in, "finish_job", running.pk)
    assert f"{red.label} weighs" in shown
    left_mm = StockItem.objects.get(pk=red.pk).on_hand
    own = Spool.objects.select_related("shade__range", "put_up").get(pk=red.pk)
    grams = (own.empty_weight_mg + left_mm * own.shade.range.tex / 1000) / 1000
    answer = post(
        signed_in,
        "finish_job",
        running.pk,
        bobbins="2",
        machine_min="30",
        **{f"gross_{red.pk}": f"{grams:.1f}"},
    )
    shown = page_text(answer)
    assert "is finished" in shown
    assert "6 of 6" in shown
    assert "L77 (weighed)" in shown
    assert RunReport.objects.get().by is not None
    # Read to 0.1 g, as it was typed.
    readings_mm = 100 / math.sqrt(12) * math.sqrt(2) / own.shade.range.tex * 1000
    weighed = StockItem.objects.get(pk=red.pk)
    rest = [TARE_SIGMA * own.put_up.tare_mg / own.shade.range.tex * 1000, STATED_TEX_SIGMA * weighed.on_hand]
    assert weighed.sigma == pytest.approx(math.hypot(readings_mm, *rest), rel=0.01)


def test_a_step_that_is_stated_holds_for_every_spool_of_the_run(signed_in, running, red):
    tick_all(running)
    own = Spool.objects.select_related("shade__range", "put_up").get(pk=red.pk)
    left_g = (own.empty_weight_mg + own.on_hand * own.shade.range.tex / 1000) / 1000
    post(signed_in, "finish_job", running.pk, scale_resolution="5", **{f"gross_{red.pk}": f"{left_g:.2f}"})
    own.refresh_from_db()
    assert own.known == "weighed"
    assert own.sigma > 5_000 / math.sqrt(6) / own.shade.range.tex * 1000


def test_a_weight_that_cannot_be_keeps_what_was_typed(signed_in, running, red):
    tick_all(running)
    typed = {"scale_resolution": "1", "bobbins": "2", f"gross_{red.pk}": "1"}
    answer = post(signed_in, "finish_job", running.pk, **typed)
    assert answer.status_code == 422
    assert 'value="2' in answer.content.decode()
    assert not RunReport.objects.exists()


def test_the_learned_page_leaves_out_counts_in_and_starts_anew(signed_in, running, red):
    machine = running.machine
    seen = Observation.objects.create(
        kind="needle", machine=machine, range=red.shade.range, job=running, estimated=1000.0, actual=1100.0,
        sigma=20.0, at=NOW, key=a_key(),
    )  # fmt: skip
    shown = page(signed_in, "learned", machine.pk)
    assert "1 of 1 observation counted" in shown
    post(signed_in, "count_or_leave", seen.pk, why="the tension was off")
    assert "no: the tension was off" in page(signed_in, "learned", machine.pk)
    post(signed_in, "count_or_leave", seen.pk, count="yes")
    assert "1 of 1 observation counted" in page(signed_in, "learned", machine.pk)
    post(signed_in, "start_anew", machine.pk, kind="needle", range=red.shade.range_id)
    assert "Nothing was seen yet" in page(signed_in, "learned", machine.pk)
    post(signed_in, "reset_back", FactorReset.objects.get().pk)
    assert "1 of 1 observation counted" in page(signed_in, "learned", machine.pk)


def test_the_same_again_is_made_on_a_page_and_shows_the_lots_of_the_first(signed_in, running, red):
    tick_all(running)
    answer = post(signed_in, "same_again", running.pk, pieces=30)
    shown = page_text(answer)
    assert "As it was stitched before" in shown
    assert "lot L77" in shown
    assert Job.objects.get(repeats=running).pieces == 30


def test_what_if_shows_every_open_job(signed_in, job):
    assert "Nothing is changed by looking" in page(signed_in, "what_if_first", job.pk)
    drop(job, at=NOW)
    assert signed_in.get(reverse("what_if_first", args=[job.pk])).status_code == 302


def queries_of(client, name: str, *args) -> int:
    with CaptureQueriesContext(connection) as asked:
        page(client, name, *args)
    return len(asked)


def test_jobs_are_listed_in_as_many_queries_whatever_they_are(signed_in, job):
    def counted() -> tuple[int, int]:
        """Return the queries of the list where nothing is known yet, and once it is."""
        forget()
        return queries_of(signed_in, "jobs"), queries_of(signed_in, "jobs")

    post(signed_in, "same_again", job.pk, pieces=3)
    few = counted()
    for _ in range(4):
        post(signed_in, "same_again", job.pk, pieces=3)
    assert counted() == few


def test_a_run_sheet_asks_no_more_after_more_ticks(signed_in, running):
    post(signed_in, "happened", running.pk, kind="piece", key="one")
    few = queries_of(signed_in, "run_sheet", running.pk)
    for key in "xyz":
        post(signed_in, "happened", running.pk, kind="piece", key=key)
    assert queries_of(signed_in, "run_sheet", running.pk) <= few
