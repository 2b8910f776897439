"""What a run only reckons makes the shelf less known; what is counted or told makes it known again."""

import math

import pytest

from inventory.compute.lengths import ScaleReading
from inventory.models import BobbinBatch, Spool
from planning.compute.certainty.learned import sigma_of_change
from planning.models import Job, Observation
from planning.run.finish import Ending, WeighedBack, finish
from planning.run.lines import WHOLE_BOBBINS
from planning.run.promise import promise
from planning.run.standing import run_of, spools_of, used_so_far
from planning.run.ticks import Happening, begin, note
from tests.factories import NOW, a_key, a_shade, a_spool, some_bobbins
from tests.planning.run.jobs import RED, a_job

pytestmark = pytest.mark.django_db


@pytest.fixture
def red(workshop) -> Spool:
    return a_spool(a_shade("R", hex=RED), left_m=900)


@pytest.fixture
def path(stitch_file, red):
    some_bobbins(count=60, metres=2)
    return stitch_file(RED, stitches=400)


def running(path) -> Job:
    job = a_job(path)
    promise(job, at=NOW, by=None)
    begin(job, at=NOW)
    return job


def tick_all(job: Job, **last) -> None:
    while run_of(job).left:
        note(job, Happening("piece", key=a_key()), at=NOW, by=None)


def spool_now() -> Spool:
    return Spool.objects.get(shade__code="R")


def test_what_is_common_to_jobs_adds_up_straight_and_their_scatter_in_squares(path, red):
    before, used = red.sigma, []
    for _ in range(3):
        job = running(path)
        tick_all(job)
        used.append(used_so_far(job)[red.pk])
        thread = run_of(job).threads[0]
        finish(job, Ending(), at=NOW, by=None)
    common = thread.level * sum(used)
    scatter = thread.scatter * math.sqrt(sum(each**2 for each in used))
    assert spool_now().sigma == pytest.approx(math.sqrt(before**2 + common**2 + scatter**2), rel=1e-3)


def test_after_a_change_of_tension_the_rest_of_the_job_is_known_less_well(path, red):
    job = running(path)
    before = run_of(job).threads[0]
    note(job, Happening("tension", key=a_key(), showing="more"), at=NOW.replace(hour=10), by=None)
    after = run_of(job).threads[0]
    jump = sigma_of_change(0, slope=after.kappa_slope)
    assert after.level == pytest.approx(math.hypot(before.level, jump))
    assert after.scatter == pytest.approx(before.scatter)
    assert run_of(job).bobbin_sigmas[1] > 0.2


def test_bobbins_that_are_reckoned_are_known_less_and_those_counted_or_told_are_not(path):
    batch = BobbinBatch.objects.get()
    job = running(path)
    note(job, Happening("bobbin", key=a_key()), at=NOW, by=None)
    assert BobbinBatch.objects.get().sigma == batch.sigma == 0.0
    tick_all(job)
    assert BobbinBatch.objects.get().sigma > 0.1
    finish(job, Ending(bobbins=7), at=NOW, by=None)
    counted = BobbinBatch.objects.get()
    assert counted.sigma == pytest.approx(0.0, abs=1e-6)
    assert counted.on_hand == 60 - 7


def test_bobbins_go_in_whole_so_that_the_first_of_a_job_is_known_less_than_its_share(path):
    job = running(path)
    shares = run_of(job).bobbin_sigmas
    tick_all(job)
    used = used_so_far(job)[BobbinBatch.objects.get().pk]
    straight = used * math.hypot(*shares)
    assert BobbinBatch.objects.get().sigma == pytest.approx(math.hypot(straight, WHOLE_BOBBINS))
    finish(job, Ending(), at=NOW, by=None)
    # Every job ends and begins anew: of several, what is whole or not evens out, what they share does not.
    for _ in range(2):
        job = running(path)
        tick_all(job)
        finish(job, Ending(), at=NOW, by=None)
    scatter, level = shares
    wanted = math.sqrt(3 * (used * scatter) ** 2 + (3 * used * level) ** 2 + 3 * WHOLE_BOBBINS**2)
    assert BobbinBatch.objects.get().sigma == pytest.approx(wanted, rel=1e-3)


def test_a_job_too_small_for_the_scale_is_finished_and_teaches_nothing(path, red):
    job = running(path)
    tick_all(job)
    spool = next(iter(spools_of(run_of(job))))
    own = Spool.objects.select_related("put_up", "shade__range").get(pk=spool)
    # The scale shows more than before: of 900 m the job took a few.
    gross = round((own.empty_weight_mg + 920_000 * own.shade.range.tex / 1000) / 1000) * 1000
    weighed = WeighedBack(own.label, ScaleReading(gross, resolution_mg=1_000))
    report = finish(job, Ending(weighed=(weighed,)), at=NOW, by=None)
    assert any("too little" in each for each in report.facts["not_booked"])
    assert not Observation.objects.filter(kind="needle").exists()
    assert spool_now().on_hand > 890_000
