"""How many bobbins a batch takes and before which block each is changed."""

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate

from inventory.compute.errors import WorkshopError
from inventory.compute.knowing import RELATIVE_SIGMA
from inventory.compute.spoken import _
from planning.compute.certainty.enough import Factor

# Up to so many part bobbins, and full ones beside them, every way of using them is weighed.
MOST_PARTS = 6
MOST_FULL = 60
_TRIFLE = 1e-9


@dataclass(frozen=True)
class PartBobbinLeft:
    """A part-used bobbin and what it gives for sure."""

    label: str
    holds_mm: float


@dataclass(frozen=True)
class BobbinChange:
    """Put a bobbin in before this block (index from 0) of this piece (from 1): a part one by label, or a full one.

    ``at_block`` is that block as (design, number), where it is known.
    """

    piece: int
    block: int
    bobbin: str = ""
    at_block: tuple[int, int] | None = None

    @property
    def called(self) -> int:
        """The block's own number in its design, or else its place in the stitching order."""
        return self.at_block[1] if self.at_block else self.block + 1


@dataclass(frozen=True)
class Interruption:
    """A full bobbin runs out in this block, at about this share of it: no whole bobbin does the block."""

    piece: int
    block: int
    inside: float
    at_block: tuple[int, int] | None = None

    @property
    def called(self) -> int:
        """The block's own number in its design, or else its place in the stitching order."""
        return self.at_block[1] if self.at_block else self.block + 1


@dataclass(frozen=True)
class BobbinRun:
    """The bobbins a batch takes: ``count`` full ones, the part ones among the changes, and the first put in.

    ``first`` is the label of a part bobbin, or empty where the batch begins with a full one.
    """

    count: int
    changes: tuple[BobbinChange, ...]
    interruptions: tuple[Interruption, ...] = ()
    first: str = ""

    @property
    def inside_blocks(self) -> int:
        return len(self.interruptions)

    @property
    def parts(self) -> tuple[str, ...]:
        """The labels of the part bobbins that are used up, in order."""
        return tuple(label for label in (self.first, *(change.bobbin for change in self.changes)) if label)


@dataclass(frozen=True)
class _Turn:
    """One bobbin's turn, from a block to a block (indices over the whole batch), or several for a long block."""

    start: int
    stop: int
    part: int | None
    full: int


def run_of_bobbins(
    pieces_mm: Sequence[Sequence[float]],
    *,
    bobbin_mm: float,
    parts: Sequence[PartBobbinLeft] = (),
    parts_go_first: bool = False,
) -> BobbinRun:
    """Return the bobbins for pieces of which each block takes so much, in stitching order.

    A bobbin is changed before a block that it cannot finish. Only a block that no whole bobbin can finish is
    interrupted, and starts on a fresh one, so that where it stops is known. Fewest full bobbins are used, then
    fewest part ones: a part bobbin goes in only where it saves a full one, and then as early as it can. That is
    exact with up to 6 part bobbins and 60 full ones; beyond, and where ``parts_go_first``, the part bobbins go in
    as long as they fit and then full ones, which is never fewer.

    >>> run = run_of_bobbins([[40.0, 30.0], [40.0, 30.0]], bobbin_mm=100.0)
    >>> run.count, [(change.piece, change.block) for change in run.changes], run.interruptions
    (2, [(2, 0)], ())
    """
    _refuse_empty(bobbin_mm)
    needs = [need for blocks_mm in pieces_mm for need in blocks_mm]
    if not any(needs):
        return BobbinRun(0, ())
    walk = _Walk(needs, bobbin_mm, tuple(sorted(parts, key=lambda part: -part.holds_mm)[:MOST_PARTS]))
    turns = walk.with_parts_first()
    if walk.parts and not parts_go_first and sum(turn.full for turn in turns) <= MOST_FULL:
        turns = walk.with_fewest()
    return _told(turns, walk, [len(blocks_mm) for blocks_mm in pieces_mm])


class _Walk:
    """The blocks of a batch in a row, and how far a bobbin put in before one of them goes."""

    def __init__(
        self,
        needs: Sequence[float],
        bobbin_mm: float,
        parts: tuple[PartBobbinLeft, ...],
        *,
        total: Sequence[float] | None = None,
        largest: float | None = None,
    ) -> None:
        self.needs, self.bobbin_mm, self.parts = needs, bobbin_mm, parts
        self.total = total or [0.0, *accumulate(needs)]
        largest = max(needs, default=0.0) if largest is None else largest
        # Where the next block lies that no whole bobbin does, from every block on.
        self.long = [len(needs)] * (len(needs) + 1)
        if largest > bobbin_mm * (1 + _TRIFLE):
            for at in reversed(range(len(needs))):
                self.long[at] = at if needs[at] > bobbin_mm * (1 + _TRIFLE) else self.long[at + 1]

    def reach(self, start: int, holds_mm: float) -> int:
        """Return the block before which a bobbin put in before ``start`` is changed."""
        room = (self.total[start] + holds_mm) * (1 + _TRIFLE)
        return min(bisect_right(self.total, room) - 1, self.long[start])

    def full_turn(self, start: int) -> _Turn:
        """Return the turn of a full bobbin, or of as many as a long block takes and what the last has left."""
        if self.long[start] > start:
            return _Turn(start, self.reach(start, self.bobbin_mm), None, 1)
        count = math.ceil(self.needs[start] / self.bobbin_mm * (1 - _TRIFLE))
        left_mm = count * self.bobbin_mm - self.needs[start]
        return _Turn(start, self.reach(start + 1, left_mm), None, count)

    def with_parts_first(self) -> list[_Turn]:
        turns, at = [], 0
        for number in range(len(self.parts)):
            stop = self.reach(at, self.parts[number].holds_mm)
            if stop > at:
                turns.append(_Turn(at, stop, number, 0))
                at = stop
        while at < len(self.needs):
            turn = self.full_turn(at)
            turns.append(turn)
            at = turn.stop
        return turns

    def full_with_parts_first(self) -> int:
        """Return the full bobbins of ``with_parts_first``, which is asked of many factors."""
        at = count = 0
        for part in self.parts:
            at = self.reach(at, part.holds_mm)
        blocks, more = len(self.needs), 1 + _TRIFLE
        while at < blocks:
            if self.long[at] > at:
                furthest = bisect_right(self.total, (self.total[at] + self.bobbin_mm) * more) - 1
                at, count = min(furthest, self.long[at]), count + 1
            else:
                turn = self.full_turn(at)
                at, count = turn.stop, count + turn.full
        return count

    def with_fewest(self) -> list[_Turn]:
        """Return the turns with fewest full bobbins, then fewest part ones.

        Of every number of full bobbins and set of part ones only the furthest block is kept: whatever goes on from
        an earlier one goes on from there as well.
        """
        sets = range(1 << len(self.parts))
        furthest: dict[tuple[int, int], int] = {(0, 0): 0}
        came: dict[tuple[int, int], _Turn] = {}

        def keep(state: tuple[int, int], turn: _Turn) -> None:
            if turn.stop > furthest.get(state, -1):
                furthest[state], came[state] = turn.stop, turn

        full = 0
        while True:
            done = []
            for used in sets:
                if (full, used) not in furthest:
                    continue
                at = furthest[full, used]
                if at == len(self.needs):
                    done.append(used)
                    continue
                turn = self.full_turn(at)
                keep((full + turn.full, used), turn)
                for number, part in enumerate(self.parts):
                    if not used >> number & 1:
                        stop = self.reach(at, part.holds_mm)
                        keep((full, used | 1 << number), _Turn(at, stop, number, 0))
            if done:
                break
            full += 1
        used = min(done, key=lambda each: (each.bit_count(), each))
        turns = []
        state = (full, used)
        while state != (0, 0):
            turn = came[state]
            turns.append(turn)
            state = (state[0] - turn.full, state[1] if turn.part is None else state[1] ^ 1 << turn.part)
        return [turn for turn in reversed(turns) if turn.stop > turn.start]


def _told(turns: Sequence[_Turn], walk: _Walk, blocks: Sequence[int]) -> BobbinRun:
    """Return the turns in pieces and blocks."""
    before = [0, *accumulate(blocks)]

    def place_of(number: int) -> tuple[int, int]:
        piece = bisect_right(before, number)
        return piece, number - before[piece - 1]

    labels = ["" if turn.part is None else walk.parts[turn.part].label for turn in turns]
    return BobbinRun(
        count=sum(turn.full for turn in turns),
        changes=tuple(
            BobbinChange(*place_of(turn.start), label)
            for turn, label in zip(turns[1:], labels[1:], strict=True)
        ),
        interruptions=tuple(
            Interruption(*place_of(turn.start), round(number * walk.bobbin_mm / walk.needs[turn.start], 3))
            for turn in turns
            for number in range(1, turn.full)
        ),
        first=labels[0],
    )


def p_enough_bobbins(
    pieces_geometry_mm: Sequence[Sequence[float]],
    *,
    bobbin_mm: float,
    bobbins: int,
    factor: Factor,
    parts: Sequence[PartBobbinLeft] = (),
) -> float:
    """Return the probability that ``bobbins`` full bobbins and the ``parts`` do, changed at block boundaries.

    The number of bobbins never falls as more thread is used, so there is one factor up to which they do; the
    answer is the probability of staying below it. How full bobbins really are adds to the factor's own sigma.
    Part bobbins are taken to go in first: the truth is never worse.
    """
    if not any(map(any, pieces_geometry_mm)):
        return 1.0
    if bobbins <= 0 and not parts:
        return 0.0
    needs = [need for blocks_mm in pieces_geometry_mm for need in blocks_mm]
    total, largest = [0.0, *accumulate(needs)], max(needs)

    def suffice(log_factor: float) -> bool:
        return _needed_at(log_factor, needs, bobbin_mm, parts, total=total, largest=largest) <= bobbins

    factor = factor.widened(RELATIVE_SIGMA["sealed"])
    sigma = factor.predictive_sigma
    low, high = factor.mean_log - 6 * sigma, factor.mean_log + 6 * sigma
    if not suffice(low):
        return 0.0
    if suffice(high):
        return 1.0
    for __ in range(20):
        middle = (low + high) / 2
        low, high = (middle, high) if suffice(middle) else (low, middle)
    return float(factor.cumulative(low))


def bobbins_for_sure(
    pieces_geometry_mm: Sequence[Sequence[float]],
    *,
    bobbin_mm: float,
    factor: Factor,
    certainty: float,
    parts: Sequence[PartBobbinLeft] = (),
) -> int:
    """Return the fewest full bobbins that do, beside the ``parts``, at this certainty.

    >>> from planning.compute.certainty.enough import Factor
    >>> exact = Factor(mean_log=0.0, sigma=0.0, scatter=0.0)
    >>> bobbins_for_sure([[50.0, 49.0]] * 3, bobbin_mm=100.0, factor=exact, certainty=0.95)  # a bobbin may be 2 % short
    6
    """
    log_factor = factor.widened(RELATIVE_SIGMA["sealed"]).quantile(certainty)
    needs = [need for blocks_mm in pieces_geometry_mm for need in blocks_mm]
    total = [0.0, *accumulate(needs)]
    return _needed_at(log_factor, needs, bobbin_mm, parts, total=total, largest=max(needs, default=0.0))


def _needed_at(
    log_factor: float,
    needs: Sequence[float],
    bobbin_mm: float,
    parts: Sequence[PartBobbinLeft],
    *,
    total: Sequence[float],
    largest: float,
) -> int:
    """Return the full bobbins needed where thread is used by that factor: those of ``run_of_bobbins``, parts first.

    A bobbin shortened by the factor runs out where the factor's use would empty it.
    """
    if not largest > 0:
        return 0
    shorter = math.exp(-log_factor)
    holding = sorted(
        (PartBobbinLeft(part.label, part.holds_mm * shorter) for part in parts),
        key=lambda part: -part.holds_mm,
    )
    walk = _Walk(
        needs, _refuse_empty(bobbin_mm * shorter), tuple(holding[:MOST_PARTS]), total=total, largest=largest
    )
    return walk.full_with_parts_first()


def _refuse_empty(bobbin_mm: float) -> float:
    if not (math.isfinite(bobbin_mm) and bobbin_mm > 0):
        raise WorkshopError(
            _("A bobbin with {bobbin_mm} mm on it stitches nothing; set its length.").format(
                bobbin_mm=bobbin_mm
            )
        )
    return bobbin_mm
