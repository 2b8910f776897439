"""The least of a case in which no rule may break more than it must: a linear program over cliques, then whole numbers.

Pairs (request, shade) that no answer holds two of are a clique, and all of a clique together count one at most. Of the
cliques only those are written down that the linear program runs into. What a pair adds to its least tells which pairs
no better answer can hold (reduced-cost fixing; Dantzig, Fulkerson and Johnson, Operations Research 2, 1954).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from planning.compute.colour.case import Bools, ColourCase, Floats, Ints, count_broken
from planning.compute.colour.repair import STARTS, pairs_of, repaired
from planning.compute.colour.shaving import holdable
from planning.compute.search.linear import Rows, least_relaxed, least_whole
from planning.compute.search.proof import SecondsLeft, is_over

# Rounds of adding cliques; columns of the quick search; the most columns that are searched whole
# if an answer is at hand, and if none is.
ROUNDS, PROMISING, MOST_SEARCHED, MOST_IF_NONE = 100, 250, 400, 600
# Work of the relaxed program: pivots times rows.
RELAXED_WORK = 50_000_000
# The most pairs looked at; each two of them are compared.
MOST_PAIRS = 4_000
# A node of a program with many entries is more work than one with few.
WORK = 1_500_000
_SCALE = 100.0  # HiGHS stops within 1e-6 of the least; a mean difference is wanted to 1e-8


@dataclass(frozen=True)
class Unbroken:
    """What was found of the answers that break no rule they need not.

    ``chosen`` (m,) or None; none costs less than ``bound``; ``is_none`` where it is proven that there is none.
    """

    chosen: Ints | None
    bound: float
    is_none: bool = False


def unbroken(case: ColourCase, pairs: Bools, at_hand: Ints, *, seconds_left: SecondsLeft = None) -> Unbroken:
    """Return the least answer among ``pairs`` that breaks no rule, as far as counted work finds and proves it.

    Where ``at_hand`` breaks a rule and it is not proven that one must, it is mended from other starts first.
    """
    is_unbroken = count_broken(case, at_hand) == case.fewest
    if pairs.sum() > MOST_PAIRS:
        return Unbroken(at_hand if is_unbroken else None, -np.inf)
    program = _Program(case, pairs)
    relaxed = program.relaxed(seconds_left)
    if relaxed is None:
        return Unbroken(None, np.inf, is_none=True)
    bound, added = relaxed
    if not is_unbroken:
        at_hand = repaired(case, at_hand, starts=range(1, STARTS))
        is_unbroken = count_broken(case, at_hand) == case.fewest
    if not is_unbroken:
        # What no answer holds is left out, so that what is left can be searched whole; or nothing is left.
        held = holdable(program.exclude, program.request, requests=len(case.needs_mm))
        if not held.any():
            return Unbroken(None, np.inf, is_none=True)
        fewer = np.zeros_like(pairs)
        fewer[program.request[held], program.shade[held]] = True
        program = _Program(case, fewer)
        relaxed = program.relaxed(seconds_left)
        if relaxed is None:
            return Unbroken(None, np.inf, is_none=True)
        bound, added = relaxed
    best = at_hand if is_unbroken else None
    order = np.sort(added)
    for most in (min(PROMISING, len(order)), len(order)):
        gap = np.inf if best is None else case.total(best) - bound
        if best is not None and gap <= 1e-9:
            break
        limit = min(order[most - 1], gap + 1e-9)
        kept = np.flatnonzero(added <= limit)
        is_whole = limit >= gap or most == len(order)
        if is_whole and len(kept) > (MOST_IF_NONE if best is None else MOST_SEARCHED):
            break
        found, of_kept, is_none = program.whole(kept, seconds_left)
        if found is not None and (best is None or case.total(found) < case.total(best)):
            best = found
        if is_whole:
            if is_none and best is None:
                return Unbroken(None, np.inf, is_none=True)
            least = np.inf if is_none else of_kept
            bound = max(bound, min(least, np.inf if best is None else case.total(best)))
            break
    return Unbroken(best, bound)


class _Program:
    def __init__(self, case: ColourCase, pairs: Bools) -> None:
        table = pairs_of(case, pairs)
        self.case, self.request, self.shade = case, table.request, table.shade
        self.cost = case.cost[self.request, self.shade]
        other = self.request[:, None] != self.request[None, :]
        takes = ~case.forced_short[self.request]
        needs_mm = np.where(takes, case.needs_mm[self.request, self.shade], 0.0)
        self.clash = table.clash
        self.exclude = self.clash | ~other
        np.fill_diagonal(self.exclude, False)
        self.metres = self._metres(needs_mm)
        self.cliques: list[Ints] = []

    def _metres(self, needs_mm: Floats) -> list[tuple[Ints, Floats]]:
        """Return for each shade that does not cover all of its pairs these pairs, and the share that each takes."""
        return [
            (pairs, needs_mm[pairs] / max(self.case.covers_mm[shade], 1e-9))
            for shade in np.unique(self.shade)
            for pairs in [np.flatnonzero((self.shade == shade) & (needs_mm > 0))]
            if needs_mm[pairs].sum() > self.case.covers_mm[shade]
        ]

    def _rows(self, cliques: Sequence[Ints], kept: Ints) -> Rows:
        """Return what the pairs ``kept`` must keep: of each clique one, no more than there is, of each request one.

        The cliques are told by their places among what is kept.
        """
        place = np.full(len(self.shade), -1)
        place[kept] = np.arange(len(kept))
        rows = Rows()
        for clique in cliques:
            rows.add(clique, high=1.0)
        for pairs, shares in self.metres:
            there = place[pairs] >= 0
            rows.add(place[pairs[there]], shares[there], high=1.0)
        for request in range(len(self.case.needs_mm)):
            rows.add(np.flatnonzero(self.request[kept] == request), low=1.0, high=1.0)
        return rows

    def relaxed(self, seconds_left: SecondsLeft) -> tuple[float, Floats] | None:
        """Return the least with parts of pairs allowed and what each pair would add, or None: there is no answer."""
        work, bound, added = 0, -np.inf, np.zeros(len(self.shade))
        for _ in range(ROUNDS):
            rows = self._rows(self.cliques, np.arange(len(self.shade)))
            solved = least_relaxed(self.cost * _SCALE, rows, upper=1.0)
            if solved is None:
                return None
            bound, added = solved.cost / _SCALE, np.maximum(0.0, solved.added) / _SCALE
            work += solved.pivots * len(rows)
            new = self._run_into(solved.amounts)
            if not new or work > RELAXED_WORK or is_over(seconds_left):
                break
            # What does not hold the least up is in the way; it comes again if it is run into again.
            self.cliques = [each for each in self.cliques if solved.amounts[each].sum() > 1 - 1e-6] + new
        return bound, added

    def _run_into(self, x: Floats) -> list[Ints]:
        """Return cliques that ``x`` has more than one of, each grown as far as it goes."""
        found: dict[tuple[int, ...], Ints] = {}
        support = np.flatnonzero(x > 1e-7)
        for start in support[np.argsort(-x[support], kind="stable")].tolist():
            clique = self._grown([start], x)
            if x[clique].sum() > 1 + 1e-6:
                found.setdefault(tuple(sorted(clique)), np.array(sorted(clique)))
        return list(found.values())

    def _grown(self, clique: list[int], x: Floats) -> list[int]:
        fitting = self.exclude[clique].all(axis=0)
        weight = x - 1e-6 * self.cost / max(float(self.cost.max()), 1e-12)
        while fitting.any():
            at = int(np.argmax(np.where(fitting, weight, -np.inf)))
            clique.append(at)
            fitting &= self.exclude[at]
        return clique

    def whole(self, kept: Ints, seconds_left: SecondsLeft) -> tuple[Ints | None, float, bool]:
        """Return the least whole answer of the pairs ``kept`` or None, a bound, and if it is sure there is none."""
        place = np.full(len(self.shade), -1)
        place[kept] = np.arange(len(kept))
        known = [place[clique][place[clique] >= 0] for clique in self.cliques]
        cliques = _cover(self.clash[np.ix_(kept, kept)], self.exclude[np.ix_(kept, kept)], known)
        rows = self._rows(cliques, kept)
        solved = least_whole(
            self.cost[kept] * _SCALE,
            rows,
            nodes=WORK // max(1, rows.entries - len(kept)) // 20,
            seconds_left=seconds_left,
        )
        bound = solved.bound / _SCALE
        if solved.amounts is None:
            return None, bound, solved.is_none
        picked = kept[solved.amounts > 0.5]
        chosen = np.zeros(len(self.case.needs_mm), dtype=int)
        chosen[self.request[picked]] = self.shade[picked]
        return chosen, bound, False


def _cover(clash: Bools, exclude: Bools, known: list[Ints]) -> list[Ints]:
    """Return ``known`` cliques and as many more as it takes that each two that clash are in one together."""
    left = clash.copy()
    cliques = [each for each in known if len(each) > 1]
    for each in cliques:
        left[np.ix_(each, each)] = False
    open_ends = left.sum(axis=1)
    while open_ends.any():
        at = int(np.argmax(open_ends))
        clique, fitting, gain = [at], exclude[at].copy(), left[at].astype(int)
        while fitting.any():
            at = int(np.argmax(np.where(fitting, gain, -1)))
            clique.append(at)
            fitting &= exclude[at]
            gain = gain + left[at]
        members = np.array(clique)
        left[np.ix_(members, members)] = False
        open_ends = left.sum(axis=1)
        cliques.append(members)
    return cliques
