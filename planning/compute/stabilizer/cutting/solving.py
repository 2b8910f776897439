"""Which strips to cut, and how often: an integer program over patterns, solved by HiGHS.

The cutting-stock model of Gilmore and Gomory (Operations Research 9, 1961 and 13, 1965), with strips of several
lengths in the place of stock sheets.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planning.compute.search.linear import Rows, Whole, least_relaxed, least_whole
from planning.compute.search.proof import SecondsLeft
from planning.compute.stabilizer.cutting.greedy import cut_greedily
from planning.compute.stabilizer.cutting.patterns import FlatPattern, Pattern, PieceKind

# The search stops after so many nodes, not after so long: an answer must not depend on how busy the machine is.
# A node of a program with many columns is more work than one with few.
NODES, WORK = 1_500, 300_000
PROMISING = 100
MOST_TIDIED = 60
TIDY_ENOUGH = 1e-4  # as a share of what could be simpler still


@dataclass(frozen=True)
class Width:
    """Rolls of one usable width, by their places among the rolls, and the strips that can be cut across them."""

    width_mm: int
    rolls: tuple[int, ...]
    free_mm: tuple[int, ...]
    patterns: tuple[Pattern, ...]


@dataclass(frozen=True)
class FlatWays:
    """One lot of equal sheets or one offcut: how many, and the ways to cut one."""

    flat: int
    count: int
    patterns: tuple[FlatPattern, ...]


@dataclass(frozen=True)
class Chosen:
    """Strips by roll, ways by flat, the pieces of each kind that are missing, and the least area of roll possible.

    All of it speaks of the strips and ways that there were to choose from; ``misses_least`` where it is proven that
    of them none leave fewer pieces missing.
    """

    strips: tuple[tuple[int, Pattern, int], ...]
    flats: tuple[tuple[int, FlatPattern, int], ...]
    missing: tuple[int, ...]
    area_mm2: int
    bound_mm2: float
    misses_least: bool


def choose(
    kinds: Sequence[PieceKind],
    widths: Sequence[Width],
    flats: Sequence[FlatWays],
    *,
    seconds_left: SecondsLeft = None,
) -> Chosen:
    """Return the strips and flats that leave fewest pieces missing, and of those ways one that takes least roll.

    Counted work ends the search, ``seconds_left`` cuts it short; what was laid strip after strip is always at hand.
    """
    if not widths and not flats:
        return Chosen((), (), tuple(kind.count for kind in kinds), 0, 0.0, misses_least=True)
    model = _Model(kinds, widths, flats, seconds_left)
    solved, is_proven = model.least_area(missing=0), True
    if solved is None:
        fewest, is_proven = model.fewest_missing()
        solved = model.least_area(missing=fewest)
    assert solved is not None  # what was found with so few missing is a way with so few missing
    return model.simplest(solved, misses_least=is_proven)


def _rounded(found: Whole) -> NDArray | None:
    return None if found.amounts is None else np.round(found.amounts)


@dataclass(frozen=True)
class _Solved:
    amounts: NDArray
    bound: float
    missing: int
    added: NDArray


class _Model:
    """The columns and rows, kept while the same program is solved for one goal after another."""

    def __init__(
        self,
        kinds: Sequence[PieceKind],
        widths: Sequence[Width],
        flats: Sequence[FlatWays],
        seconds_left: SecondsLeft,
    ) -> None:
        self.seconds_left = seconds_left
        self.kinds, self.widths, self.flats = kinds, widths, flats
        self.strips = [(width, pattern) for width in widths for pattern in width.patterns]
        self.ways = [(flat, pattern) for flat in flats for pattern in flat.patterns]
        lengths = {width: sorted({each.along_mm for each in width.patterns}) for width in widths}
        # How many strips of one length are cut from one roll; with one roll that is no question.
        self.parts = [
            (width, place, along) for width in widths if len(width.rolls) > 1
            for place in range(len(width.rolls)) for along in lengths[width]
        ]  # fmt: skip
        self.starts = np.cumsum([0, len(self.strips), len(self.parts), len(self.ways), len(kinds)])
        self._rows: list[tuple[list[int], list[float], float, float]] = []
        self._cover()
        self._fit_rolls(lengths)
        for flat in flats:
            columns = [self.starts[2] + at for at, (own, _) in enumerate(self.ways) if own is flat]
            self._rows.append((columns, [1.0] * len(columns), 0, flat.count))
        self.cost = np.zeros(self.starts[4])
        self.cost[: len(self.strips)] = [width.width_mm * each.along_mm for width, each in self.strips]
        self.at_hand = self._laid_one_by_one()

    def _laid_one_by_one(self) -> NDArray:
        amounts = np.zeros(self.starts[4])
        by_roll, by_flat, missing = cut_greedily(
            self.kinds,
            [(width.width_mm, free, width.patterns) for width in self.widths for free in width.free_mm],
            [(flat.count, flat.patterns) for flat in self.flats],
        )
        strips = {(id(width), each.counts): at for at, (width, each) in enumerate(self.strips)}
        parts = {(id(width), place, along): at for at, (width, place, along) in enumerate(self.parts)}
        ways = {(id(flat), each.counts): at for at, (flat, each) in enumerate(self.ways)}
        rolls = [(width, place) for width in self.widths for place in range(len(width.rolls))]
        for roll, strip in by_roll:
            width, place = rolls[roll]
            amounts[strips[id(width), strip.counts]] += 1
            if len(width.rolls) > 1:
                amounts[self.starts[1] + parts[id(width), place, strip.along_mm]] += 1
        for flat, way in by_flat:
            amounts[self.starts[2] + ways[id(self.flats[flat]), way.counts]] += 1
        amounts[self.starts[3] :] = missing
        return amounts

    def _cover(self) -> None:
        for kind_at, kind in enumerate(self.kinds):
            pairs = [(at, each.counts[kind_at]) for at, (_, each) in enumerate(self.strips)]
            pairs += [(self.starts[2] + at, each.counts[kind_at]) for at, (_, each) in enumerate(self.ways)]
            pairs = [(at, count) for at, count in pairs if count] + [(self.starts[3] + kind_at, 1)]
            self._rows.append(([at for at, _ in pairs], [float(n) for _, n in pairs], kind.count, np.inf))

    def _fit_rolls(self, lengths: dict[Width, list[int]]) -> None:
        for width in self.widths:
            own = [(at, each.along_mm) for at, (of, each) in enumerate(self.strips) if of is width]
            if len(width.rolls) == 1:
                self._rows.append(([at for at, _ in own], [float(n) for _, n in own], 0, width.free_mm[0]))
                continue
            parts = [
                (self.starts[1] + at, place, along)
                for at, (of, place, along) in enumerate(self.parts)
                if of is width
            ]
            for length in lengths[width]:
                cut = [at for at, along in own if along == length]
                shared = [at for at, _, along in parts if along == length]
                self._rows.append((cut + shared, [1.0] * len(cut) + [-1.0] * len(shared), 0, 0))
            for place, free in enumerate(width.free_mm):
                here = [(at, along) for at, of, along in parts if of == place]
                self._rows.append(([at for at, _ in here], [float(n) for _, n in here], 0, free))

    def _rows_for(self, *, missing: int) -> Rows:
        rows = Rows()
        for columns, factors, low, high in self._rows:
            if columns:
                rows.add(columns, factors, low=low, high=high)
        rows.add(range(self.starts[3], self.starts[4]), low=0, high=missing)
        return rows

    def _upper(self, *, missing: int) -> NDArray:
        upper = np.full(int(self.starts[4]), float(sum(kind.count for kind in self.kinds)))
        upper[self.starts[3] :] = [min(kind.count, missing) for kind in self.kinds]
        return upper

    def _solve(
        self, cost: NDArray, *, missing: int, upper: NDArray | None = None, nodes: int = NODES
    ) -> tuple[NDArray | None, float]:
        """Return whole amounts for the columns, or None, and a bound below their ``cost``."""
        scale = max(1.0, float(np.max(np.abs(cost), initial=0.0)))
        found = least_whole(
            cost / scale,
            self._rows_for(missing=missing),
            upper=self._upper(missing=missing) if upper is None else upper,
            nodes=min(nodes, WORK // len(cost)),
            seconds_left=self.seconds_left,
        )
        return _rounded(found), max(0.0, found.bound * scale)

    def _relaxed(self, *, missing: int) -> tuple[float, NDArray] | None:
        """Return the least area with parts of strips allowed, and what one more of each column would add to it."""
        found = least_relaxed(self.cost, self._rows_for(missing=missing), upper=self._upper(missing=missing))
        return None if found is None else (found.cost, np.maximum(0.0, found.added))

    def least_area(self, *, missing: int) -> "_Solved | None":
        """Return the whole amounts that take least area with at most so many pieces missing, or None if none is found.

        Of many columns the most promising are searched first. A column that would add more than the gap between what
        that found and the relaxed area is in no better answer; with the others the search is complete.
        """
        relaxed = self._relaxed(missing=missing)
        if relaxed is None:
            return None
        bound, added = relaxed
        bound = self._whole(bound)
        everything = self._upper(missing=missing)
        amounts = self.at_hand if self.at_hand[self.starts[3] :].sum() <= missing else None
        if len(added) > PROMISING:
            promising = added <= np.partition(added, PROMISING - 1)[PROMISING - 1]
            tried, _ = self._solve(
                self.cost, missing=missing, upper=np.where(promising, everything, 0.0), nodes=NODES // 10
            )
            amounts = self._better(tried, amounts)
        if amounts is not None and self.cost @ amounts <= bound + 0.5:
            return _Solved(amounts, bound, missing, added)
        gap = np.inf if amounts is None else float(self.cost @ amounts) - relaxed[0]
        upper = np.where(added <= gap + 0.5, everything, 0.0)
        found, searched = self._solve(self.cost, missing=missing, upper=upper)
        amounts = self._better(found, amounts)
        if amounts is None:
            return None
        # What was left out can only be as good as the answer in hand, never better.
        searched = min(searched, float(self.cost @ amounts))
        return _Solved(amounts, max(bound, self._whole(searched)), missing, added)

    def _whole(self, bound: float) -> float:
        """Return ``bound`` rounded up to an area that whole strips can have."""
        step = math.gcd(*(round(each) for each in self.cost if each)) if self.cost.any() else 0
        return math.ceil(bound / step - 1e-6) * float(step) if step else 0.0

    def _better(self, one: NDArray | None, other: NDArray | None) -> NDArray | None:
        if one is None or other is None:
            return other if one is None else one
        return one if self.cost @ one < self.cost @ other else other

    def fewest_missing(self) -> tuple[int, bool]:
        """Return the fewest pieces that were found to go missing, and if it is proven that none fewer can."""
        cost = np.zeros(self.starts[4])
        cost[self.starts[3] :] = 1.0
        amounts, bound = self._solve(cost, missing=sum(kind.count for kind in self.kinds))
        fewest = int(self.at_hand[self.starts[3] :].sum())
        if amounts is not None and amounts[self.starts[3] :].sum() < fewest:
            self.at_hand, fewest = amounts, int(amounts[self.starts[3] :].sum())
        return fewest, fewest <= bound + 0.5

    def simplest(self, solved: "_Solved", *, misses_least: bool) -> Chosen:
        """Return the way found, or one that takes no more roll and has fewer different strips."""
        area = float(self.cost @ solved.amounts)
        tidy = self._tidy(solved, area)
        return self._chosen(solved.amounts if tidy is None else tidy, area, solved.bound, misses_least)

    def _tidy(self, solved: "_Solved", area: float) -> NDArray | None:
        """Prefer few different strips, then opened rolls, and offcuts to sheets, where that takes no more roll."""
        strips, columns = len(self.strips), len(self.cost)
        if not self.parts and not self.ways and np.count_nonzero(solved.amounts[:strips]) < 2:
            return None  # nothing can be simpler
        upper = np.where(solved.added <= area - solved.bound + 0.5, self._upper(missing=solved.missing), 0.0)
        upper = np.where(solved.amounts > 0, self._upper(missing=solved.missing), upper)
        if np.count_nonzero(upper) > MOST_TIDIED:
            return None
        cost = np.zeros(columns + strips)
        cost[columns:] = 1.0
        for at, (width, place, along) in enumerate(self.parts):
            cost[self.starts[1] + at] = 1e-5 * width.rolls[place] * along / max(width.free_mm)
        for at, (flat, _) in enumerate(self.ways):
            cost[self.starts[2] + at] = 1e-3 * (1 + flat.flat / len(self.flats))
        rows = self._rows_for(missing=solved.missing)
        for at in range(strips):
            rows.add([at, columns + at], [1.0, -max(upper[at], 1.0)], high=0.0)
        costly = np.flatnonzero(self.cost)
        rows.add(costly, self.cost[costly], high=area + 0.5)
        found = least_whole(
            cost,
            rows,
            upper=np.concatenate([upper, np.minimum(1.0, upper[:strips])]),
            nodes=NODES // 10,
            gap=TIDY_ENOUGH,
            seconds_left=self.seconds_left,
        )
        tidy = _rounded(found)
        return None if tidy is None else tidy[:columns]

    def _chosen(self, amounts: NDArray, area: float, bound: float, misses_least: bool) -> Chosen:
        counts = [int(each) for each in amounts]
        parts = {
            (id(width), place, along): counts[self.starts[1] + at]
            for at, (width, place, along) in enumerate(self.parts)
        }
        strips: list[tuple[int, Pattern, int]] = []
        for at, (width, pattern) in enumerate(self.strips):
            left = counts[at]
            for place, roll in enumerate(width.rolls):
                key = (id(width), place, pattern.along_mm)
                here = left if len(width.rolls) == 1 else min(left, parts[key])
                if here:
                    strips.append((roll, pattern, here))
                    left -= here
                    parts[key] = parts.get(key, 0) - here
        flats = tuple(
            (flat.flat, pattern, counts[self.starts[2] + at])
            for at, (flat, pattern) in enumerate(self.ways)
            if counts[self.starts[2] + at]
        )
        return Chosen(
            strips=tuple(strips),
            flats=flats,
            missing=tuple(counts[self.starts[3] :]),
            area_mm2=round(area),
            bound_mm2=min(bound, area),
            misses_least=misses_least,
        )
