"""What happens at the machine: pieces ticked, threads that break, spools swapped, and all of it taken back."""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any
from uuid import uuid4

from scipy.special import ndtri

from inventory.acting import PlanHasChanged, planned_act
from inventory.compute.errors import WorkshopError
from inventory.ledger import Finding, Line, NotEnough, entries_of, find, release, reverse, use_for
from inventory.models import Reservation, Spool, StockItem
from planning.compute.run.state import RunThreadPlan, spool_on
from planning.jobs.jobs import NotInThisState
from planning.models import Job, Promise, PromisedThread, Rules, RunEvent
from planning.run.promise import bobbin_batches, lock_in, machine_of, set_aside_all
from planning.run.standing import Run, act_key, run_of, used_so_far

Kind = RunEvent.Kind
State = Job.State


class AlreadyTicked(WorkshopError):
    """The piece is done already."""


@dataclass(frozen=True)
class Happening:
    """One thing that happened, as a page, a phone or a command tells it.

    ``thread`` is a number of the threading order. ``instead_of`` is the label of the spool that the person saw on,
    where they were shown one.
    """

    kind: str
    key: str
    position: int | None = None
    thread: int | None = None
    label: str = ""
    share: float = 1.0
    ran_out: bool = False
    instead_of: str = ""


@planned_act
def begin(job: Job, *, at: datetime) -> Run:
    """Return the run of a promised ``job``, begun: from now on pieces are ticked."""
    lock_in(job, State.PROMISED)
    job.state = State.RUNNING
    job.save(update_fields=["state"])
    Promise.objects.filter(job=job).update(begun_at=at)
    return run_of(job)


@planned_act
def stop_before_the_first(job: Job) -> Job:
    """Return ``job``, promised again: the undo of beginning it, as long as nothing has happened."""
    lock_in(job, State.RUNNING)
    if job.events.standing().exists():
        raise NotInThisState(f"{job} has ticks already. Take them back first, or drop the job.")
    job.state = State.PROMISED
    job.save(update_fields=["state"])
    Promise.objects.filter(job=job).update(begun_at=None)
    return job


@planned_act
def note(job: Job, happening: Happening, *, at: datetime, by: Any) -> RunEvent:
    """Return the event of ``happening``, with the stock it moved. The same key sent again answers with the first.

    Estimated use is taken as far as a spool goes. Raises AlreadyTicked, NotInThisState and WorkshopError for what
    makes no sense.
    """
    if not happening.key:
        raise WorkshopError("What happened needs a key, so that sending it twice counts once.")
    lock_in(job, State.RUNNING, State.FINISHED, State.DROPPED)
    earlier = RunEvent.objects.filter(key=_event_key(job, happening.key)).first()
    if earlier is not None:
        return earlier
    lock_in(job, State.RUNNING)
    run = run_of(job)
    position = happening.position or (run.left[0] if run.left else max(run.done, default=1))
    acts = {
        Kind.PIECE: _tick,
        Kind.SPOILED: _tick,
        Kind.BREAK: _break,
        Kind.RESTITCH: _stitch_again,
        Kind.SPOOL: _swap,
        Kind.BOBBIN: _bobbin,
    }
    if happening.kind not in acts:
        raise WorkshopError(f'Nothing called "{happening.kind}" happens at a machine.')
    if not 1 <= position <= run.promise.to_stitch + run.spoiled + 1:
        raise WorkshopError(f"There is no piece at position {position} of this job.")
    event = RunEvent(
        job=job, kind=happening.kind, position=position, key=_event_key(job, happening.key), at=at, by=by
    )
    return acts[Kind(happening.kind)](run, event, happening)


@planned_act
def take_back(event: RunEvent, *, key: str, at: datetime, by: Any) -> RunEvent:
    """Return the event that takes ``event`` back, with the stock it had moved. Sent again it answers the same."""
    job = event.job
    lock_in(job, State.RUNNING)
    earlier = RunEvent.objects.filter(takes_back=event).first()
    if earlier is not None:
        return earlier
    if event.kind == Kind.TAKEN_BACK:
        raise WorkshopError("This takes another thing back; do that thing again instead.")
    moved = entries_of(act_key(event))
    back = RunEvent.objects.create(
        job=job,
        kind=Kind.TAKEN_BACK,
        position=event.position,
        takes_back=event,
        key=_event_key(job, key or uuid4().hex),
        at=at,
        by=by,
    )
    if moved:
        reverse(moved[0], key=act_key(back), at=at, by=by, reference=_reference(job))
    _set_aside_what_is_left(run_of(job), at=at, by=by)
    return back


def _tick(run: Run, event: RunEvent, happening: Happening) -> RunEvent:
    if event.position in run.done:
        raise AlreadyTicked(f"{run.called(event.position).capitalize()} is ticked already.")
    lines, unknown = [], []
    used = used_so_far(run.job)
    for record, thread in zip(run.records, run.threads, strict=True):
        quantity = round(thread.length_at(event.position))
        item = spool_on(thread, event.position, run.swaps)
        if quantity and item is None:
            unknown.append(str(record))
        elif quantity and item is not None:
            lines.append(_line(item, quantity, used.get(item, 0), thread.relative_sigma))
    full, parts = run.bobbins_after(len(run.done))
    then_full, then_parts = run.bobbins_after(len(run.done) + 1)
    lines += _bobbin_lines(run, then_full - full)
    # A part bobbin is used up: it was put in to be.
    lines += [
        Line(part, -part.on_hand)
        for part in StockItem.objects.on_the_shelf().filter(label__in=set(then_parts) - set(parts))
    ]
    event.note = f"no spool is known for {', '.join(unknown)}"[:200] if unknown else ""
    event.save()
    _use(run.job, event, lines)
    if event.kind == Kind.SPOILED and event.position > run.promise.tests:
        _set_aside_what_is_left(run_of(run.job), at=event.at, by=event.by)
    return event


def _break(run: Run, event: RunEvent, happening: Happening) -> RunEvent:
    """A thread that breaks costs the threaded path and a tail, and the time to thread it."""
    record, thread = _thread(run, happening)
    machine = machine_of(run.job)
    event.thread, event.item_id = record, spool_on(thread, event.position, run.swaps)
    event.minutes = machine.rethread_s / 60
    event.save()
    lost_mm = round(machine.threaded_path_mm + machine.needle_tail_start_mm)
    _use(run.job, event, _lines_of_one(event, lost_mm))
    return event


def _stitch_again(run: Run, event: RunEvent, happening: Happening) -> RunEvent:
    record, thread = _thread(run, happening)
    if not 0 < happening.share <= 1:
        raise WorkshopError("Say which part was stitched again: more than none of it, and at most all.")
    event.thread, event.item_id = record, spool_on(thread, event.position, run.swaps)
    event.share = happening.share
    geometry_mm = thread.geometry_at(event.position) * happening.share
    all_mm = sum(each.geometry_at(event.position) for each in run.threads)
    a_piece_min = run.promise.machine_min / run.promise.to_stitch
    event.minutes = a_piece_min * geometry_mm / all_mm if all_mm else 0.0
    event.save()
    _use(run.job, event, _lines_of_one(event, round(geometry_mm * thread.median)))
    return event


def _swap(run: Run, event: RunEvent, happening: Happening) -> RunEvent:
    record, thread = _thread(run, happening)
    spool = Spool.objects.on_the_shelf().filter(label__iexact=happening.label.strip()).first()
    if spool is None:
        raise WorkshopError(f'No spool on the shelf has the label "{happening.label.strip()}".')
    before = spool_on(thread, event.position, run.swaps)
    if before == spool.pk:
        raise WorkshopError(f"{spool} is on already.")
    _refuse_another_on(before, happening.instead_of)
    event.thread, event.item = record, spool
    if record.shade_id and spool.shade_id != record.shade_id:
        event.note = f"another shade: {spool.shade}"[:200]
    event.save()
    if happening.ran_out and before is not None:
        empty = Finding(sigma=0.0, known=StockItem.Known.COUNTED)
        find(
            StockItem.objects.get(pk=before),
            quantity=0,
            finding=empty,
            key=act_key(event),
            at=event.at,
            by=event.by,
            reference=_reference(run.job),
        )
    _set_aside_what_is_left(run_of(run.job), at=event.at, by=event.by)
    return event


def _refuse_another_on(before: int | None, instead_of: str) -> None:
    on = StockItem.objects.get(pk=before).label if before is not None else ""
    if instead_of and instead_of.strip().casefold() != on.casefold():
        raise PlanHasChanged(
            f"Since this was shown, the workshop has changed: {on or 'no spool'} is on now instead of {instead_of}. "
            "Nothing was done. Look at the run sheet as it is now, then say which spool goes on."
        )


def _bobbin(run: Run, event: RunEvent, happening: Happening) -> RunEvent:
    lines = _bobbin_lines(run, 1)
    if not lines:
        raise NotEnough("No full bobbin of this machine's style is on the shelf.")
    event.minutes = machine_of(run.job).bobbin_change_s / 60
    event.save()
    _use(run.job, event, lines)
    return event


def _thread(run: Run, happening: Happening) -> tuple[PromisedThread, RunThreadPlan]:
    for record, thread in zip(run.records, run.threads, strict=True):
        if thread.order == happening.thread:
            return record, thread
    raise WorkshopError("Say which thread it was: its number in the threading order.")


def _line(item: int, quantity: int, used: int, relative_sigma: float) -> Line:
    # The factor is the same for every piece, so that errors add up straight and not by squares.
    added = relative_sigma * math.sqrt((used + quantity) ** 2 - used**2)
    return Line(StockItem(pk=item), -quantity, added_sigma=added)


def _lines_of_one(event: RunEvent, quantity: int) -> list[Line]:
    return [Line(StockItem(pk=event.item_id), -quantity)] if event.item_id and quantity else []


def _bobbin_lines(run: Run, count: int) -> list[Line]:
    """Return the lines that take ``count`` bobbins: those set aside first, then what is free."""
    lines: list[Line] = []
    if count <= 0:
        return lines
    own = dict(Reservation.objects.filter(holder=run.job.holder).values_list("item_id", "quantity"))
    for batch in sorted(bobbin_batches(run.job), key=lambda each: each.pk not in own):
        take = min(count, batch.free + own.get(batch.pk, 0))
        if take > 0:
            lines.append(Line(batch, -take))
            count -= take
    return lines


def _use(job: Job, event: RunEvent, lines: Sequence[Line]) -> None:
    if lines:
        use_for(
            job.holder,
            _merged(lines),
            key=act_key(event),
            at=event.at,
            by=event.by,
            reference=_reference(job),
        )


def _merged(lines: Sequence[Line]) -> list[Line]:
    """Return one line for each item: one spool may serve two threads."""
    merged: dict[int, Line] = {}
    for line in lines:
        so_far = merged.get(line.item.pk)
        merged[line.item.pk] = (
            line
            if so_far is None
            else replace(
                so_far,
                quantity=so_far.quantity + line.quantity,
                added_sigma=math.hypot(so_far.added_sigma, line.added_sigma),
            )
        )
    return list(merged.values())


def _set_aside_what_is_left(run: Run, *, at: datetime, by: Any) -> None:
    """Set aside anew the spools and bobbins of what is still to be stitched, as far as they are free."""
    job = run.job
    kinds = (StockItem.Kind.SPOOL, StockItem.Kind.BOBBINS, StockItem.Kind.PART_BOBBIN)
    release(list(Reservation.objects.filter(holder=job.holder, item__kind__in=kinds)))
    z = float(ndtri(Rules.current().enough_at))
    wanted: Counter[int] = Counter()
    for thread in run.threads:
        by_item: dict[int, list[int]] = {}
        for position in run.left_with_spares:
            item = spool_on(thread, position, run.swaps)
            if item is not None:
                by_item.setdefault(item, []).append(position)
        for item, positions in by_item.items():
            wanted[item] += thread.sure_mm(positions, z=z)
    full, parts = run.bobbins_after(len(run.done))
    later = set(run.bobbins_after(run.promise.to_stitch)[1]) - set(parts)
    for part in StockItem.objects.on_the_shelf().filter(label__in=later):
        wanted[part.pk] = part.on_hand
    set_aside_all(job, wanted, bobbins=run.promise.bobbins_sure - full, at=at, by=by)


def _event_key(job: Job, key: str) -> str:
    return f"{job.pk}-{key}"[:60]


def _reference(job: Job) -> str:
    return f"{job.holder}: {job.what}"[:120]
