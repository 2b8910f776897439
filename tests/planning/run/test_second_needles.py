"""Two spools of one thread on a machine with needles to spare, from the plan to the run sheet."""

from io import StringIO

import pytest
from django.core.management import call_command
from django.urls import reverse

from inventory.compute.errors import WorkshopError
from inventory.models import Change
from planning.jobs.asked import asked_of
from planning.models import Machine, RunEvent
from planning.plan.ask import plan_asked
from planning.plan.data import plan_as_data
from planning.run.promise import promise
from planning.run.second_needle import name_needle
from planning.run.sheet import due_notes, threading_order, what_changes
from planning.run.standing import run_of, spools_to_swap_in
from planning.run.ticks import Happening, begin, note
from tests.factories import NOW, a_key, a_shade, a_spool, some_bobbins
from tests.pages import page_text
from tests.planning.run.jobs import BLUE, RED, a_job

pytestmark = pytest.mark.django_db


@pytest.fixture
def job(stitch_file, workshop):
    """Two spools of red, neither of which does all pieces, and one of blue."""
    red = a_shade("R", hex=RED, name="harbour red")
    a_spool(red, left_m=45)
    a_spool(red, left_m=45)
    a_spool(a_shade("B", hex=BLUE))
    some_bobbins(count=30)
    return a_job(stitch_file(RED, BLUE, stitches=400), pieces=12)


def with_needles(job, needles):
    Machine.objects.update(needles=needles)
    job.machine.refresh_from_db()
    return job


def test_a_needle_to_spare_saves_the_stop_and_no_metre(job):
    plans = {needles: plan_asked(asked_of(with_needles(job, needles))) for needles in (2, 3)}
    (without,), (spare,) = (plans[needles].spool_changes for needles in (2, 3))
    assert (without.needle, without.on_needle, without.stops) == (1, 1, True)
    assert (spare.needle, spare.on_needle, spare.ready_from, spare.stops) == (1, 3, 1, False)
    assert [each.needed_mm for each in plans[2].threads] == [each.needed_mm for each in plans[3].threads]
    times = job.machine.times
    assert plans[2].machine_min - plans[3].machine_min == pytest.approx(times.stop_s / 60)
    # The second spool is threaded once by hand either way.
    assert plans[2].hands_on_min == pytest.approx(plans[3].hands_on_min)
    (told,) = plan_as_data(plans[3])["needles"]["spool_changes"]
    assert (told["thread"], told["needle"], told["on_needle"], told["stops"]) == (0, 1, 3, False)


def test_every_spool_that_ends_takes_its_threading_of_the_hands(job):
    plan = plan_asked(asked_of(with_needles(job, 2)))
    alone = plan.hoopings * job.machine.hooping_s + plan.needles.threadings * job.machine.rethread_s
    bobbins = len(plan.bobbins.changes) + plan.bobbins.inside_blocks
    by_hand = alone + job.machine.rethread_s + bobbins * job.machine.bobbin_change_s
    assert plan.hands_on_min == pytest.approx(by_hand / 60)
    # One needle is threaded anew for every block: a new spool there costs no threading of its own.
    assert [each.is_anyway for each in plan_asked(asked_of(with_needles(job, 1))).spool_changes] == [True]


@pytest.fixture
def running(job):
    with_needles(job, 4)
    promise(job, at=NOW, by=None)
    begin(job, at=NOW)
    return job


def test_the_run_sheet_says_needle_one_then_needle_three(running, signed_in):
    run = run_of(running)
    red = threading_order(run, spare=spools_to_swap_in(run))[0]
    assert (red.needle, red.then, red.next_label) == (1, ((3, "S0001"),), "S0001")
    turn = run.records[0].spools.all()[1]
    notes = due_notes(run)
    assert any("on needle 3 too: spool S0001" in each for each in notes[1])
    assert any("goes on with needle 3: spool S0002 is done" in each for each in notes[turn.from_position])
    page = page_text(signed_in.get(reverse("run_sheet", args=[running.pk])))
    assert "then 3" in page
    assert "A second spool is on another needle" in page


def test_a_spool_that_runs_out_early_goes_on_with_the_needle_of_the_next(running):
    for _ in range(2):
        note(running, Happening(RunEvent.Kind.PIECE, key=a_key()), at=NOW, by=None)
    happening = Happening(
        RunEvent.Kind.SPOOL, key=a_key(), thread=1, label="S0001", ran_out=True, left="nothing"
    )
    note(running, happening, at=NOW, by=None)
    run = run_of(running)
    red = threading_order(run, spare=spools_to_swap_in(run))[0]
    assert (red.label, red.needle, red.then) == ("S0001", 3, ())


def test_the_person_at_the_machine_names_the_needle(running, signed_in):
    address = reverse("second_needle", args=[running.pk])
    signed_in.post(address, {"label": "S0001", "needle": "4", "key": "one"})
    signed_in.post(address, {"label": "S0001", "needle": "4", "key": "one"})
    run = run_of(running)
    assert threading_order(run, spare={})[0].then == ((4, "S0001"),)
    assert Change.objects.filter(what__startswith="S0001 of").count() == 1
    out = StringIO()
    call_command("second_needle", running.pk, "S0001", 0, stdout=out)
    assert "the needle of the spool before" in out.getvalue()
    assert threading_order(run_of(running), spare={})[0].then == ((None, "S0001"),)


@pytest.mark.parametrize(
    ("label", "needle", "says"),
    [("S0001", 2, "Needle 2 is for"), ("S0001", 5, "There is no needle 5"), ("S0003", 4, "follows another")],
)
def test_a_needle_that_is_taken_or_not_there_is_refused(running, label, needle, says):
    with pytest.raises(WorkshopError, match=says):
        name_needle(running, label=label, needle=needle, at=NOW, by=None)


def test_the_sheet_draws_where_another_spool_goes_on(job, signed_in):
    promise(with_needles(job, 2), at=NOW, by=None)
    run = begin(job, at=NOW)
    (turn,) = run.threads[0].turns[1:]
    changing = {each.name: each for each in what_changes(run)}
    red = changing["harbour red"]
    assert (red.count, red.colour, red.changes) == ("2 spools", RED, ((turn.from_position, "spare 1"),))
    page = signed_in.get(reverse("run_sheet", args=[job.pk])).content.decode()
    drawn = page.partition("What changes when")[2].partition("</section>")[0]
    assert drawn.count('<svg class="turns"') == len(changing) == 1
    assert ">spare 1</text>" in drawn
