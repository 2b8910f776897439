"""A cloth that bears only so many stitches a minute makes a batch longer, dearer and earlier to begin."""

import pytest

from planning.jobs.jobs import plan_of
from planning.models import Fabric, Machine
from tests.factories import a_shade, a_spool, some_bobbins
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
