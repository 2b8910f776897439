"""A good answer of a crowded case, found by mending one conflict after another: no proof, but soon a choice at hand."""

from dataclasses import dataclass

import numpy as np

from inventory.compute.colour import delta_e_00_matrix
from planning.compute.colour.case import Bools, ColourCase, Floats, Ints, count_broken

# Moves of the search; the same on every machine. Pairs beyond so many are left out, the dearest of each request first.
MOVES, MOST_PAIRS = 8_000, 2_400
# What it weighs that a request lacks metres: more than all else.
_SHORT = 10_000.0


@dataclass(frozen=True)
class Pairs:
    """Pairs (request, shade) of a case, (p,), and what is wrong with each two of them together."""

    request: Ints
    shade: Ints
    alike: Bools
    out_of_order: Bools


def pairs_of(case: ColourCase, pairs: Bools) -> Pairs:
    """Return the ``pairs``, (m, n), with the rules of two that each two of them break together, both (p, p)."""
    request, shade = np.nonzero(pairs)
    floors = case.least_apart[np.ix_(request, request)]
    used, place = np.unique(shade, return_inverse=True)
    differences = delta_e_00_matrix(case.shades[used], case.shades[used])[np.ix_(place, place)]
    # Both ways round, as the checker looks at two requests: the difference is symmetric but for rounding.
    alike = (differences < floors) | (differences.T < floors.T)
    L = case.shades[shade, 0]
    lighter = case.lighter[np.ix_(request, request)]
    inverted = lighter & (L[:, None] <= L[None, :])
    return Pairs(request, shade, alike, inverted | inverted.T)


def repaired(case: ColourCase, chosen: Ints, *, moves: int = MOVES) -> Ints:
    """Return a choice that breaks no more rules than ``chosen`` and costs no more where it breaks as many.

    Tabu search: each move gives the request that gains most another shade, even if all lose, and keeps it from its
    old shade for a while (Glover, ORSA Journal on Computing 1, 1989). It ends where no rule is broken; the least
    difference is left to the program. Chance is not asked.
    """
    pairs = _few(case, chosen)
    table = pairs_of(case, pairs)
    cost = case.cost[table.request, table.shade]
    weights = 100.0 * table.alike + table.out_of_order
    return _searched(case, table, pairs, weights, 0.01 / max(float(cost.sum()), 1e-12) * cost, chosen, moves)


def _searched(
    case: ColourCase, table: Pairs, pairs: Bools, weights: Floats, own: Floats, chosen: Ints, moves: int
) -> Ints:
    request, shade = table.request, table.shade
    of = np.full(pairs.shape, -1)
    of[request, shade] = np.arange(len(request))
    at = of[np.arange(len(chosen)), chosen]
    hurt = weights[at].sum(axis=0)
    needs_mm = case.needs_mm[request]
    load_mm = np.bincount(shade[at], weights=case.needs_mm, minlength=len(case.covers_mm))
    tabu_until = np.zeros(len(request), dtype=int)
    best, best_at = (count_broken(case, chosen), case.total(chosen)), at.copy()
    may_share = (case.least_apart == 0).sum() > len(chosen)
    value = lowest = _value(hurt, own, at)
    for move in range(moves):
        now = at[request]
        change = hurt - hurt[now] + own - own[now]
        if may_share:
            # What a shade would have to give beside; the last one in is the one that is short.
            over = (load_mm[shade] + needs_mm > case.covers_mm[shade]) & (load_mm[shade] > 0)
            over_now = (load_mm[shade[now]] > case.covers_mm[shade[now]]) & (load_mm[shade[now]] > needs_mm)
            change = change + _SHORT * (over.astype(float) - over_now)
        # While two of them clash, only those move that do: the others would wander off for their own good.
        clashing = hurt[at] > 0
        free = clashing[request] if clashing.any() and move % 5 else np.ones(len(request), dtype=bool)
        free &= (tabu_until <= move) | (value + change < lowest - 1e-12)
        free[at] = False
        if not free.any():
            continue
        pick = int(np.argmin(np.where(free, change, np.inf)))
        who, old = request[pick], at[request[pick]]
        hurt += weights[pick] - weights[old]
        load_mm[shade[old]] -= case.needs_mm[who]
        load_mm[shade[pick]] += case.needs_mm[who]
        at[who] = pick
        tabu_until[old] = move + 4 + int(clashing.sum()) + (move * 7) % 11
        value = value + float(change[pick]) if may_share else _value(hurt, own, at)
        if value < lowest - 1e-12:
            lowest = value
            found = (count_broken(case, shade[at]), case.total(shade[at]))
            if found < best:
                best, best_at = found, at.copy()
            if best[0] <= case.fewest:
                break
    return np.asarray(shade[best_at])


def _value(hurt: np.ndarray, own: np.ndarray, at: Ints) -> float:
    return float(hurt[at].sum() / 2 + own[at].sum())


def _few(case: ColourCase, chosen: Ints) -> Bools:
    """Return the pairs to search among: all that are allowed, or of too many the nearest of each request."""
    pairs = case.allowed.copy()
    most = max(1, MOST_PAIRS // len(chosen))
    if pairs.sum() > MOST_PAIRS:
        cost = np.where(pairs, case.cost, np.inf)
        rank = np.argsort(np.argsort(cost, axis=1), axis=1)
        pairs &= rank < most
    pairs[np.arange(len(chosen)), chosen] = True
    return pairs
