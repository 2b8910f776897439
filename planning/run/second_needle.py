"""Which needle a second spool is on, as the person at the machine says."""

from datetime import datetime
from typing import Any

from inventory.acting import planned_act, standing_at
from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _
from inventory.ledger.changes import changed_before
from inventory.models import Change
from planning.jobs.jobs import TABLE
from planning.models import Job, PromisedSpool, PromisedThread
from planning.run.promise import lock_in, machine_of
from planning.run.standing import run_of

State = Job.State


@planned_act
def name_needle(
    job: Job, *, label: str, needle: int | None, at: datetime, by: Any, key: str = ""
) -> PromisedSpool:
    """Return the turn of the spool ``label``, now on ``needle``; None puts it back on that of the spool before.

    It is a spool that follows another of its thread in the promise of ``job``. Raises WorkshopError where there is no
    such needle, or another thread is on it.
    """
    if key and changed_before(key):
        return _turn_of(job, label)
    lock_in(job, State.PROMISED, State.RUNNING)
    turn = _turn_of(job, label)
    if needle is not None:
        _refuse_taken(job, turn, needle)
    before, turn.needle = turn.needle, needle
    if needle is None:
        turn.ready_position = None
    elif turn.ready_position is None:
        left = run_of(job).left
        turn.ready_position = left[0] if left else turn.from_position
    turn.save(update_fields=["needle", "ready_position"])
    where = f"needle {needle}" if needle else "the needle of the spool before"
    Change.objects.create(
        table=TABLE,
        record=job.pk,
        what=f"{turn.item} of {job} goes on {where}"[:200],
        fields={"needle": {"before": before, "after": needle}},
        at=at,
        by=by,
        station=standing_at(by),
        key=key,
    )
    return turn


def _turn_of(job: Job, label: str) -> PromisedSpool:
    turns = PromisedSpool.objects.select_related("item", "thread").filter(thread__promise__job=job)
    turn = turns.filter(item__label__iexact=label.strip(), order__gt=1).first()
    if turn is None:
        raise WorkshopError(
            _(
                'No spool "{label}" follows another in the plan of {job}: only such a one has a needle of its own.'
            ).format(label=label, job=job)
        )
    return turn


def _refuse_taken(job: Job, turn: PromisedSpool, needle: int) -> None:
    needles = machine_of(job).needles
    if not 1 <= needle <= needles:
        raise WorkshopError(
            _("There is no needle {needle}: {machine} has {number}.").format(
                needle=needle, machine=machine_of(job), number=needles
            )
        )
    others = PromisedThread.objects.filter(promise__job=job, needle=needle).exclude(pk=turn.thread_id)
    seconds = PromisedSpool.objects.filter(thread__promise__job=job, needle=needle).exclude(
        thread=turn.thread_id
    )
    taken = others.first() or next((each.thread for each in seconds.select_related("thread")), None)
    if taken is not None:
        raise WorkshopError(
            _("Needle {needle} is for {thread}. Choose one that no thread is on.").format(
                needle=needle, thread=taken
            )
        )
