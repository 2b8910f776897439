"""Standings that are kept are those that would be found anew, whatever was done; and today's planner agrees."""

from collections.abc import Callable, Iterator
from contextlib import suppress
from datetime import date
from random import Random

import pytest

from inventory import ledger
from inventory.ledger import Finding, find, reverse, set_aside, use
from inventory.models import Entry, Reservation, Shade, Spool, StockItem
from planning.compute.batch.plan import BatchPlan
from planning.compute.batch.taking import claims
from planning.facts.learning import observe
from planning.facts.remembered import remembered_for_plans
from planning.jobs import season
from planning.jobs.asked import asked_of
from planning.jobs.jobs import JobFacts, change_job, delete_job, make_job, plan_of
from planning.jobs.pinning import ShadeChanges, change_pins
from planning.jobs.season import each_alone, if_first, in_turn, minutes_in_turn
from planning.jobs.turns import Shelves, Standing
from planning.library.designs import keep_design
from planning.models import Design, Fabric, Job, Machine, Observation, Promise, Rules
from planning.run.finish import drop
from planning.run.promise import promise, take_promise_back
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW, a_key, a_range, a_roll, a_shade, a_spool, an_offer, some_bobbins

pytestmark = pytest.mark.django_db
COLOURS = ("#b01c2e", "#1f4e79", "#e8c547", "#2f7d4f")


@pytest.fixture(autouse=True)
def nothing_kept() -> Iterator[None]:
    season.forget()
    yield
    season.forget()


@pytest.fixture
def designs(stitch_file, workshop) -> list[Design]:
    for number, colour in enumerate(COLOURS):
        for metres in (60, 200):
            a_spool(a_shade(f"K{number}-{metres}", hex=colour), left_m=metres)
    a_shade("sold", hex="#7a3b90")
    some_bobbins(count=40)
    a_roll()
    found = []
    for number, colours in enumerate([COLOURS[:2], COLOURS[1:], ("#7a3b90", COLOURS[0])]):
        path = stitch_file(*colours, name=f"design-{number}.pes", stitches=500 + 100 * number)
        found.append(keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW))
    return found


def a_job(design: Design, number: int, **facts) -> Job:
    wanted = JobFacts(what=f"job {number}", pieces=3 + number, machine=Machine.objects.first(), **facts)
    return make_job(wanted, designs=[design], at=NOW, by=None)


def told(standings: list[Standing]) -> list[tuple]:
    return [
        (each.job.pk, each.verdict, each.problem, each.holds, each.stood and each.stood.claims, each.stood)
        for each in standings
    ]


def every_standing() -> list[list[tuple]]:
    drafts = Job.objects.filter(state__in=[Job.State.DRAFT, Job.State.PROMISED])[:2]
    return [
        told(in_turn()), told(each_alone()), sorted(minutes_in_turn().items()),
        *(told(if_first(job)) for job in drafts),
    ]  # fmt: skip


def kept_and_anew() -> tuple[list[list[tuple]], list[list[tuple]]]:
    kept = every_standing()
    season.forget()
    return kept, every_standing()


def acts(rng: Random) -> list[Callable[[], object]]:
    """Return one act of each kind that moves something a standing rests on, each on things drawn at random."""
    spool = rng.choice(list(Spool.objects.on_the_shelf()))
    shade = rng.choice(list(Shade.objects.filter(range__purpose="needle")))
    job = rng.choice(list(Job.objects.waiting()))
    weighed = Finding(rng.choice((500.0, 9_000.0)), StockItem.Known.WEIGHED)
    machine = Machine.objects.get(pk=Machine.objects.first().pk)

    def rule(**changed: object) -> None:
        rules = Rules.current()
        for name, value in changed.items():
            setattr(rules, name, value)
        rules.save()

    return [
        lambda: use(spool, quantity=min(20_000, spool.free), key=a_key(), at=NOW, by=None),
        lambda: find(spool, quantity=rng.randrange(10_000, 300_000), finding=weighed, key=a_key(), at=NOW, by=None),
        lambda: find(spool, quantity=spool.on_hand, finding=weighed, key=a_key(), at=NOW, by=None),
        lambda: set_aside(spool, quantity=max(1, spool.free // 2), holder="somebody", key=a_key(), at=NOW, by=None),
        lambda: ledger.release(list(Reservation.objects.filter(holder="somebody"))),
        lambda: reverse(Entry.objects.filter(reason="use").last(), key=a_key(), at=NOW, by=None),
        lambda: a_spool(shade, metres=500),
        lambda: Shade.objects.filter(pk=shade.pk).update(lab_l=rng.uniform(20, 80)),
        lambda: an_offer(shade.range.put_ups.first()),
        lambda: some_bobbins(count=3),
        lambda: a_roll(metres=1),
        lambda: rule(colour_limit=rng.choice((2.0, 5.0, 12.0))),
        lambda: rule(spoilage=rng.choice((0.0, 0.2))),
        lambda: Machine.objects.filter(pk=machine.pk).update(kappa=rng.choice((0.1, 0.25, 0.4))),
        lambda: observe(machine, Observation.Kind.NEEDLE, estimated=1000.0, actual=rng.uniform(900, 1400), sigma=30.0,
                        key=a_key(), at=NOW, by=None, range=a_range()),
        lambda: a_job(rng.choice(list(Design.objects.all())), rng.randrange(9), priority=rng.randrange(1, 9)),
        lambda: change_job(job, JobFacts(what=job.what, pieces=job.pieces + 2, machine=job.machine)),
        lambda: change_job(job, JobFacts(what=job.what, pieces=job.pieces, machine=job.machine, priority=1)),
        lambda: change_pins(job, ShadeChanges(leave_out=[shade.code])),
        lambda: promise(job, at=NOW, by=None, although_short=True),
        lambda: take_promise_back(job, at=NOW),
        lambda: drop(job, at=NOW) if Job.objects.waiting().count() > 2 else None,
        lambda: delete_job(job) if Job.objects.waiting().count() > 2 else None,
        lambda: Fabric.objects.update(thickness_mm=rng.uniform(0.4, 2.0)),
        lambda: rng.choice(list(Design.objects.all())).blocks.update(drawn_mm=rng.uniform(500, 4000)),
    ]  # fmt: skip


def assert_kept_as_anew(designs: list[Design], rng: Random, *, steps: int) -> None:
    for number in range(4):
        a_job(designs[number % 3], number, needed_on=date(2026, 4, 1 + number))
    every_standing()
    for step in range(steps):
        act = rng.choice(acts(rng))
        try:
            act()
        except Exception as problem:
            refused = str(problem)
        else:
            refused = ""
        kept, anew = kept_and_anew()
        assert kept == anew, (step, refused)


def test_what_is_kept_is_what_would_be_found_anew_after_a_few_acts(designs) -> None:
    assert_kept_as_anew(designs, Random(1), steps=4)


@pytest.mark.thorough
@pytest.mark.parametrize("seed", range(12))
def test_what_is_kept_is_what_would_be_found_anew_after_any_act(designs, seed: int) -> None:
    assert_kept_as_anew(designs, Random(100 + seed), steps=25)


@pytest.mark.thorough
def test_each_kind_of_act_is_seen(designs) -> None:
    for number in range(3):
        a_job(designs[number % 3], number)
    for place in range(len(acts(Random(5)))):
        every_standing()
        with suppress(Exception):  # refused: nothing moved, and that is told as well
            acts(Random(5 + place))[place]()
        kept, anew = kept_and_anew()
        assert kept == anew, place


def test_asked_again_nothing_is_read_but_the_marks(designs, django_assert_max_num_queries) -> None:
    a_job(designs[0], 1)
    first = in_turn()
    with django_assert_max_num_queries(45):
        assert in_turn() == first
    assert in_turn()[0].stood is first[0].stood


def test_what_was_read_half_before_an_act_and_half_after_is_read_anew(designs, monkeypatch) -> None:
    """A job that is made between the marks and the reading is among the jobs, and has no mark."""
    a_job(designs[0], 1)
    marks_now, made = season.marks_now, []

    def marks_and_then_a_job() -> object:
        marks = marks_now()
        if not made:
            made.append(a_job(designs[1], 2))
        return marks

    monkeypatch.setattr(season, "marks_now", marks_and_then_a_job)
    assert len(each_alone()) == 2


def planned_in_turn() -> list[tuple]:
    """Return what today's planner says of the waiting jobs, one after the other: the checker of the season."""
    jobs = list(Job.objects.waiting().with_everything().in_turn())
    shelves = Shelves(jobs)
    found = []
    for job in jobs:
        if job.state != Job.State.DRAFT:
            found.append((job.pk, job.promise.verdict, None))
            continue
        plan = shelves.plan(job)
        found.append((job.pk, plan.verdict, claims(plan)))
        shelves.take(job, claims(plan), bobbins=plan.bobbins.sure_count)
    return found


def planned_whole() -> list[tuple[int, BatchPlan]]:
    return [(each.job.pk, each.plan) for each in in_turn(plans=99) if each.plan]


def test_the_planner_says_of_each_job_what_the_season_says(designs) -> None:
    jobs = [
        a_job(designs[number % 3], 3 * number, needed_on=date(2026, 4, 1 + number)) for number in range(5)
    ]
    promise(jobs[3], at=NOW, by=None, although_short=True)
    found = [(each.job.pk, each.verdict, each.stood and each.stood.claims) for each in in_turn()]
    assert found == planned_in_turn()
    plans = [each.plan for each in in_turn(plans=2)]
    assert [plan is not None for plan in plans] == [True, True, False, False, False]
    assert [claims(plan) for plan in plans[:2]] == [claimed for _, _, claimed in found[:2]]
    took = minutes_in_turn()
    for pk, plan in planned_whole():
        assert took[pk] == pytest.approx(plan.machine_min + plan.hands_on_min)
    promised = Promise.objects.get()
    assert took[jobs[3].pk] == promised.machine_min + promised.answer["time"]["hands_on_min"]
    for each in each_alone():
        plan = plan_of(each.job, with_advice=False)
        assert (each.verdict, each.stood.claims) == (plan.verdict, claims(plan))
        lacking = [thread.missing_mm for thread in plan.threads if thread.verdict != "enough"]
        assert [thread.missing_mm for thread in each.stood.threads if thread.verdict != "enough"] == lacking
    assert asked_of(jobs[0]).remembered == remembered_for_plans()
