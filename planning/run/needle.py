"""The machine's needle during a run: what it stitched so far, and before which piece it is due."""

from typing import Any

from django.db.models import Q, Sum

from planning.facts.needles import needle_changed, needle_due, note_stitches
from planning.models import NeedleNote, RunEvent
from planning.run.standing import TICKS, Run, act_key


def stitches_a_piece(run: Run) -> float:
    """Return how many stitches one piece of the run takes, on average over those planned."""
    return run.promise.stitches / run.promise.to_stitch


def stitches_since_needle(run: Run) -> int:
    """Return the stitches of this run that the needle now in has made, and that it is not charged with yet.

    What was ticked before the needle was changed, in the run or on the machine's own page, went to the one before.
    """
    if run.machine.pk is None:
        return 0
    changed = max((event.pk for event in run.events if event.kind == RunEvent.Kind.NEEDLE), default=0)
    notes = NeedleNote.objects.filter(machine=run.machine)
    last = notes.filter(stitches__isnull=True).order_by("id").last()
    elsewhere = last is not None and not last.key.startswith(f"run-{run.job.pk}-")
    ticked = [
        event
        for event in run.events
        if event.kind in TICKS
        and event.pk > changed
        and not (elsewhere and last is not None and event.at <= last.at)
    ]
    noted = notes.filter(Q(key__startswith=f"finish-{run.job.pk}-") | Q(key=f"run-{run.job.pk}-stitches"))
    noted = noted.filter(id__gt=last.pk) if last else noted
    charged = noted.aggregate(total=Sum("stitches"))["total"] or 0
    return max(0, round(stitches_a_piece(run) * len(ticked)) - charged)


def charge_and_change(run: Run, event: RunEvent) -> None:
    """Charge the needle that came off with what it stitched in this run, and begin to count anew."""
    stitched = stitches_since_needle(run)
    own: dict[str, Any] = {"at": event.at, "by": event.by}
    if stitched:
        note_stitches(run.machine, stitches=stitched, key=f"{act_key(event)}-stitches", **own)
    needle_changed(run.machine, key=act_key(event), **own)


def needle_due_before(run: Run) -> int | None:
    """Return the position before which the needle is due, None where it lasts for all that is left.

    A needle is changed before the piece in which its life would end, not in the middle of it.
    """
    if run.machine.pk is None or not run.left:
        return None
    left = needle_due(run.machine).life - needle_due(run.machine).stitches - stitches_since_needle(run)
    a_piece = stitches_a_piece(run)
    lasts = int(max(left, 0) // a_piece) if a_piece else len(run.left)
    return run.left[lasts] if lasts < len(run.left) else None
