"""Long work: asked for once, told how far it is, stopped, begun again, taken over and taken up from the dead."""

import threading
from datetime import timedelta

import pytest
from django.contrib.auth.models import User
from django.core.management import call_command
from django.db import transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from inventory.models import LongWork, Place, WorkProcess
from inventory.work import Carrying, Stopped, TakenOver, ask_for, ask_to_stop, asking, begin_again
from inventory.work.loop import work_on_one
from inventory.work.queue import KEPT_FOR, MOST_DEATHS, forget_old, take_up_lost
from tests.inventory.work.slow import make_places, refuse
from tests.pages import page_text

pytestmark = pytest.mark.django_db
NOW = timezone.now()
LONG_AGO = NOW - timedelta(hours=1)


def asked(*, key: str = "a", number: int = 3, by: User | None = None) -> LongWork:
    return ask_for(make_places, (number, 0), key=key, what="Places", at=NOW, by=by)


@pytest.fixture
def queued(settings):
    """Have work wait in the queue."""
    settings.WORK_IN, settings.TASKS = "worker", {"default": {"BACKEND": "django_tasks_db.DatabaseBackend"}}


def a_process(name: str = "one", *, seen_at=NOW) -> WorkProcess:
    return WorkProcess.objects.create(name=name, kind="worker", since=LONG_AGO, seen_at=seen_at)


def test_work_asked_for_twice_is_done_once() -> None:
    first, again = asked(), asked()
    assert first == again
    assert (again.state, again.done, again.total, again.saying) == ("done", 3, 3, "3 places are there.")
    assert again.what == "Places..."
    assert LongWork.objects.count() == 1


def test_work_that_fails_says_so_and_can_be_begun_again(signed_in: Client) -> None:
    work = ask_for(refuse, key="b", what="A fault", at=NOW)
    assert work.state == "failed"
    page = page_text(signed_in.get(reverse("work")))
    assert "The program itself failed (RuntimeError)" in page
    signed_in.post(reverse("work_again", args=[work.pk]))
    work.refresh_from_db()
    assert (work.state, work.turns) == ("failed", 3)  # taken, reopened, taken
    begin_again(asked())
    assert LongWork.objects.get(key="a").turns == 1  # what is through stays through


def test_a_stop_is_heard_at_the_next_step_and_what_was_done_stays(queued, person: User) -> None:
    work = asked(by=person)
    taken = Carrying(work.pk, turn=1, asked_at=NOW, by=person)
    LongWork.objects.update(turns=1)
    taken.progress(1, 3)
    LongWork.objects.update(stop_asked_at=NOW)
    taken.progress(2, 3)  # not written: told a moment ago
    with pytest.raises(Stopped):
        taken.progress(3, 3, always=True)
    work.refresh_from_db()
    assert (work.state, work.done) == ("stopping", 3)


def test_stopping_what_is_through_changes_nothing(person: User) -> None:
    work = asked()
    ask_to_stop(work, at=NOW, by=person)
    work.refresh_from_db()
    assert work.state == "done"


def test_nothing_stays_of_whoever_comes_back_after_another_has_taken_over(queued) -> None:
    work = asked()
    LongWork.objects.update(turns=2)
    thought_dead = Carrying(work.pk, turn=1, asked_at=NOW, by=None)

    @transaction.atomic
    def one_more_step() -> None:
        Place.objects.create(name="by the dead")
        thought_dead.progress(1, 3, always=True)

    with pytest.raises(TakenOver):
        one_more_step()
    assert not Place.objects.exists()


def test_work_of_the_dead_is_put_back_by_one_of_all_who_look_and_given_up_in_the_end(queued) -> None:
    work = asked()
    for death in range(1, MOST_DEATHS + 1):
        process = a_process(f"number {death}", seen_at=LONG_AGO)
        LongWork.objects.update(process=process)
        DBTaskResult.objects.update(status="RUNNING", worker_ids=[process.name])
        assert take_up_lost(at=NOW) == 1
        assert take_up_lost(at=NOW) == 0
        work.refresh_from_db()
        assert (work.process, work.deaths) == (None, death)
        assert DBTaskResult.objects.filter(status="READY", pk=work.task_id).count() == (death < MOST_DEATHS)
    assert "each time its process died" in work.failure


def test_a_living_process_keeps_what_it_has(queued) -> None:
    asked()
    LongWork.objects.update(process=a_process())
    assert take_up_lost(at=NOW) == 0


def test_work_whose_turn_was_drawn_by_one_who_died_before_taking_it_gets_another(queued) -> None:
    asked()
    assert take_up_lost(at=NOW) == 0
    DBTaskResult.objects.update(status="RUNNING", worker_ids=["one"])
    a_process(seen_at=LONG_AGO)
    assert take_up_lost(at=NOW) == 1
    assert sorted(DBTaskResult.objects.values_list("status", flat=True)) == ["FAILED", "READY"]
    DBTaskResult.objects.all().delete()  # as after restoring
    assert take_up_lost(at=NOW) == 1


def test_what_is_long_through_is_forgotten(queued) -> None:
    asked(key="open")
    asked(key="through")
    LongWork.objects.filter(key="through").update(ended_at=NOW)
    forget_old(at=NOW + KEPT_FOR + timedelta(minutes=1))
    assert [work.key for work in LongWork.objects.all()] == ["open"]


@pytest.mark.django_db(transaction=True)
def test_a_worker_does_what_waits_in_turn_and_takes_its_leave(queued) -> None:
    asked(key="a", number=2)
    asked(key="b", number=3)
    call_command("work", until_empty=True)
    assert [work.state for work in LongWork.objects.all()] == ["done", "done"]
    assert Place.objects.count() == 3
    assert WorkProcess.objects.get().gone_at is not None


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("worker_lives", [True, False])
def test_stopping_one_that_waits_ends_it_and_no_other(
    queued, person: User, monkeypatch: pytest.MonkeyPatch, worker_lives: bool
) -> None:
    """The work beside it waits on, whether a worker is at something else or none runs."""
    monkeypatch.setattr(asking, "take", lambda pk: work_on_one(pk, kind="site", ending=threading.Event()))
    if worker_lives:
        a_process(seen_at=timezone.now())
    stopped, beside = asked(key="a"), asked(key="b")
    ask_to_stop(stopped, at=timezone.now(), by=person)
    stopped.refresh_from_db()
    beside.refresh_from_db()
    assert (stopped.state, beside.state) == ("stopped", "waiting")
    assert not Place.objects.exists()
    call_command("work", until_empty=True)  # the turn of what was stopped is drawn, and does nothing
    stopped.refresh_from_db()
    beside.refresh_from_db()
    assert (stopped.state, beside.state) == ("stopped", "done")


@pytest.mark.django_db(transaction=True)
def test_one_is_done_here_and_no_other(queued, signed_in: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(asking, "take", lambda pk: work_on_one(pk, kind="site", ending=threading.Event()))
    wanted, beside = asked(key="a"), asked(key="b")
    signed_in.post(reverse("work_again", args=[wanted.pk]))
    wanted.refresh_from_db()
    beside.refresh_from_db()
    assert (wanted.state, beside.state) == ("done", "waiting")


def test_the_owner_sees_what_waits_and_what_is_under_way_and_stops_it(queued, signed_in: Client) -> None:
    waits, goes_on = asked(key="a"), asked(key="b")
    process = a_process("worker-1:77", seen_at=timezone.now())
    LongWork.objects.filter(pk=goes_on.pk).update(
        process=process, started_at=NOW, done=1, total=3, what="Designs"
    )
    page = page_text(signed_in.get(reverse("work")))
    for said in ("Designs: 1 of 3", "worker-1:77", "Stop: Designs", "Waiting", "Stop: Places"):
        assert said in page
    assert "No process takes work now" not in page
    signed_in.post(reverse("work_stop", args=[goes_on.pk]))
    assert "Designs: ends at its next step" in page_text(signed_in.get(reverse("work")))
    WorkProcess.objects.all().delete()
    assert "No process takes work now" in page_text(signed_in.get(reverse("work")))
    assert waits.state == "waiting"


def test_what_work_works_on_stays_as_it_is_called_and_the_rest_is_the_readers(signed_in: Client) -> None:
    ask_for(refuse, key="c", what="Import of caps.zip", at=NOW)
    shown = signed_in.get(reverse("work"), headers={"accept-language": "de"}).content.decode()
    assert "Einlesen von caps.zip" in shown
    assert "Import of caps.zip" in signed_in.get(reverse("work")).content.decode()
