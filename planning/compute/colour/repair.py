"""A good answer of a crowded case, found by mending one conflict after another: no proof, but soon a choice at hand."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from inventory.compute.colour.lab import delta_e_00_matrix
from planning.compute.colour.case import Bools, Broken, ColourCase, Ints, count_broken

# Moves of a search, and how often it begins elsewhere; the same on every machine. Pairs beyond so many are left out,
# the dearest of each request first.
MOVES, STARTS, MOST_PAIRS = 8_000, 4, 2_400
# Of few pairs every move has soon been tried; whether a rule must break, the program then tells sooner.
MOVES_A_PAIR = 20
# For how many moves a request keeps away from the shade it left, and by how much that varies.
_AWAY, _VARIES = 3, 5


@dataclass(frozen=True)
class Pairs:
    """Pairs (request, shade) of a case, (p,), and what is wrong with each two of them together, (p, p).

    ``too_much`` are two that need more of one shade than it covers.
    """

    request: Ints
    shade: Ints
    alike: Bools
    out_of_order: Bools
    too_much: Bools

    @property
    def clash(self) -> Bools:
        return self.alike | self.out_of_order | self.too_much


def pairs_of(case: ColourCase, pairs: Bools) -> Pairs:
    """Return the ``pairs``, (m, n), with the rules that each two of them of different requests break together."""
    request, shade = np.nonzero(pairs)
    other = request[:, None] != request[None, :]
    used, place = np.unique(shade, return_inverse=True)
    differences = delta_e_00_matrix(case.shades[used], case.shades[used])[np.ix_(place, place)]
    # Both ways round, as the checker looks at two requests: the difference is symmetric but for rounding.
    alike = differences < case.least_apart[np.ix_(request, request)]
    L = case.shades[shade, 0]
    inverted = case.lighter[np.ix_(request, request)] & (L[:, None] <= L[None, :])
    takes = ~case.forced_short[request]
    needs_mm = case.needs_mm[request, shade]
    too_much = (shade[:, None] == shade[None, :]) & takes[:, None] & takes[None, :]
    too_much &= needs_mm[:, None] + needs_mm[None, :] > case.covers_mm[shade][:, None]
    return Pairs(request, shade, (alike | alike.T) & other, inverted | inverted.T, too_much & other)


def repaired(case: ColourCase, chosen: Ints, *, starts: Sequence[int] = (0,)) -> Ints:
    """Return a choice that breaks no more rules than ``chosen``; start 0 begins with it, each other one elsewhere.

    Each move gives a request that clashes the shade that clashes least. Where that gains nothing, the clashes that are
    there weigh more from then on (breakout: Morris, Proc. AAAI 1993), so that the search leaves every dead end. It ends
    where no rule is broken; the least difference is left to the program. Chance is not asked.
    """
    pairs = _few(case, chosen)
    table = pairs_of(case, pairs)
    best = chosen
    for start in starts:
        found = _mended(case, table, chosen if not start else _elsewhere(case, pairs, start))
        best = min(best, found, key=lambda each: (count_broken(case, each), case.total(each)))
        if count_broken(case, best) <= case.fewest:
            break
    return best


def _mended(case: ColourCase, table: Pairs, chosen: Ints) -> Ints:
    request, shade = table.request, table.shade
    clash = table.clash
    weights = clash.astype(np.float32)
    of = np.full(case.cost.shape, -1)
    of[request, shade] = np.arange(len(request))
    at = of[np.arange(len(chosen)), chosen]
    hurt = weights[at].sum(axis=0)
    cost = case.cost[request, shade]
    own = (0.01 / max(float(cost.sum()), 1e-12) * cost).astype(np.float32)
    tabu_until = np.zeros(len(request), dtype=int)
    best, best_at = count_broken(case, chosen), at.copy()
    lowest = np.inf
    for move in range(min(MOVES, MOVES_A_PAIR * len(request))):
        here = clash[np.ix_(at, at)]
        count = int(here.sum()) // 2
        if count <= lowest:
            lowest = count
            broken = _broken_at(case, table, at)
            if broken < best:
                best, best_at = broken, at.copy()
            if best <= case.fewest or not count:
                break
        now = at[request]
        change = hurt - hurt[now] + own - own[now]
        free = here.any(axis=1)[request] & (tabu_until <= move)
        free[at] = False
        if not free.any():
            continue
        pick = int(np.argmin(np.where(free, change, np.inf)))
        if change[pick] >= 0:
            for one, other in zip(*np.nonzero(np.triu(here)), strict=True):
                first, second = at[one], at[other]
                weights[first, second] += 1
                weights[second, first] += 1
                hurt[first] += 1
                hurt[second] += 1
        who, old = request[pick], at[request[pick]]
        hurt += weights[pick] - weights[old]
        at[who] = pick
        tabu_until[old] = move + _AWAY + move % _VARIES
    return np.asarray(shade[best_at])


def _broken_at(case: ColourCase, table: Pairs, at: Ints) -> Broken:
    """Return how many rules the pairs ``at``, (m,), break: ``count_broken`` of them, read off the table."""
    chosen, short = table.shade[at], 0
    for shade in np.unique(chosen):
        needs_mm = np.sort(case.needs_mm[chosen == shade, shade])
        short += int((np.cumsum(needs_mm) > case.covers_mm[shade]).sum())
    both = np.ix_(at, at)
    return Broken(short, int(table.alike[both].sum()) // 2, int(table.out_of_order[both].sum()) // 2)


def _elsewhere(case: ColourCase, pairs: Bools, start: int) -> Ints:
    """Return a choice to begin with that is scattered over the shades, another for each ``start``."""
    chosen = []
    for request, row in enumerate(pairs):
        nearest = np.flatnonzero(row)[np.argsort(case.cost[request, row], kind="stable")]
        chosen.append(nearest[(start * 7 + request * (2 * start + 3)) % len(nearest)])
    return np.array(chosen)


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
