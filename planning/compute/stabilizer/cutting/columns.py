"""Good ways to cut where there are too many to list: those that the linear program asks for, one after another."""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from planning.compute.search.linear import Rows, least_relaxed
from planning.compute.stabilizer.cutting.flats import seen_from_the_side, stack_worth_most
from planning.compute.stabilizer.cutting.patterns import (
    FlatPattern,
    Pattern,
    PieceKind,
    narrowest,
    strip_lengths,
)

MOST_ROUNDS = 120


@dataclass
class ListedPatterns:
    """What is known so far: strips by the usable width of a roll, and ways to cut each lot of equal flats.

    ``flats`` have the size with a kerf added to both sides, and how many there are.
    """

    strips: dict[int, list[Pattern]]
    flats: list[tuple[int, int, int]]
    ways: list[list[FlatPattern]] = field(default_factory=list)


def price(kinds: Sequence[PieceKind], listed: ListedPatterns, *, unlisted: Sequence[int]) -> float:
    """Add what the linear program asks for to ``listed``; return an area of roll that no way of cutting can beat.

    Column generation: the dual prices π of the pieces tell which strip, or which way to cut a flat, would save most.
    Prices at which no strip is worth more than the roll it takes prove that at least Σ π · wanted − Σ the most that
    each flat can be worth is taken off the rolls. Any prices do once they are scaled that far (Farley, Operations
    Research 38, 1990). ``unlisted`` are the widths whose strips are not all listed; whole numbers get strips beside.
    """
    for width in unlisted:
        known = {each.counts for each in listed.strips[width]}
        listed.strips[width] += [each for each in _first(kinds, width) if each.counts not in known]
    demand = np.array([kind.count for kind in kinds], dtype=float)
    bound = 0.0
    for _ in range(MOST_ROUNDS):
        prices = _prices(kinds, listed, demand)
        offered = [
            (width, *_worth_most(kinds, width, along, prices))
            for width in listed.strips
            for along in strip_lengths(kinds, width)
        ]
        cut = [_flat_worth_most(kinds, width, height, prices) for width, height, _ in listed.flats]
        dear = max((value / (width * strip.along_mm) for width, value, strip in offered), default=0.0)
        if dear <= 0:
            break
        from_flats = sum(count * worth for (_, _, count), (worth, _) in zip(listed.flats, cut, strict=True))
        bound = max(bound, (float(prices @ demand) - from_flats) / dear)
        if not _add(listed, offered, cut, kinds):
            break
    for width in unlisted:
        _add_full(kinds, listed.strips[width], width)
    return bound


def _prices(kinds: Sequence[PieceKind], listed: ListedPatterns, demand: NDArray) -> NDArray:
    """Return what one more piece of each kind would cost in area of roll, with parts of strips allowed."""
    areas = np.array([float(kind.width_mm * kind.height_mm) for kind in kinds])
    columns = [
        (each.counts, float(width * each.along_mm))
        for width, strips in listed.strips.items()
        for each in strips
    ]
    starts = [len(columns)]
    for ways in listed.ways:
        columns += [(each.counts, 0.0) for each in ways]
        starts.append(len(columns))
    # What nothing gives yet is bought at a price that is too high.
    counts = np.vstack(
        [np.array([each for each, _ in columns], float).reshape(-1, len(kinds)), np.eye(len(kinds))]
    )
    cost = np.concatenate([[each for _, each in columns], 20.0 * areas.max() * np.ones(len(kinds))])
    rows = Rows()
    for of_kind, wanted in zip(counts.T, demand, strict=True):
        giving = np.flatnonzero(of_kind)
        rows.add(giving, of_kind[giving], low=wanted)
    for (start, end), (_, _, count) in zip(itertools.pairwise(starts), listed.flats, strict=True):
        rows.add(range(start, end), high=count)
    solved = least_relaxed(cost, rows)
    assert solved is not None  # everything can be bought
    return np.maximum(0.0, solved.prices[: len(kinds)])


def _add(
    listed: ListedPatterns,
    offered: Sequence[tuple[int, float, Pattern]],
    cut: Sequence[tuple[float, FlatPattern | None]],
    kinds: Sequence[PieceKind],
) -> bool:
    """Add the strips worth more than they take, and the ways to cut flats that are new; return if any was."""
    found = False
    for width, value, strip in offered:
        if value > width * strip.along_mm * (1 + 1e-9) and all(
            strip.counts != each.counts for each in listed.strips[width]
        ):
            listed.strips[width].append(strip)
            found = True
    for ways, (_, way) in zip(listed.ways, cut, strict=True):
        if way is not None and all(way.counts != each.counts for each in ways):
            ways.append(way)
            found = True
    return found


def _flat_worth_most(
    kinds: Sequence[PieceKind], width_mm: int, height_mm: int, prices: NDArray
) -> tuple[float, FlatPattern | None]:
    """Return what a flat can be worth at most, and a way to cut it that is: more pieces than wanted count too."""
    best: tuple[float, FlatPattern | None] = (0.0, None)
    for upright in (True, False):
        across, along = (width_mm, height_mm) if upright else (height_mm, width_mm)
        lying = kinds if upright else tuple(map(seen_from_the_side, kinds))
        strips = [
            _worth_most(lying, across, each, prices) for each in strip_lengths(lying, across) if each <= along
        ]
        worth, stack = stack_worth_most([each for each in strips if each[0] > 0], along)
        if stack and worth > best[0] * (1 + 1e-9):
            best = (worth, FlatPattern(stack, upright))
    return best


def _add_full(kinds: Sequence[PieceKind], strips: list[Pattern], width_mm: int) -> None:
    """Add strips that leave little over, which are good in whole numbers: each worth most by its pieces' areas."""
    patterns = {each.counts: each for each in strips}
    areas = np.array([float(kind.width_mm * kind.height_mm) for kind in kinds])
    for along in strip_lengths(kinds, width_mm):
        left = [kind.count for kind in kinds]
        while True:
            _, pattern = _worth_most(kinds, width_mm, along, areas, left=left)
            if not any(pattern.counts):
                break
            patterns.setdefault(pattern.counts, pattern)
            left = [have - taken for have, taken in zip(left, pattern.counts, strict=True)]
    strips[:] = patterns.values()


def _first(kinds: Sequence[PieceKind], width_mm: int) -> list[Pattern]:
    """Return for each kind and way a strip of that kind alone."""
    made = []
    for place, kind in enumerate(kinds):
        for across, along, turned in kind.ways:
            fit = min(width_mm // across, kind.count)
            if fit:
                counts = tuple(fit if each == place else 0 for each in range(len(kinds)))
                turns = tuple(turned and each == place for each in range(len(kinds)))
                made.append(Pattern(along, counts, turns))
    return made


def _worth_most(
    kinds: Sequence[PieceKind],
    width_mm: int,
    along_mm: int,
    prices: NDArray,
    left: Sequence[int] | None = None,
) -> tuple[float, Pattern]:
    """Return the worth and the strip of this length that is worth most, no more of a kind than is wanted."""
    widths, turned = narrowest(kinds, width_mm, along_mm)
    best = np.zeros(width_mm + 1)
    taken = []
    for place, width in enumerate(widths):
        if width is None or prices[place] <= 0:
            continue
        most = min((left[place] if left is not None else kinds[place].count), width_mm // width)
        for _ in range(most):
            with_one = np.full(width_mm + 1, -1.0)
            with_one[width:] = best[: width_mm + 1 - width] + prices[place]
            takes = with_one > best + 1e-12
            best = np.where(takes, with_one, best)
            taken.append((place, width, takes))
    counts = [0] * len(kinds)
    room = width_mm
    for place, width, takes in reversed(taken):
        if takes[room]:
            counts[place] += 1
            room -= width
    return float(best[width_mm]), Pattern(along_mm, tuple(counts), turned)
