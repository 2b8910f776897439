"""Good strips where there are too many to list: those that the linear program asks for, one after another."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog

from planning.compute.stabilizer.cutting.patterns import Pattern, PieceKind, narrowest, strip_lengths

MOST_ROUNDS = 120


def priced_patterns(kinds: Sequence[PieceKind], width_mm: int) -> tuple[list[Pattern], float]:
    """Return strips that suffice for the linear program, and the length that no way of cutting can beat.

    Column generation: the dual prices of the pieces tell which strip would shorten the roll most. With p the worth
    of the best strip per mm of its length at those prices, their worth over p is a bound at any moment (Farley,
    Operations Research 38, 1990).
    """
    patterns = {each.counts: each for each in _first(kinds, width_mm)}
    fitting = [kind for kind in kinds if any(each.counts[kinds.index(kind)] for each in patterns.values())]
    places = [kinds.index(kind) for kind in fitting]
    bound = 0.0
    for _ in range(MOST_ROUNDS):
        listed = list(patterns.values())
        matrix = np.array([[each.counts[place] for each in listed] for place in places], dtype=float)
        demand = np.array([kinds[place].count for place in places], dtype=float)
        solved = linprog([each.along_mm for each in listed], A_ub=-matrix, b_ub=-demand, method="highs")
        prices = np.zeros(len(kinds))
        prices[places] = np.maximum(0.0, -solved.ineqlin.marginals)
        best = [_worth_most(kinds, width_mm, along, prices) for along in strip_lengths(kinds, width_mm)]
        worth = max(value / pattern.along_mm for value, pattern in best)
        if worth > 0:
            bound = max(bound, float(prices[places] @ demand) / worth)
        new = [
            pattern for value, pattern in best
            if value > pattern.along_mm * (1 + 1e-9) and pattern.counts not in patterns
        ]  # fmt: skip
        if not new:
            break
        patterns |= {each.counts: each for each in new}
    # Prices of their areas too: strips that leave little over are good in whole numbers.
    areas = np.array([float(kind.width_mm * kind.height_mm) for kind in kinds])
    for along in strip_lengths(kinds, width_mm):
        left = [kind.count for kind in kinds]
        while True:
            _, pattern = _worth_most(kinds, width_mm, along, areas, left=left)
            if not any(pattern.counts):
                break
            patterns.setdefault(pattern.counts, pattern)
            left = [have - taken for have, taken in zip(left, pattern.counts, strict=True)]
    return list(patterns.values()), bound


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
