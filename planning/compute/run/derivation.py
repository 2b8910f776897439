"""What every event of a run took, derived from the events alone: take one away, and derive again."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from planning.compute.run.state import RunThreadPlan, Swap, at_position, spool_on

PIECE, SPOILED, BREAK, RESTITCH, SPOOL, BOBBIN = "piece", "spoiled", "break", "restitch", "spool", "bobbin"
TICKED = frozenset({PIECE, SPOILED})


@dataclass(frozen=True)
class RunStep:
    """One event that stands: ``number`` tells the order in which events were noted."""

    number: int
    kind: str
    position: int
    thread: int | None = None
    item: int | None = None
    share: float = 1.0


@dataclass(frozen=True)
class BobbinChangePlan:
    """A bobbin that was planned to go in at a position; ``label`` names a part bobbin, empty means a full one.

    ``inside`` where it runs out within a block, at a place that nobody can foresee.
    """

    position: int
    block: str = ""
    label: str = ""
    inside: bool = False


@dataclass(frozen=True)
class BobbinPlan:
    """The bobbins of a run as planned; ``geometry_mm`` by position. Without ``geometry_mm`` nothing is known."""

    first: str = ""
    changes: tuple[BobbinChangePlan, ...] = ()
    geometry_mm: tuple[float, ...] = ()


@dataclass(frozen=True)
class RunPlan:
    """What was promised of a run: its threads, its bobbins, and the thread that a break costs, in mm."""

    threads: tuple[RunThreadPlan, ...]
    bobbins: BobbinPlan
    break_mm: int = 0


@dataclass(frozen=True)
class ThreadTaken:
    """Thread of one order that one event took; ``item`` is None where no spool was known."""

    step: int
    order: int
    item: int | None
    quantity_mm: int
    # Of it, what is laid in stitches, before the factor; the rest is lost at changes and breaks.
    geometry_mm: float = 0.0
    beyond_mm: float = 0.0


@dataclass(frozen=True)
class BobbinsTaken:
    """Bobbins put in, in all, and what is still foreseen."""

    full: int = 0
    parts: tuple[str, ...] = ()
    # Changes still to come, at the position where they are due now.
    coming: tuple[BobbinChangePlan, ...] = ()
    # How many full ones went in at the event of this number.
    full_by_step: Mapping[int, int] | None = None


def swaps_of(steps: Iterable[RunStep]) -> tuple[Swap, ...]:
    """Return the swaps of ``steps`` in the order of the pieces they begin at.

    >>> swaps_of([RunStep(1, SPOOL, 5, 1, 77), RunStep(2, SPOOL, 3, 1, 88)])
    (Swap(thread=1, position=3, item=88), Swap(thread=1, position=5, item=77))
    """
    swaps = [step for step in steps if step.kind == SPOOL]
    return tuple(
        Swap(step.thread, step.position, step.item)
        for step in sorted(swaps, key=lambda step: (step.position, step.number))
        if step.thread is not None and step.item is not None
    )


def threads_taken(plan: RunPlan, steps: Sequence[RunStep]) -> list[ThreadTaken]:
    """Return what each of the ``steps`` took of every thread, in the order in which they were noted.

    A swap holds from its piece on, whenever it was noted: pieces ticked before count on the spool that was on. What
    broke or was stitched again before the swap at the same piece was still on the spool before.
    """
    by_order = {thread.order: thread for thread in plan.threads}
    swaps = swaps_of(steps)
    taken: list[ThreadTaken] = []
    for step in sorted(steps, key=lambda step: step.number):
        if step.kind in TICKED:
            for thread in plan.threads:
                item = spool_on(thread, step.position, swaps)
                geometry_mm, path_mm = thread.geometry_at(step.position), thread.path_at(step.position)
                quantity = round(thread.length_at(step.position))
                taken.append(ThreadTaken(step.number, thread.order, item, quantity, geometry_mm, path_mm))
        elif step.kind in (BREAK, RESTITCH) and step.thread in by_order:
            thread = by_order[step.thread]
            item = on_at_step(thread, step, steps)
            if step.kind == BREAK:
                lost_mm = plan.break_mm
                taken.append(ThreadTaken(step.number, thread.order, item, lost_mm, 0.0, lost_mm))
            else:
                geometry_mm = thread.geometry_at(step.position) * step.share
                quantity = round(geometry_mm * thread.median)
                taken.append(ThreadTaken(step.number, thread.order, item, quantity, geometry_mm))
    return taken


def on_at_step(thread: RunThreadPlan, step: RunStep, steps: Iterable[RunStep]) -> int | None:
    """Return the spool that was on for ``thread`` when ``step`` happened, within its piece."""
    earlier = [each for each in steps if each.position < step.position or each.number < step.number]
    return spool_on(thread, step.position, swaps_of(earlier))


def taken_by_item(taken: Iterable[ThreadTaken]) -> dict[int, int]:
    """Return the thread taken of each item, in mm."""
    found: dict[int, int] = defaultdict(int)
    for each in taken:
        if each.item is not None and each.quantity_mm:
            found[each.item] += each.quantity_mm
    return dict(found)


def bobbins_taken(plan: BobbinPlan, steps: Sequence[RunStep]) -> BobbinsTaken:
    """Return the bobbins that went in by these ``steps``, and the changes still to come where they are due now.

    A bobbin changed before it was due gives all later changes that much more thread: each moves on by what had been
    stitched on the one that came out. ItemMoved into a piece, a change is due before it.

    >>> even = BobbinPlan("", tuple(BobbinChangePlan(at) for at in (5, 9)), (10.0,) * 12)
    >>> ticks = [RunStep(number, PIECE, number) for number in (1, 2)]
    >>> [each.position for each in bobbins_taken(even, ticks).coming]
    [5, 9]
    >>> [each.position for each in bobbins_taken(even, [*ticks, RunStep(3, BOBBIN, 3)]).coming]
    [7, 11]
    """
    if not plan.geometry_mm:
        full = sum(step.kind == BOBBIN for step in steps)
        by_step = {step.number: 1 for step in steps if step.kind == BOBBIN}
        return BobbinsTaken(full=full, full_by_step=by_step)
    waiting = sorted(plan.changes, key=lambda each: (each.position, each.inside))
    put_in: list[tuple[int, str]] = []  # the event, and the label
    pieces, stitched_mm, began_mm, moved_mm = 0, 0.0, 0.0, 0.0
    for step in sorted(steps, key=lambda step: step.number):
        if step.kind == BOBBIN:
            put_in.append((step.number, ""))
            moved_mm += stitched_mm - began_mm
            began_mm = stitched_mm
        elif step.kind in TICKED:
            pieces += 1
            if pieces == 1:
                put_in.append((step.number, plan.first))
            while waiting and _due(plan, waiting[0], moved_mm) <= pieces:
                change = waiting.pop(0)
                put_in.append((step.number, change.label))
                began_mm = _planned_mm(plan, change) + moved_mm
            stitched_mm += at_position(plan.geometry_mm, pieces)
    by_step = defaultdict(int)
    for number, label in put_in:
        by_step[number] += not label
    return BobbinsTaken(
        full=sum(not label for _, label in put_in),
        parts=tuple(label for _, label in put_in if label),
        coming=tuple(_moved(plan, change, moved_mm) for change in waiting),
        full_by_step=dict(by_step),
    )


def _planned_mm(plan: BobbinPlan, change: BobbinChangePlan) -> float:
    """Return the bobbin thread that the plan lays before the piece of ``change``."""
    return sum(at_position(plan.geometry_mm, position) for position in range(1, change.position))


def _due(plan: BobbinPlan, change: BobbinChangePlan, moved_mm: float) -> int:
    """Return the position at which ``change`` is due once it has moved on by ``moved_mm``."""
    if moved_mm <= 0:
        return change.position
    goal_mm, position, laid_mm = _planned_mm(plan, change) + moved_mm, 1, 0.0
    last = len(plan.geometry_mm)
    # A hair of slack: sums of the same numbers in another order are not always equal.
    while (laid_mm := laid_mm + at_position(plan.geometry_mm, position)) <= goal_mm + 1e-6:
        position += 1
        if position > last and plan.geometry_mm[-1] <= 0:
            break
    return position


def _moved(plan: BobbinPlan, change: BobbinChangePlan, moved_mm: float) -> BobbinChangePlan:
    due = _due(plan, change, moved_mm)
    if due == change.position:
        return change
    return BobbinChangePlan(due, "", change.label, inside=change.inside)


@dataclass(frozen=True)
class ItemTaken:
    """A step in the life of one item: the run took so much of it."""

    quantity: int


@dataclass(frozen=True)
class ItemHeld:
    """A step in the life of one item: so much was found on it. ``by_run`` where the run itself found it."""

    quantity: int
    by_run: bool


@dataclass(frozen=True)
class ItemMoved:
    """A step in the life of one item: so much came or went otherwise."""

    quantity: int


def replay(
    start: int, steps: Iterable[ItemTaken | ItemHeld | ItemMoved], *, endless: bool = False
) -> tuple[int, int]:
    """Return what an item must hold after ``steps``, and what of it the run took, in its unit.

    What is taken is taken as far as it goes; of an ``endless`` item, whose quantity nobody knows, always. What is
    found holds, whatever had been taken before; what the run found missing counts as taken by it.

    >>> replay(100, [ItemTaken(30), ItemTaken(30), ItemHeld(0, by_run=True)])
    (0, 100)
    >>> replay(100, [ItemTaken(30), ItemHeld(0, by_run=True)])
    (0, 100)
    >>> replay(100, [ItemTaken(30), ItemHeld(90, by_run=False), ItemTaken(10)])
    (80, 40)
    >>> replay(20, [ItemTaken(30)])
    (0, 20)
    """
    held, used = start, 0
    for step in steps:
        if isinstance(step, ItemTaken):
            quantity = step.quantity if endless else min(step.quantity, held)
            used += quantity
            held = max(0, held - quantity)
        elif isinstance(step, ItemHeld):
            if step.by_run:
                used += held - step.quantity
            held = step.quantity
        else:
            held = max(0, held + step.quantity)
    return held, used
