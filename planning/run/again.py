"""A part of a piece stitched again, told as a person sees it: from which block and how far, or by stitch numbers."""

from dataclasses import replace
from datetime import datetime
from typing import Any

from inventory.acting import planned_act
from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _, figure
from planning.compute.run.again import RunBlock, shares_between, span_of
from planning.models import Job, RunEvent
from planning.run.standing import Run, run_of
from planning.run.ticks import Happening, note


@planned_act
def note_told(job: Job, happening: Happening, *, at: datetime, by: Any) -> list[RunEvent]:
    """Return the events of ``happening``: one, or one a thread where a part stitched again is told by block or stitch.

    The same key sent again answers with the first ones. Raises as ``note`` does.
    """
    told_by_part = happening.block is not None or happening.to_stitch is not None
    if happening.kind != RunEvent.Kind.RESTITCH or not told_by_part:
        return [note(job, happening, at=at, by=by)]
    events = []
    for thread, share in sorted(_shares(run_of(job), happening).items()):
        part = replace(happening, key=f"{happening.key[:36]}-t{thread}", thread=thread, share=share)
        events.append(note(job, part, at=at, by=by))
    return events


def _shares(run: Run, happening: Happening) -> dict[int, float]:
    """Return which share of each thread was stitched again."""
    blocks = blocks_of(run, happening.design)
    if not blocks:
        raise WorkshopError(_("A piece of this job has no design {number}.").format(number=happening.design))
    last = sum(each.stitches for each in blocks)
    if happening.to_stitch is not None:
        start, stop = happening.from_stitch or 0, happening.to_stitch
        if not 0 <= start < stop <= last:
            raise WorkshopError(
                _(
                    "Stitches {start} to {stop} are no part of this design, which has {last}. Say from which "
                    "stitch to which it was stitched again, as the machine counts them."
                ).format(start=figure(start), stop=figure(stop), last=figure(last))
            )
    else:
        if not 0 < happening.share <= 1:
            raise WorkshopError(
                _("Say about how far the block was stitched again: more than none, at most all.")
            )
        span = span_of(blocks, block=happening.block or 0, share=happening.share)
        if span is None:
            said = _("This design has no block {block}; it has {number}.")
            raise WorkshopError(said.format(block=happening.block, number=len(blocks)))
        start, stop = span
    shares = shares_between(blocks, start=start, stop=stop)
    if not shares:
        raise WorkshopError(_("No stitch lies between these. Say from which stitch to which."))
    return {thread: _of_the_piece(run, thread, share, happening.design) for thread, share in shares.items()}


def blocks_of(run: Run, design: int = 1) -> list[RunBlock]:
    """Return the blocks of a piece's design (from 1) as they were promised, in stitching order."""
    thread_of = {(place[0], place[1]): record.order for record in run.records for place in record.blocks}
    return [
        RunBlock(each["block"], each["stitches"], thread_of[each["design"], each["block"]])
        for each in run.promise.answer["blocks"]
        if each["design"] == design - 1 and (each["design"], each["block"]) in thread_of
    ]


def _of_the_piece(run: Run, thread: int, share: float, design: int) -> float:
    """Return the ``share`` of a thread's stitches in one design as a share of its stitches in the whole piece."""
    designs = {each["design"] for each in run.promise.answer["blocks"]}
    of_thread = {
        number: sum(each.stitches for each in blocks_of(run, number + 1) if each.thread == thread)
        for number in designs
    }
    whole = sum(of_thread.values())
    return share * of_thread[design - 1] / whole if whole else share
