"""Two spools of one thread on a machine with needles to spare: the run goes on where the first spool ends."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

from planning.compute.spools.needle_places import NeedlePlan


@dataclass(frozen=True, order=True)
class SpoolEnd:
    """A spool of a thread ends: in this hooping (from 1), before this block (from 0), or so far inside it."""

    hooping: int
    block: int
    inside: float
    thread: Hashable
    off: str = ""
    on: str = ""


@dataclass(frozen=True)
class SpoolChange:
    """How a spool gives way to the next: from ``needle`` to ``on_needle``, the same one where it is threaded anew.

    A needle of its own can be threaded from hooping ``ready_from`` on, 1 for before the start. ``is_anyway`` where
    the needle is threaded there in any case, for the thread comes back to it just then.
    """

    end: SpoolEnd
    needle: int
    on_needle: int
    ready_from: int
    is_anyway: bool = False

    @property
    def is_ready(self) -> bool:
        """Whether the next spool is on a needle of its own by then."""
        return self.on_needle != self.needle

    @property
    def stops(self) -> bool:
        """Whether the machine stands still for it: to be threaded anew, or in mid-block to go to another needle."""
        return not self.is_anyway and (not self.is_ready or self.end.inside > 0)


def spool_changes(plan: NeedlePlan, ends: Sequence[SpoolEnd]) -> tuple[SpoolChange, ...]:
    """Return how each spool that ends gives way to the next, with the fewest threadings in mid-run.

    Only needles that no colour of the batch wants serve for a second spool; where needles are threaded anew for
    colours, there are none. The needle of a spool that has ended can be threaded from the next hooping on, when the
    machine stands anyway, and then serves for another. So of the spools that end in one hooping as many find the
    next one ready as there are needles to spare, and no way of placing them does better: those needles are all there
    are, and each is threaded at most once between two hoopings. The metres stay the same.

    >>> from planning.compute.spools.needle_places import needle_places
    >>> plan = needle_places([["navy", "white"]] * 9, needles=3)
    >>> ends = [SpoolEnd(4, 0, 0.0, "navy"), SpoolEnd(7, 0, 0.0, "navy"), SpoolEnd(7, 1, 0.0, "white")]
    >>> [(each.needle, each.on_needle, each.ready_from) for each in spool_changes(plan, ends)]
    [(1, 3, 1), (3, 1, 5), (2, 2, 0)]
    """
    where: dict[Hashable, int] = {thread: needle for needle, thread in plan.start.items()}
    spare = [] if plan.rethreads else [each for each in range(1, plan.needles + 1) if each not in plan.start]
    free_from = dict.fromkeys(spare, 1)
    rethreads = list(plan.rethreads)
    found = []
    for end in sorted(ends, key=lambda each: (each.hooping, each.block, each.inside)):
        anyway = False
        while rethreads and (rethreads[0].hooping, rethreads[0].block) <= (end.hooping, end.block):
            each = rethreads.pop(0)
            where.pop(each.off, None)
            where[each.on] = each.needle
            at_once = (each.hooping, each.block) == (end.hooping, end.block) and not end.inside
            anyway = anyway or (at_once and each.on == end.thread)
        needle = where[end.thread]
        ready = [each for each, hooping in free_from.items() if hooping <= end.hooping]
        if anyway or not ready:
            found.append(SpoolChange(end, needle, needle, 0, anyway))
            continue
        other = min(ready, key=lambda each: (free_from[each], each))
        found.append(SpoolChange(end, needle, other, free_from.pop(other)))
        free_from[needle] = end.hooping + 1
        where[end.thread] = other
    return tuple(found)
