"""A whole season: jobs promised, run with mishaps, finished or dropped; the ledger stays sound throughout."""

import random

import pytest

from inventory.compute.lengths import ScaleReading
from inventory.ledger import ledger_problems
from inventory.models import Reservation, Spool, StockItem
from planning.compute.run.state import spool_on
from planning.facts.learning import learned
from planning.jobs.jobs import JobFacts, make_job
from planning.library.designs import keep_design
from planning.models import Job, Machine
from planning.run.finish import Ending, WeighedBack, drop, finish
from planning.run.promise import promise, take_promise_back
from planning.run.standing import run_of, spools_of
from planning.run.ticks import Happening, begin, note, take_back
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW, a_key, a_roll, a_shade, a_spool, some_bobbins

pytestmark = pytest.mark.django_db
COLOURS = ["#b01c2e", "#1c2b8d", "#1f5a39", "#e8bf72"]
# What the workshop's machine really takes, which nobody knows when the season begins.
TRUTH = 1.13


@pytest.fixture
def season(stitch_file, workshop):
    for number, colour in enumerate(COLOURS):
        shade = a_shade(f"C{number}", hex=colour)
        for _ in range(3):
            a_spool(shade, metres=1000, left_m=950)
    some_bobbins(count=400, metres=100)
    a_roll(metres=200)
    designs = []
    for number, colours in enumerate((COLOURS[:2], COLOURS[1:3], COLOURS)):
        path = stitch_file(*colours, name=f"design-{number}.pes", stitches=250)
        designs.append(keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW))
    return designs


def weighed(run, rng: random.Random) -> tuple[WeighedBack, ...]:
    """What the scale says of every spool the run used, if the thread really went at the true factor."""
    found = []
    for pk, spool in spools_of(run).items():
        own = Spool.objects.select_related("shade__range", "put_up").get(pk=pk)
        really_used = spool.geometry_mm * TRUTH * rng.lognormvariate(0, 0.03) + spool.beyond_mm
        left_mm = max(0.0, own.on_hand + spool.estimated_mm - really_used)
        gross = round(own.empty_weight_mg + left_mm * own.shade.range.tex / 1000)
        found.append(WeighedBack(own.label, ScaleReading(gross, resolution_mg=10)))
    return tuple(found)


def is_on(run, order: int, label: str) -> bool:
    on = spool_on(run.threads[order - 1], run.left[0] if run.left else max(run.done), run.swaps)
    return StockItem.objects.get(label=label).pk == on


def mishap(job: Job, rng: random.Random) -> None:
    run = run_of(job)
    order = rng.choice(run.threads).order
    kind = rng.choice(["break", "restitch", "spool", "bobbin"])
    if kind == "spool":
        record = run.records[order - 1]
        on = {turn.item for turn in run.threads[order - 1].turns}
        others = Spool.objects.on_the_shelf().filter(shade_id=record.shade_id).exclude(pk__in=on)
        if not others:
            return
        happening = Happening("spool", key=a_key(), thread=order, label=rng.choice(list(others)).label)
    else:
        happening = Happening(kind, key=a_key(), thread=order, share=rng.choice([0.25, 1.0]))
    if kind == "spool" and is_on(run, order, happening.label):
        return
    event = note(job, happening, at=NOW, by=None)
    if rng.random() < 0.3:
        take_back(event, key=a_key(), at=NOW, by=None)


@pytest.mark.parametrize("jobs", [10, pytest.param(40, marks=pytest.mark.thorough)])
def test_a_season_of_jobs_leaves_the_ledger_sound_and_nothing_set_aside(season, jobs):
    rng = random.Random(11)
    machine = Machine.objects.first()
    finished = dropped = 0
    for number in range(jobs):
        wanted = JobFacts(
            what=f"job {number}", pieces=rng.randint(1, 4), tests=rng.randint(0, 1), machine=machine
        )
        made = make_job(wanted, designs=[rng.choice(season)], at=NOW, by=None)
        job = Job.objects.with_everything().get(pk=made.pk)
        promise(job, at=NOW, by=None, although_short=True)
        fate = rng.random()
        if fate < 0.1:
            take_promise_back(job, at=NOW)
            continue
        if fate < 0.2:
            drop(job, at=NOW)
            dropped += 1
            continue
        begin(job, at=NOW)
        while run_of(job).left:
            kind = "spoiled" if rng.random() < 0.1 else "piece"
            event = note(job, Happening(kind, key=a_key()), at=NOW, by=None)
            if rng.random() < 0.1:
                take_back(event, key=a_key(), at=NOW, by=None)
            if rng.random() < 0.25:
                mishap(job, rng)
        if rng.random() < 0.1:
            drop(job, at=NOW)
            dropped += 1
            continue
        back = weighed(run_of(job), rng) if number % 2 else ()
        ending = Ending(weighed=back)
        finish(job, ending, at=NOW, by=None)
        finished += 1
    assert finished > jobs / 2
    assert dropped > jobs / 20
    assert not ledger_problems()
    open_jobs = Job.objects.waiting().exclude(state=Job.State.DRAFT)
    assert not open_jobs.exists()
    assert not Reservation.objects.exists()
    assert not StockItem.objects.filter(reserved__gt=0).exists()
    # What was weighed back taught the truth.
    factor = next(iter(learned(machine).needle.values()))
    assert factor.median == pytest.approx(TRUTH, rel=0.04)
