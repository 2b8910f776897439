"""Which spool goes on for which pieces."""

import itertools
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from planning.compute.certainty.coverage import geometries_covered
from planning.compute.certainty.enough import Factor
from planning.compute.colour.choice import OwnedSpool
from planning.compute.search.proof import Proof, proof_of
from planning.compute.spools.reach import SLACK, Floats, Reach, Stretch, last_before, reaches, stretch_of

# Up to so many spools every set of them is weighed, and the choice is exact.
MOST_WEIGHED = 12
# Of more, shortlists are taken from the fewest lots that hold enough, from so many lots more, and from all.
MORE_LOTS = 1


class SpoolMerit(NamedTuple):
    """What a choice of spools costs, the most important first; less is better throughout.

    ``useless_mm`` is what is left on all spools together but the one with most left: scraps are of less use
    than the same length in one place.
    """

    inside_blocks: int
    lots_inside_pieces: int
    lots: int
    spools: int
    sealed_opened: int
    useless_mm: int


@dataclass(frozen=True)
class SpoolUse:
    """A spool's turn: the pieces it is for (1-based, both included), what they take, what is left on it.

    ``from_block`` counts this thread's own blocks of the piece from 0; it is above 0 where the spool goes on inside
    the piece. ``inside`` is the share of that block which is stitched by then: 0 at a block's start. ``at_block``
    is that block as (design, number), where it is known.
    """

    label: str
    from_piece: int
    to_piece: int
    needed_mm: int
    left_mm: int
    place: str = ""
    lot: str = ""
    from_block: int = 0
    inside: float = 0.0
    at_block: tuple[int, int] | None = None
    # What they take at the certainty that is asked for, where it was reckoned.
    sure_mm: int = 0


@dataclass(frozen=True)
class SpoolChoice:
    """The turns in order, what they cost, and the least that any choice could cost."""

    uses: tuple[SpoolUse, ...]
    merit: SpoolMerit
    bound: SpoolMerit
    proof: Proof
    is_complete: bool  # every piece is done

    @property
    def is_proven(self) -> bool:
        return self.proof is Proof.LEAST


@dataclass(frozen=True)
class _Turn:
    spool: int
    start: float
    end: float


@dataclass(frozen=True, eq=False)
class _Wall:
    """The spools that may be used, and what each gives for sure of the geometry, in mm."""

    spools: tuple[OwnedSpool, ...]
    holds: Floats
    median: float

    @cached_property
    def lots(self) -> np.ndarray:
        """Numbers of the dye lots; a spool without one may be of any, so it is a lot of its own."""
        names = [spool.lot or ("?", number) for number, spool in enumerate(self.spools)]
        known = list(dict.fromkeys(names))
        return np.array([known.index(name) for name in names], dtype=np.intp)

    @property
    def alike(self) -> np.ndarray:
        """The same as if all were of one lot."""
        return np.zeros(len(self.spools), dtype=np.intp)

    def only(self, which: Sequence[int]) -> "_Wall":
        return _Wall(tuple(self.spools[at] for at in which), self.holds[list(which)], self.median)


def choose_spools(
    spools: Sequence[OwnedSpool],
    *,
    pieces_mm: Sequence[Sequence[float]],
    factor: Factor,
    certainty: float,
    may_change_inside: bool = False,
) -> SpoolChoice:
    """Return the spools to put on one after the other, the best by ``SpoolMerit`` of those that do all pieces.

    ``pieces_mm`` has what each block of this thread takes on each piece before the ``factor``. No spool is relied
    on for more than it holds at the ``certainty``, and one whose length nobody knows for nothing. A change inside a
    block is planned only where it is allowed and no other way does all pieces. Where the spools do not do, as many
    pieces as whole blocks allow are stitched: the last ``to_piece`` falls short. Takes and leavings are told at the
    factor's median.

    With up to 12 spools the choice is exact (shelf order among equals); with more it is the best of several
    shortlists of 12, and the least only where it meets the bound.

    >>> wall = [OwnedSpool(1, "S0001", 25_000, 0.0), OwnedSpool(2, "S0002", 20_000, 0.0)]
    >>> exact = Factor(mean_log=0.0, sigma=0.0, scatter=0.0)
    >>> choice = choose_spools(wall, pieces_mm=[[10_000]] * 4, factor=exact, certainty=0.95)
    >>> [(use.label, use.from_piece, use.to_piece, use.left_mm) for use in choice.uses]
    [('S0002', 1, 2, 0), ('S0001', 3, 4, 5000)]
    >>> choice.merit.lots, choice.merit.useless_mm, choice.is_proven
    (2, 0, True)
    """
    known = [spool for spool in spools if spool.sigma_mm is not None and spool.free_mm > 0]
    holds = geometries_covered(
        factor,
        free_mm=np.array([spool.free_mm for spool in known], dtype=np.float64),
        free_sigma_mm=np.array([spool.sigma_mm for spool in known], dtype=np.float64),
        certainty=certainty,
    )
    of_use = np.flatnonzero(holds > 0)
    wall = _Wall(tuple(known), holds, factor.median).only(of_use.tolist())
    stretch = stretch_of(pieces_mm)
    if not wall.spools or not stretch.length:
        nothing = SpoolMerit(0, 0, 0, 0, 0, 0)
        return SpoolChoice((), nothing, nothing, Proof.LEAST, not stretch.length)
    alone = _one_alone(wall, stretch)
    exact = alone is not None or len(wall.spools) <= MOST_WEIGHED
    if alone is not None:
        turns, done = [_Turn(alone, 0.0, stretch.length)], stretch
    else:
        turns, done = (_best if exact else _best_of_shortlists)(wall, stretch, may_change_inside)
    merit = _merit(wall, turns, done)
    bound = merit if exact else _bound(wall, done)
    return SpoolChoice(
        uses=_uses(wall, turns, stretch, pieces_mm),
        merit=merit,
        bound=bound,
        proof=proof_of(is_least=exact or merit == bound, was_cut_short=False),
        is_complete=done.length == stretch.length,
    )


def _one_alone(wall: _Wall, stretch: Stretch) -> int | None:
    """Return the spool that does everything alone: nothing is better than one, an open one first."""
    doing = np.flatnonzero(wall.holds >= stretch.length * (1 - SLACK)).tolist()
    return min(doing, key=lambda at: (not wall.spools[at].is_open, at), default=None)


def _best(wall: _Wall, stretch: Stretch, may_change_inside: bool) -> tuple[list[_Turn], Stretch]:
    """Return the best turns over all sets of the spools, and as much of the stretch as they do."""
    inside = 0
    known = reaches(wall.holds, wall.alike, stretch, inside=0, mixed=0)
    whole = stretch.length * (1 - SLACK)
    if known[0, 0].end.max() < whole:
        if may_change_inside and wall.holds.sum() >= whole:
            while known[inside, 0].end.max() < whole:
                inside += 1
                known = reaches(wall.holds, wall.alike, stretch, inside=inside, mixed=0, known=known)
        else:
            furthest = known[0, 0].end.max(keepdims=True)
            stretch = stretch.until(float(last_before(furthest, stretch.piece_ends)[0, 0]))
            known, whole = {}, stretch.length * (1 - SLACK)
    if not stretch.length:
        return [], stretch
    mixed = 0
    # Of one lot they are all alike, and what was found so stands.
    forward = {} if wall.lots.any() else known
    while True:
        forward = reaches(wall.holds, wall.lots, stretch, inside=inside, mixed=mixed, known=forward)
        ends = forward[inside, mixed].end.max(axis=1)
        if ends.max() >= whole:
            break
        mixed += 1
    doing = np.flatnonzero(ends >= whole)
    backward = reaches(wall.holds, wall.lots, stretch.reversed(), inside=inside, mixed=mixed)
    return _with_least_scraps(wall, stretch, _fewest(wall, doing), forward, backward), stretch


def _fewest(wall: _Wall, sets: np.ndarray) -> np.ndarray:
    """Return those of the sets with fewest lots, then fewest spools, then fewest sealed ones."""
    members = (sets[:, None] >> np.arange(len(wall.spools))) & 1 == 1
    sealed = np.array([not spool.is_open for spool in wall.spools])
    lots = np.array([members[:, wall.lots == lot].any(axis=1) for lot in range(wall.lots.max() + 1)])
    costs = zip(lots.sum(axis=0), members.sum(axis=1), members[:, sealed].sum(axis=1), strict=True)
    ranked = list(costs)
    least = min(ranked)
    return sets[[rank == least for rank in ranked]]


def _with_least_scraps(
    wall: _Wall,
    stretch: Stretch,
    sets: np.ndarray,
    forward: dict[tuple[int, int], Reach],
    backward: dict[tuple[int, int], Reach],
) -> list[_Turn]:
    """Return the turns that leave most on one spool.

    That spool bridges what the others, some before it and some after it, do not reach; all ways of parting the
    others are weighed. None could be left out, or there would be a set of fewer spools.
    """
    inside, mixed = max(forward)
    free = np.array([spool.free_mm for spool in wall.spools], dtype=np.float64)
    members = np.array([[at for at in range(len(free)) if number >> at & 1] for number in sets.tolist()])
    count = members.shape[1]
    parts = (np.arange(1 << (count - 1))[:, None] >> np.arange(count - 1)) & 1
    total_free = free[members].sum(axis=1)
    best: tuple[float, int, int, int, tuple[int, int]] | None = None
    for column in range(count):
        keeper = members[:, column]
        others = np.delete(members, column, axis=1)
        before = (1 << others) @ parts.T if count > 1 else np.zeros((len(sets), 1), dtype=np.intp)
        after = (sets ^ (1 << keeper))[:, None] ^ before
        lot = wall.lots[keeper][:, None]
        for split in ((within, mix) for within in range(inside + 1) for mix in range(mixed + 1)):
            start = forward[split].start[before, lot]
            end = stretch.length - backward[inside - split[0], mixed - split[1]].start[after, lot]
            takes = np.maximum(end - start, 0.0)
            scraps = total_free[:, None] - stretch.length * wall.median
            scraps = scraps - (free[keeper][:, None] - takes * wall.median)
            scraps = np.where(takes <= wall.holds[keeper][:, None] * (1 + SLACK), scraps, np.inf)
            # Among equals the spool that keeps most goes on last, so that the others are used up first.
            scraps = scraps.round(3) + 1e-4 * (after > 0)
            row, part = np.unravel_index(int(scraps.argmin()), scraps.shape)
            if np.isfinite(scraps[row, part]) and (best is None or scraps[row, part] < best[0] - 1e-6):
                best = (
                    float(scraps[row, part]),
                    int(keeper[row]),
                    int(before[row, part]),
                    int(after[row, part]),
                    split,
                )
    assert best is not None  # the sets do the stretch, so there is a way
    _, spool, before_set, after_set, (within, mix) = best
    first = _turns(wall, stretch, forward, before_set, int(wall.lots[spool]), within, mix)
    mirrored = stretch.reversed()
    last = _turns(wall, mirrored, backward, after_set, int(wall.lots[spool]), inside - within, mixed - mix)
    turned = [
        _Turn(each.spool, stretch.length - each.end, stretch.length - each.start) for each in reversed(last)
    ]
    start = first[-1].end if first else 0.0
    return [*first, _Turn(spool, start, turned[0].start if turned else stretch.length), *turned]


def _turns(
    wall: _Wall,
    stretch: Stretch,
    reach: dict[tuple[int, int], Reach],
    spools: int,
    lot: int,
    inside: int,
    mixed: int,
) -> list[_Turn]:
    """Return the turns of a set of spools that let the next, of this lot, start where ``reach`` says it can."""
    turns: list[_Turn] = []
    while spools:
        stop = float(reach[inside, mixed].start[spools, lot])
        spool, inside, mixed = _last_on(wall, stretch, reach, spools, lot, inside, mixed)
        lot = int(wall.lots[spool])
        spools ^= 1 << spool
        turns.append(_Turn(spool, float(reach[inside, mixed].start[spools, lot]), stop))
    return turns[::-1]


def _last_on(
    wall: _Wall,
    stretch: Stretch,
    reach: dict[tuple[int, int], Reach],
    spools: int,
    lot: int,
    inside: int,
    mixed: int,
) -> tuple[int, int, int]:
    """Return the spool that is on last where the next starts, and the changes of the bad kinds before it."""
    wanted = reach[inside, mixed].start[spools, lot]
    for spool in reversed(range(len(wall.spools))):
        if not spools >> spool & 1:
            continue
        mixes = int(wall.lots[spool] != lot)
        ways = [(0, 0, stretch.piece_ends if mixes else stretch.block_ends), (0, mixes, stretch.block_ends)]
        for within, mix, ends in [*ways, (1, mixes, None)]:
            if within > inside or mix > mixed:
                continue
            end = reach[inside - within, mixed - mix].end[[spools], spool]
            stop = end if ends is None else last_before(end, ends)
            if abs(min(float(stop[0]), stretch.length) - wanted) <= SLACK * (1 + wanted):
                return spool, inside - within, mixed - mix
    raise AssertionError("no spool of the set stops there")


def _best_of_shortlists(
    wall: _Wall, stretch: Stretch, may_change_inside: bool
) -> tuple[list[_Turn], Stretch]:
    """Return the best turns found among several shortlists of spools: fewest lots first, then all."""
    by_lot = sorted(
        range(int(wall.lots.max()) + 1), key=lambda lot: -float(wall.holds[wall.lots == lot].sum())
    )
    holds = np.cumsum([float(wall.holds[wall.lots == lot].sum()) for lot in by_lot])
    fewest = min(int(np.searchsorted(holds, stretch.length * (1 - SLACK))) + 1, len(by_lot))
    best: tuple[tuple, list[_Turn], Stretch] | None = None
    for lots in sorted({*range(fewest, min(fewest + MORE_LOTS, len(by_lot)) + 1), len(by_lot)}):
        held = np.flatnonzero(np.isin(wall.lots, by_lot[:lots]))
        largest = held[np.argsort(-wall.holds[held], kind="stable")]
        opened = [at for at in largest.tolist() if wall.spools[at].is_open]
        half = MOST_WEIGHED // 2
        for order in (
            largest.tolist(),
            list(dict.fromkeys([*largest[:half].tolist(), *opened, *largest.tolist()])),
        ):
            turns, done = _shortlisted(wall, stretch, order, may_change_inside)
            rank = (-done.length, *_merit(wall, turns, done))
            if best is None or rank < best[0]:
                best = rank, turns, done
        if best is not None and best[2].length == stretch.length and best[0][1:3] == (0, 0):
            break
    assert best is not None  # the last round takes all lots
    return best[1], best[2]


def _shortlisted(
    wall: _Wall, stretch: Stretch, order: list[int], may_change_inside: bool
) -> tuple[list[_Turn], Stretch]:
    """Return turns over the first dozen spools of an order, after as many of the largest as must go before them."""
    first: list[_Turn] = []
    rest, start = stretch, 0.0
    while len(order) > MOST_WEIGHED:
        dozen, whole = wall.only(order[:MOST_WEIGHED]), rest.length * (1 - SLACK)
        if dozen.holds.sum() >= whole:
            reach = reaches(dozen.holds, dozen.alike, rest, inside=0, mixed=0)[0, 0]
            if reach.end.max() >= whole:
                break
        spool, order = order[0], order[1:]
        end = float(last_before(wall.holds[[spool]], rest.piece_ends)[0])
        if end > 0:
            first.append(_Turn(spool, start, start + end))
            start += end
            rest = Stretch(
                rest.block_ends[rest.block_ends >= end] - end, rest.piece_ends[rest.piece_ends >= end] - end
            )
    shortlist = order[:MOST_WEIGHED]
    turns, done = _best(wall.only(sorted(shortlist)), rest, may_change_inside)
    moved = [_Turn(sorted(shortlist)[each.spool], each.start + start, each.end + start) for each in turns]
    return [*first, *moved], stretch.until((start + done.length) * (1 + SLACK))


def _merit(wall: _Wall, turns: Sequence[_Turn], stretch: Stretch) -> SpoolMerit:
    """Return what these turns cost."""
    used = [wall.spools[turn.spool] for turn in turns]
    inside = mixing = 0
    for before, after in itertools.pairwise(turns):
        inside += not _is_end(after.start, stretch.block_ends)
        of_two_lots = wall.lots[before.spool] != wall.lots[after.spool]
        mixing += bool(of_two_lots) and not _is_end(after.start, stretch.piece_ends)
    left = [
        spool.free_mm - (turn.end - turn.start) * wall.median for spool, turn in zip(used, turns, strict=True)
    ]
    return SpoolMerit(
        inside_blocks=inside,
        lots_inside_pieces=mixing,
        lots=len({int(wall.lots[turn.spool]) for turn in turns}),
        spools=len(used),
        sealed_opened=sum(not spool.is_open for spool in used),
        useless_mm=round(sum(left) - max(left, default=0.0)),
    )


def _is_end(place: float, ends: Floats) -> bool:
    return bool(np.abs(ends - place).min() <= SLACK * (1 + place))


def _bound(wall: _Wall, stretch: Stretch) -> SpoolMerit:
    """Return what no choice can undercut: the largest spools, and the largest lots, must hold the length."""
    if not stretch.length:
        return SpoolMerit(0, 0, 0, 0, 0, 0)
    whole = stretch.length * (1 - SLACK)
    by_lot = [float(wall.holds[wall.lots == lot].sum()) for lot in range(int(wall.lots.max()) + 1)]

    def fewest(held: Sequence[float]) -> int:
        return int(np.searchsorted(np.cumsum(sorted(held, reverse=True)), whole)) + 1

    return SpoolMerit(0, 0, fewest(by_lot), fewest(wall.holds.tolist()), 0, 0)


def _uses(
    wall: _Wall, turns: Sequence[_Turn], stretch: Stretch, pieces_mm: Sequence[Sequence[float]]
) -> tuple[SpoolUse, ...]:
    """Return the turns in pieces and blocks."""
    ends, before = stretch.block_ends, [0, *itertools.accumulate(map(len, pieces_mm))]

    def place_of(number: int) -> tuple[int, int]:
        """The piece and the block of a block that is counted through."""
        piece = bisect_right(before, number) - 1
        return piece, number - before[piece]

    uses = []
    for turn in turns:
        spool = wall.spools[turn.spool]
        first = int(np.searchsorted(ends, turn.start * (1 + SLACK) + SLACK, side="right")) - 1
        last = int(np.searchsorted(ends, turn.end * (1 - SLACK) - SLACK, side="left")) - 1
        begun = (turn.start - ends[first]) / (ends[first + 1] - ends[first])
        needed_mm = round((turn.end - turn.start) * wall.median)
        uses.append(
            SpoolUse(
                label=spool.label,
                from_piece=place_of(first)[0] + 1,
                to_piece=place_of(last)[0] + 1,
                needed_mm=needed_mm,
                left_mm=spool.free_mm - needed_mm,
                place=spool.place,
                lot=spool.lot,
                from_block=place_of(first)[1],
                inside=round(float(begun), 3) if begun > SLACK else 0.0,
            )
        )
    return tuple(uses)
