"""How a run stands: which pieces are done, which spool is on, and what the next piece takes."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass


def at_position(planned: Sequence[float], position: int) -> float:
    """Return what was planned for a position (from 1); beyond the plan, the same as for its last one.

    >>> at_position([7.0, 8.0], 1), at_position([7.0, 8.0], 5)
    (7.0, 8.0)
    """
    return planned[min(position, len(planned)) - 1]


@dataclass(frozen=True)
class SpoolTurn:
    """A spool's turn as it was planned: the positions it is for, both included."""

    item: int
    from_position: int
    to_position: int


@dataclass(frozen=True)
class RunThreadPlan:
    """A thread of the run: its planned spools, and what each position takes before the factor, in mm.

    ``path_mm`` is what it loses at thread changes, which no factor scales; without it, nothing.
    """

    order: int
    geometry_mm: tuple[float, ...]
    median: float
    relative_sigma: float
    turns: tuple[SpoolTurn, ...]
    path_mm: tuple[float, ...] = ()
    kappa_slope: float | None = None  # ∂ ln geometry / ∂κ; None where it was not kept
    # What of the sigma is the same on every job; None where it was not kept, and all of it is taken to be.
    level_sigma: float | None = None

    @property
    def level(self) -> float:
        """How well the factor itself is known, as a share: what is off by that is off on every job alike."""
        return self.relative_sigma if self.level_sigma is None else self.level_sigma

    @property
    def scatter(self) -> float:
        """How far one job strays from the factor, as a share, beside what is not known of it."""
        return math.sqrt(max(self.relative_sigma**2 - self.level**2, 0.0))

    def geometry_at(self, position: int) -> float:
        """Return what the piece at ``position`` takes; one beyond the plan as much as the last that was planned."""
        return at_position(self.geometry_mm, position)

    def path_at(self, position: int) -> float:
        """Return what is lost at thread changes for the piece at ``position``."""
        return at_position(self.path_mm, position) if self.path_mm else 0.0

    def length_at(self, position: int) -> float:
        """Return the thread that the piece at ``position`` takes in all, at the median of its factor."""
        return self.geometry_at(position) * self.median + self.path_at(position)

    def sure_mm(self, positions: Sequence[int], *, z: float) -> int:
        """Return the thread that these positions take, ``z`` sigmas above the median."""
        length_mm = sum(self.length_at(position) for position in positions)
        return math.ceil(length_mm * math.exp(z * self.relative_sigma))


@dataclass(frozen=True)
class Swap:
    """From ``position`` on, another item is on for the thread of this order."""

    thread: int
    position: int
    item: int


def spool_on(thread: RunThreadPlan, position: int, swaps: Sequence[Swap]) -> int | None:
    """Return the item that is on for ``thread`` at ``position``: swapped in, planned, or the last one planned.

    A swap holds until the next spool of the plan was due anyway.

    >>> red = RunThreadPlan(1, (1.0,) * 9, 1.0, 0.1, (SpoolTurn(11, 1, 4), SpoolTurn(12, 5, 9)))
    >>> [spool_on(red, at, [Swap(1, 3, 77)]) for at in (2, 3, 4, 5)]
    [11, 77, 77, 12]
    >>> spool_on(red, 7, [Swap(1, 6, 77)]), spool_on(red, 12, [])
    (77, 12)
    """
    due = [turn for turn in thread.turns if turn.from_position <= position]
    begun = due[-1].from_position if due else 1
    own = [swap for swap in swaps if swap.thread == thread.order and begun <= swap.position <= position]
    if own:
        return own[-1].item
    earlier = [swap for swap in swaps if swap.thread == thread.order and swap.position <= position]
    if not due:
        return earlier[-1].item if earlier else None
    # The last planned spool goes on beyond its turn, unless the plan had none for these positions.
    return due[-1].item


def positions_left(done: Mapping[int, bool], *, tests: int, pieces: int) -> tuple[list[int], int]:
    """Return the positions that are still to be stitched, in order, and how many good pieces there are.

    ``done`` maps a position to whether the piece is good. Tests come first and are never delivered. Every spoiled
    piece takes a position more, beyond the spares if need be.

    >>> positions_left({1: True, 2: True, 3: False}, tests=1, pieces=4)
    ([4, 5, 6], 1)
    """
    good = sum(is_good for position, is_good in done.items() if position > tests)
    tests_left = [position for position in range(1, tests + 1) if position not in done]
    wanted = max(0, pieces - good)
    left: list[int] = []
    position = tests + 1
    while len(left) < wanted:
        if position not in done:
            left.append(position)
        position += 1
    return [*tests_left, *left], good
