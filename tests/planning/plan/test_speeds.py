"""A cloth that bears only so many stitches a minute makes a batch longer, dearer and earlier to begin."""

import pytest

from planning.jobs.jobs import plan_of
from planning.models import Fabric, Machine, Rules
from tests.factories import a_range, a_shade, a_spool, some_bobbins
from tests.planning.run.jobs import RED, a_job

pytestmark = pytest.mark.django_db


def test_the_speed_that_a_cloth_bears_is_in_the_time_of_the_plan(stitch_file, workshop):
    a_spool(a_shade(hex=RED))
    some_bobbins()
    twill = Fabric.objects.get(name="twill")
    job = a_job(stitch_file(RED, name="badge.pes", stitches=400), pieces=24, fabric=twill)
    usual = plan_of(job)
    waiting_min = usual.waiting_min
    machine = Machine.objects.get()
    twill.most_stitches_per_minute = machine.stitches_per_minute // 2
    twill.save()
    job.refresh_from_db()
    slow = plan_of(type(job).objects.with_everything().get(pk=job.pk))
    assert slow.machine_min - waiting_min == pytest.approx(2 * (usual.machine_min - waiting_min), rel=0.02)
    twill.most_stitches_per_minute = machine.stitches_per_minute * 2
    twill.save()
    assert plan_of(type(job).objects.with_everything().get(pk=job.pk)).machine_min == usual.machine_min


def test_the_slowest_of_machine_cloth_and_thread_sets_the_speed_and_the_cost(stitch_file, workshop):
    shade = a_shade(hex=RED)
    a_spool(shade)
    some_bobbins()
    Rules.objects.update_or_create(pk=1, defaults={"machine_rate": 30})
    job = a_job(stitch_file(RED, name="badge.pes", stitches=400), pieces=24)
    usual = plan_of(job)
    set_speed = Machine.objects.get().stitches_per_minute
    shade.range.most_stitches_per_minute = set_speed // 3
    shade.range.save()
    slow = plan_of(job)
    stitching = usual.machine_min - usual.waiting_min
    assert slow.machine_min - slow.waiting_min == pytest.approx(3 * stitching, rel=0.02)
    assert float(slow.cost.machine) == pytest.approx(slow.machine_min / 2, abs=0.01)
    # A thread that nothing is stitched with slows nothing.
    other = a_shade("G", hex="#118833", range=a_range("Skerry", "Glint"))
    a_spool(other)
    other.range.most_stitches_per_minute = 60
    other.range.save()
    assert plan_of(job).machine_min == slow.machine_min
