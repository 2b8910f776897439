"""Keeping the ledger as the events of a run have it: what an event takes, and what it changes of earlier ones."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import QuerySet, Sum

from inventory.ledger import SHOWN, Finding, Line, entries_of, lock, post, reverse, use_for
from inventory.models import Entry, Reservation, StockItem
from planning.compute.run.derivation import ItemHeld, ItemMoved, ItemTaken, replay, taken_by_item
from planning.models import RunEvent
from planning.run.lines import bobbin_lines, merged, reckoned, reference, thread_line
from planning.run.standing import (
    AS_FOUND,
    BOBBINS_BACK,
    BOBBINS_MORE,
    KEPT_AS_FOUND,
    PUT_BACK,
    TAKEN_MORE,
    USED,
    Run,
    act_key,
    entries_of_run,
    used_so_far,
)
from planning.run.told import LACKS, NOT_PUT_RIGHT, NOTHING_TAKEN, Told

Reason = Entry.Reason
Kind = StockItem.Kind


@dataclass(frozen=True)
class _Found:
    """What the run itself found of an item, in the act of one event, and how it was known before."""

    step: int
    entry: Entry


def book(before: Run, after: Run, event: RunEvent, *, at: datetime, by: Any) -> list[str]:
    """Move the stock that ``event`` took, and what it changed of earlier ones; return what could not be moved.

    ``before`` is the run without the event, ``after`` with it. What an earlier event took under another reading of
    the run is put back, and taken where it is taken now, each with entries of its own.
    """
    own = [each for each in after.taken if each.step == event.pk and each.item is not None]
    gone = StockItem.objects.filter(pk__in={each.item for each in own}, retired_at__isnull=False)
    # A piece was stitched all the same: it counts, and says what could not be taken.
    left_the_shelf = dict(gone.values_list("pk", "label"))
    problems: list[str] = [Told(NOTHING_TAKEN, label=label) for label in left_the_shelf.values()]
    own = [each for each in own if each.item not in left_the_shelf]
    threads = {thread.order: thread for thread in after.threads}
    so_far = reckoned(after, (each.item for each in own if each.item is not None))
    lines = [
        thread_line(each.item, each.quantity_mm, thread=threads[each.order], so_far=so_far)
        for each in own
        if each.item is not None and each.quantity_mm
    ]
    told = event.kind == RunEvent.Kind.BOBBIN
    lines += bobbin_lines(after, after.bobbins.full - before.bobbins.full, told=told)
    lines += _parts_used_up(set(after.bobbins.parts) - set(before.bobbins.parts))
    if lines:
        _take(after, lines, key=act_key(event), at=at, by=by)
    return problems + _correct(after, _touched(before, after), event, at=at, by=by)


def unbook(before: Run, after: Run, event: RunEvent, back: RunEvent, *, at: datetime, by: Any) -> list[str]:
    """Put back what ``event`` took, now that ``back`` takes it back, and what that changes of the others.

    Return what could not be moved, in words. ``before`` is the run with the event, ``after`` without it.
    """
    bobbins_booked = _bobbins_booked(after)
    entries = [each for each in entries_of(act_key(event)) if each.line < SHOWN]
    restored = _is_last(event, entries)
    if entries and restored:
        reverse(entries[0], key=act_key(back), at=at, by=by, reference=reference(after.job))
    # Also where the act could be taken back as it stood: what it took or found may have hidden, without an entry, what
    # others took before or after it.
    touched = _touched(before, after)
    touched |= {each.item for each in before.taken if each.step == event.pk and each.item is not None}
    touched |= {each.item_id for each in entries if each.reason in (Reason.COUNT, Reason.WEIGH)}
    problems = _correct(after, touched, back, at=at, by=by, unfound=() if restored else entries)
    _correct_bobbins(before, after, back, booked=bobbins_booked, at=at, by=by)
    return problems


def _touched(before: Run, after: Run) -> set[int]:
    """Return the items of which events that are in both runs took another quantity."""
    steps = {step.number for step in before.steps} & {step.number for step in after.steps}
    was = taken_by_item(each for each in before.taken if each.step in steps)
    now = taken_by_item(each for each in after.taken if each.step in steps)
    return {item for item in was.keys() | now.keys() if was.get(item, 0) != now.get(item, 0)}


def _is_last(event: RunEvent, entries: Iterable[Entry]) -> bool:
    """Return whether nothing has moved the things of ``event`` since, and it has not been taken back."""
    last = {each.item_id: each.pk for each in entries}
    return not any(
        Entry.objects.filter(item_id=item, id__gt=pk).exclude(key=act_key(event)).exists()
        for item, pk in last.items()
    )


def _correct(
    run: Run,
    items: Iterable[int],
    cause: RunEvent,
    *,
    at: datetime,
    by: Any,
    unfound: Iterable[Entry] = (),
) -> list[str]:
    """Bring each of ``items`` to what the events make of it, under the keys of ``cause``.

    ``unfound`` are entries of a finding that stands no more: what was known before them is known again.
    """
    problems: list[str] = []
    takes, backs, kept = [], [], []
    items = sorted(items)
    used, so_far = used_so_far(run.job), reckoned(run, items)
    least_known = max(run.threads, key=lambda thread: thread.relative_sigma, default=None)
    known_before = {
        each.item_id: Finding(each.sigma_before, each.known_before)
        for each in unfound
        if each.reason in (Reason.COUNT, Reason.WEIGH)
    }
    for pk in items:
        item = lock(pk)
        if item.retired_at is not None:
            problems.append(Told(NOT_PUT_RIGHT, label=item.label))
            continue
        held, wanted = _as_it_must_be(run, item)
        more = wanted - used.get(pk, 0)
        finding = known_before.get(pk)
        if more > 0 and least_known is not None:
            takes.append(thread_line(pk, more, thread=least_known, so_far=so_far))
        elif more < 0 or finding is not None:
            backs.append(Line(item, -more, finding=finding))
        if (other := held - item.on_hand + more) != 0:
            kept.append(Line(item, other))
    act = act_key(cause)
    by_whom: dict[str, Any] = {"at": at, "by": by, "reference": reference(run.job)}
    _post([line for line in kept if line.quantity > 0], Reason.COUNT, key=f"{act}{AS_FOUND}+", **by_whom)
    _post(backs, Reason.USE, key=act + PUT_BACK, **by_whom)
    if takes:
        _take(run, takes, key=act + TAKEN_MORE, at=at, by=by)
        problems += _not_taken(takes, act + TAKEN_MORE)
    _post([line for line in kept if line.quantity < 0], Reason.COUNT, key=f"{act}{AS_FOUND}-", **by_whom)
    return problems


def _post(lines: list[Line], reason: str, *, key: str, at: datetime, by: Any, reference: str) -> None:
    if lines:
        post(lines, reason=reason, key=key, at=at, by=by, reference=reference)


def _as_it_must_be(run: Run, item: StockItem) -> tuple[int, int]:
    """Return what ``item`` must hold, and what the run must have taken of it, by everything that happened to it."""
    own = _own_entries(run)
    starts = _starts(run, own)
    finds = _finds(run, item)
    # The first of all events, also of those taken back: what they took is no part of what was there before.
    first = own.order_by("id").values_list("id", flat=True).first() or 0
    of_item = Entry.objects.filter(item=item)
    start = (
        of_item.filter(id__lt=first).aggregate(held=Sum("quantity"))["held"] or 0 if first else item.on_hand
    )
    happened: list[tuple[int, int, ItemTaken | ItemHeld | ItemMoved]] = []
    for each in run.taken:
        if each.item == item.pk and each.quantity_mm:
            happened.append((starts[each.step], each.step, ItemTaken(each.quantity_mm)))
    for found in finds:
        quantity = of_item.filter(id__lte=found.entry.pk).aggregate(held=Sum("quantity"))["held"]
        happened.append((starts[found.step], found.step, ItemHeld(quantity, by_run=True)))
    happened += [(entry.pk, 0, step) for entry, step in _from_outside(run, item, since=first)]
    steps = [step for *_, step in sorted(happened, key=lambda each: each[:2])]
    return replay(start, steps, endless=not item.is_known)


def _own_entries(run: Run) -> QuerySet[Entry]:
    return entries_of_run(run.job, endings=("",))


def _starts(run: Run, own: QuerySet[Entry]) -> dict[int, int]:
    """Return for each event the entry from which on it counts; one that moved nothing counts from the one before."""
    last: dict[str, int] = {}
    for key, pk in own.order_by("id").values_list("key", "id"):
        last.setdefault(key, pk)
    starts, so_far = {}, min(last.values(), default=0)
    for event in run.events:
        so_far = max(so_far, last.get(act_key(event), 0))
        starts[event.pk] = so_far
    return starts


def _finds(run: Run, item: StockItem) -> list[_Found]:
    keys = {act_key(event): event.pk for event in run.events if event.kind == RunEvent.Kind.SPOOL}
    found = Entry.objects.filter(
        item=item, key__in=keys, reason__in=[Reason.COUNT, Reason.WEIGH], line__lt=SHOWN
    )
    return [_Found(keys[entry.key], entry) for entry in found]


def _from_outside(run: Run, item: StockItem, *, since: int) -> list[tuple[Entry, ItemHeld | ItemMoved]]:
    """Return what happened to ``item`` beside the run, entry by entry: found, or moved."""
    ours = set(
        entries_of_run(run.job, endings=(*USED, *KEPT_AS_FOUND))
        .filter(item=item)
        .values_list("id", flat=True)
    )
    entries = list(Entry.objects.filter(item=item).order_by("id").select_related("reversed_by"))
    known_after = [each.known_before for each in entries[1:]] + [item.known]
    held, steps = 0, []
    for entry, known in zip(entries, known_after, strict=True):
        held += entry.quantity
        if entry.pk < since or entry.pk in ours:
            continue
        is_finding = (
            entry.reason in (Reason.COUNT, Reason.WEIGH)
            and entry.line < SHOWN
            and known != StockItem.Known.UNKNOWN
            and AS_FOUND not in entry.key
            and getattr(entry, "reversed_by", None) is None
        )
        steps.append((entry, ItemHeld(held, by_run=False) if is_finding else ItemMoved(entry.quantity)))
    return steps


def _take(run: Run, lines: list[Line], *, key: str, at: datetime, by: Any) -> None:
    use_for(run.job.holder, merged(lines), key=key, at=at, by=by, reference=reference(run.job))


def _not_taken(lines: Iterable[Line], key: str) -> list[str]:
    taken = {each.item_id: -each.quantity for each in entries_of(key) if each.line < SHOWN}
    labels = dict(StockItem.objects.filter(pk__in=taken).values_list("pk", "label"))
    return [
        Told(
            LACKS,
            label=labels[line.item.pk],
            metres=f"{(-line.quantity - taken[line.item.pk]) / 1000:,.1f}",
        )
        for line in lines
        if taken.get(line.item.pk, 0) < -line.quantity
    ]


def _parts_used_up(labels: Iterable[str]) -> list[Line]:
    # A part bobbin is used up: it was put in to be.
    parts = StockItem.objects.on_the_shelf().filter(label__in=set(labels), kind=Kind.PART_BOBBIN)
    return [Line(part, -part.on_hand) for part in parts]


def _bobbins_booked(run: Run) -> Counter[int]:
    """Return the bobbins, full and part ones, that the ledger says the run took, by their item."""
    used = used_so_far(run.job)
    kinds = StockItem.objects.filter(pk__in=used, kind__in=[Kind.BOBBINS, Kind.PART_BOBBIN])
    return Counter({pk: used[pk] for pk in kinds.values_list("pk", flat=True)})


def _correct_bobbins(
    before: Run, after: Run, cause: RunEvent, *, booked: Mapping[int, int], at: datetime, by: Any
) -> None:
    """Put back the bobbins that the rest of the run does not take, and take those that it does now."""
    now = _bobbins_booked(after)
    full = set(StockItem.objects.filter(pk__in=booked, kind=Kind.BOBBINS).values_list("pk", flat=True))
    was, changed = sum(booked[pk] for pk in full), after.bobbins.full - before.bobbins.full
    wanted = min(was, after.bobbins.full) if changed < 0 else was + changed
    more = wanted - sum(now[pk] for pk in full)
    backs: list[Line] = []
    for pk in sorted(full):
        back = min(max(-more, 0), now[pk])
        if back > 0:
            backs.append(Line(lock(pk), back))
            more += back
    in_use = StockItem.objects.filter(label__in=after.bobbins.parts)
    parts_in_use = set(in_use.values_list("pk", flat=True))
    backs += [
        Line(lock(pk), now[pk]) for pk in sorted(set(now) - full) if now[pk] > 0 and pk not in parts_in_use
    ]
    takes = bobbin_lines(after, more)
    takes += _parts_used_up(set(after.bobbins.parts) - set(before.bobbins.parts))
    act = act_key(cause)
    if backs:
        kept = [line for line in backs if line.item.retired_at is None]
        _post(kept, Reason.USE, key=f"{act}{BOBBINS_BACK}", at=at, by=by, reference=reference(after.job))
    if takes:
        _take(after, takes, key=f"{act}{BOBBINS_MORE}", at=at, by=by)


def held_for(run: Run) -> QuerySet[Reservation]:
    """Return what is set aside for the run of thread and bobbins."""
    kinds = (Kind.SPOOL, Kind.BOBBINS, Kind.PART_BOBBIN)
    return Reservation.objects.filter(holder=run.job.holder, item__kind__in=kinds)
