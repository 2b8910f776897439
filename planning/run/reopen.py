"""A finished job opened again: what its ending settled is taken back, what was weighed stays true."""

from datetime import datetime
from typing import Any

from django.db import transaction

from inventory.acting import planned_act, standing_at
from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import N_, _
from inventory.ledger import CannotReverse, reverse
from inventory.models import Entry
from planning.facts.learning import leave_out
from planning.facts.needles import take_stitches_back
from planning.models import Job, JobCut, Reopening, RunReport
from planning.run.lines import reference
from planning.run.promise import lock_in, machine_of
from planning.run.standing import ending_key, run_of
from planning.run.ticks import set_aside_what_is_left

WHY_LEFT_OUT = N_("the job was opened again")


@planned_act
def reopen(job: Job, *, why: str, at: datetime, by: Any) -> Reopening:
    """Return the record of ``job``, finished, opened again: it runs as before, and can be finished anew.

    The count of bobbins, the stabilizer and the stitches of the needle of the ending are taken back, what it taught
    is left out, and the report is kept with the reason. The rest of the last bobbin, if it was kept, is in the machine
    again: CannotReverse where it has been used since. What was weighed at the end stays as it was found. Offcuts that
    have been used since stay too, and with them their cut: the next ending takes only what is beyond it.
    """
    if not why.strip():
        raise WorkshopError(_("Say why the job is opened again: the reason is kept with its report."))
    lock_in(job, Job.State.FINISHED)
    report = RunReport.objects.get(job=job)
    _take_ending_back(job, at=at, by=by)
    machine = machine_of(job)
    if machine.pk is not None:
        # The next ending charges the needle with what is ticked by then.
        take_stitches_back(machine, key_begins=f"finish-{job.pk}-")
    for observation in job.observations.filter(key__startswith=f"finish-{job.pk}-", said__isnull=True):
        leave_out(observation, why=WHY_LEFT_OUT)
    made = Reopening.objects.create(
        job=job,
        at=at,
        by=by,
        station=standing_at(by),
        why=why.strip()[:200],
        finished_at=report.at,
        facts=report.facts,
    )
    report.delete()
    job.state, job.ended_at = Job.State.RUNNING, None
    job.save(update_fields=["state", "ended_at"])
    set_aside_what_is_left(run_of(job), at=at, by=by)
    return made


def _take_ending_back(job: Job, *, at: datetime, by: Any) -> None:
    stabilizer = JobCut.objects.filter(job=job, key__endswith=f"-{ending_key(job, 'stabilizer')}")
    own = [ending_key(job, what) for what in ("part-left", "part", "bobbins", "spray")]
    keys = [*stabilizer.values_list("key", flat=True), *own]
    for key in keys:
        entry = Entry.objects.filter(key=key, reversed_by__isnull=True).order_by("line").first()
        if entry is None or entry.reason == Entry.Reason.REVERSE:
            continue
        try:
            with transaction.atomic():
                reverse(entry, key=f"reopen-{entry.pk}", at=at, by=by, reference=reference(job))
        except CannotReverse:
            if key in own[:2]:
                raise CannotReverse(
                    _(
                        "{label} was kept of the last bobbin at the end, and has been used or set aside since. "
                        "Take that back first, then open the job again."
                    ).format(label=entry.item)
                ) from None
            if entry.reason != Entry.Reason.CUT:
                raise
