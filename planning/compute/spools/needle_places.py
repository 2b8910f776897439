"""Which thread is on which needle, and where in the batch a needle has to be threaded anew."""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _


@dataclass(frozen=True)
class Rethread:
    """Before this block (index from 0) of this hooping (from 1) the needle (from 1) gets another thread."""

    hooping: int
    block: int
    needle: int
    off: Any
    on: Any


@dataclass(frozen=True)
class NeedlePlan:
    """What is on the needles when the batch begins, and every rethread after that.

    ``start`` has the needles that are used, each with its first thread; ``already`` are those of them that had it.
    """

    needles: int
    start: Mapping[int, Any]
    already: frozenset[int]
    rethreads: tuple[Rethread, ...]

    @property
    def threadings(self) -> int:
        """How often a needle is threaded by hand, before the start and after it."""
        return len(self.start) - len(self.already) + len(self.rethreads)


def needle_places(
    hoopings: Sequence[Sequence[Hashable]], *, needles: int, loaded: Mapping[int, Hashable] | None = None
) -> NeedlePlan:
    """Return the assignment of threads to needles with the fewest threadings over all hoopings.

    ``hoopings`` have the thread of every block, in order; ``loaded`` are threads left on needles by the job before.
    The needle threaded anew is the one whose thread is wanted again last (Belady, IBM Systems Journal 5, 1966: no
    other choice needs fewer). What a needle gets first is threaded before the start.

    >>> plan = needle_places([["navy", "white", "red"]] * 2, needles=2)
    >>> dict(plan.start), plan.threadings
    ({1: 'navy', 2: 'white'}, 4)
    >>> [(each.hooping, each.block, each.needle, each.on) for each in plan.rethreads]
    [(1, 2, 2, 'red'), (2, 1, 1, 'white')]
    """
    if needles < 1:
        raise WorkshopError(
            _("A machine with {needles} needles cannot stitch; give 1 or more.").format(needles=needles)
        )
    on: dict[int, Hashable] = dict(loaded or {})
    if not all(1 <= needle <= needles for needle in on):
        raise WorkshopError(
            _("Threads are told for needles {on}, but the machine has {needles}.").format(
                on=sorted(on), needles=needles
            )
        )
    blocks = [
        (hooping, block, thread)
        for hooping, threads in enumerate(hoopings, 1)
        for block, thread in enumerate(threads)
    ]
    # Equal neighbours are one threading; only the first of them can ask for a needle.
    firsts = [next(group) for _, group in groupby(blocks, key=lambda each: each[2])]
    wanted_again = _wanted_again([thread for _, _, thread in firsts])
    never = len(firsts)
    next_use: dict[Hashable, int] = {}
    for at in reversed(range(never)):
        next_use[firsts[at][2]] = at
    # A thread that is on several needles is wanted on one of them: the others are as free as empty ones.
    where: dict[Hashable, int] = {}
    for needle in sorted(on):
        where.setdefault(on[needle], needle)
    start: dict[int, Hashable] = {}
    already: set[int] = set()
    rethreads: list[Rethread] = []
    for at, (hooping, block, thread) in enumerate(firsts):
        placed = where.get(thread)
        needle = placed or 0
        if placed is None:
            needle = _needle_to_thread(on, where, next_use, needles=needles, never=never)
            if needle in start:
                rethreads.append(Rethread(hooping, block, needle, on[needle], thread))
            else:
                start[needle] = thread
            if needle in on and where.get(on[needle]) == needle:
                del where[on[needle]]
            on[needle], where[thread] = thread, needle
        elif needle not in start:
            start[needle] = thread
            already.add(needle)
        next_use[thread] = wanted_again[at]
    return NeedlePlan(needles, dict(sorted(start.items())), frozenset(already), tuple(rethreads))


def _wanted_again(threads: Sequence[Hashable]) -> list[int]:
    """Return where each thread is wanted next after its place, the length for never."""
    again = [0] * len(threads)
    seen: dict[Hashable, int] = {}
    for at in reversed(range(len(threads))):
        again[at] = seen.get(threads[at], len(threads))
        seen[threads[at]] = at
    return again


def _needle_to_thread(
    on: Mapping[int, Hashable],
    where: Mapping[Hashable, int],
    next_use: Mapping[Hashable, int],
    *,
    needles: int,
    never: int,
) -> int:
    """Return the first needle without a thread or with a second of one, else the one whose thread is wanted last."""
    if len(on) < needles:
        return next(needle for needle in range(1, needles + 1) if needle not in on)
    if len(where) < len(on):
        return next(needle for needle in range(1, needles + 1) if where[on[needle]] != needle)
    last, found = -1, 0
    for needle in range(1, needles + 1):
        use = next_use.get(on[needle], never)
        if use > last:
            last, found = use, needle
    return found
