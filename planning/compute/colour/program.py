"""The choice of shades as a mixed-integer program, solved by HiGHS."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from inventory.compute.colour.lab import delta_e_00_matrix, delta_e_00_of_pairs, lower_bound_00
from planning.compute.colour.case import Bools, ColourCase, Floats, Ints
from planning.compute.search.linear import Rows, least_whole
from planning.compute.search.proof import SecondsLeft, is_over

# Work of one solve; the same question has the same answer on any machine. A node of a program with many entries is
# more work than one with few.
NODES, WORK = 1_000, 300_000
# Differences of so many shades are worked out all from all; of more, only of those that are held against each other.
MOST_AT_ONCE = 400
_SCALE = 100.0  # HiGHS stops within 1e-6 of the least; a mean difference is wanted to 1e-8


@dataclass(frozen=True)
class Columns:
    """The pairs (request, shade) that an answer may use, each (c,).

    A ``short`` pair takes no metres and counts as a request that is short; one that is not ``ruled`` stands for
    nothing and is asked nothing else.
    """

    request: Ints
    shade: Ints
    cost: Floats
    short: Bools
    ruled: Bools


@dataclass(frozen=True)
class Caps:
    """The most that may be broken of each rule; None: as much as need be."""

    short: int | None = 0
    alike: int | None = 0
    out_of_order: int | None = 0


@dataclass(frozen=True)
class Solved:
    """``columns`` is None where there is no answer, or none was found with the work. ``bound`` is proven."""

    columns: Ints | None
    objective: float
    bound: float
    is_proven: bool
    nodes: int


_NOTHING_BEGUN = Solved(None, np.inf, -np.inf, is_proven=False, nodes=0)


def solve(
    case: ColourCase,
    columns: Columns,
    *,
    least: str = "cost",
    caps: Caps,
    nodes: int = NODES,
    most_entries: float = np.inf,
    seconds_left: SecondsLeft = None,
) -> Solved:
    """Return the columns, one a request, for which ``least`` (a field of ``Caps``, or "cost") is least.

    Nothing is begun with no work or no time left, nor a program of over ``most_entries``.
    """
    if nodes < 1 or is_over(seconds_left):
        return _NOTHING_BEGUN
    rows, broken, width = _rules(case, columns, caps)
    return _solved(
        rows, columns, broken, width, least, nodes=nodes, most_entries=most_entries, seconds_left=seconds_left
    )


def buying_ever_more(
    case: ColourCase,
    columns: Columns,
    *,
    caps: Caps,
    to_buy: Bools,
    most: int,
    seconds_left: SecondsLeft = None,
) -> Iterator[Solved]:
    """Yield the columns of the least cost with at most one of the shades ``to_buy``, (n,), bought, then two, …

    They count only if bought. The rules are written down once for all numbers.
    """
    if is_over(seconds_left):
        return
    rows, broken, width = _rules(case, columns, caps)
    before, width = width, _add_purchases(rows, columns, to_buy, 1, width)
    for bought in range(1, most + 1):
        if width > before:
            rows.high[-1] = float(bought)
        yield _solved(rows, columns, broken, width, "cost", seconds_left=seconds_left)


def _rules(case: ColourCase, columns: Columns, caps: Caps) -> tuple[Rows, dict[str, NDArray], int]:
    """Return the rows of what a choice must keep, the columns of what breaks each rule, and their number."""
    rows, width = Rows(), len(columns.request)
    for request in range(len(case.needs_mm)):
        rows.add(np.flatnonzero(columns.request == request), 1.0, low=1.0, high=1.0)
    _add_metres(rows, case, columns)
    broken: dict[str, NDArray] = {"short": np.flatnonzero(columns.short)}
    for rule in ("alike", "out_of_order"):
        soft = getattr(caps, rule) != 0
        before = width
        width = _add_pairs(rows, case, columns, rule=rule, soft=soft, width=width)
        broken[rule] = np.arange(before, width)
    if caps.alike == 0:
        _add_same_shade(rows, case, columns)
    for rule, which in broken.items():
        cap = getattr(caps, rule)
        if cap is not None and len(which) > cap:
            rows.add(which, 1.0, high=float(cap))
    return rows, broken, width


def _solved(
    rows: Rows,
    columns: Columns,
    broken: dict[str, NDArray],
    width: int,
    least: str,
    *,
    nodes: int = NODES,
    most_entries: float = np.inf,
    seconds_left: SecondsLeft,
) -> Solved:
    objective = np.zeros(width)
    if least == "cost":
        objective[: len(columns.cost)] = columns.cost * _SCALE
    else:
        objective[broken[least]] = 1.0
    if rows.entries > most_entries:
        return _NOTHING_BEGUN
    found = least_whole(
        objective, rows, nodes=min(nodes, WORK // max(1, rows.entries)), seconds_left=seconds_left
    )
    scale = _SCALE if least == "cost" else 1.0
    if found.amounts is None:
        return Solved(None, np.inf, -np.inf, is_proven=found.is_none, nodes=found.nodes)
    picked = np.flatnonzero(found.amounts[: len(columns.request)] > 0.5)
    value = float(objective @ found.amounts)
    if least == "cost":
        value = float(objective[picked].sum())
    return Solved(
        columns=picked[np.argsort(columns.request[picked])],
        objective=value / scale,
        bound=found.bound / scale,
        is_proven=found.is_searched,
        nodes=found.nodes,
    )


def _add_metres(rows: Rows, case: ColourCase, columns: Columns) -> None:
    taking = np.flatnonzero(~columns.short & columns.ruled)
    for shade in np.unique(columns.shade[taking]):
        which = taking[columns.shade[taking] == shade]
        needs_mm, covers_mm = case.needs_mm[columns.request[which], shade], case.covers_mm[shade]
        if len(which) > 1 and needs_mm.sum() > covers_mm:
            rows.add(which, needs_mm / covers_mm, high=1.0)
            for place, one in enumerate(which):
                # Two that are too much together: exact, where the row above is true to HiGHS' tolerance.
                too_much = which[place + 1 :][needs_mm[place] + needs_mm[place + 1 :] > covers_mm]
                for other in too_much:
                    rows.add(np.array([one, other]), 1.0, high=1.0)


def _add_pairs(rows: Rows, case: ColourCase, columns: Columns, *, rule: str, soft: bool, width: int) -> int:
    """Add the rule of two requests; where it is ``soft``, a column for each two that may break it."""
    of = [
        np.flatnonzero((columns.request == request) & columns.ruled) for request in range(len(case.needs_mm))
    ]
    L, apart = case.shades[:, 0], _apart(case, columns) if rule == "alike" else None
    wanted = np.triu(case.least_apart, 1) > 0 if rule == "alike" else case.lighter
    for one, other in zip(*np.nonzero(wanted), strict=True):
        ours, theirs = columns.shade[of[one]], columns.shade[of[other]]
        if not (len(ours) and len(theirs)):
            continue
        if apart is not None:
            clash = apart(ours, theirs) < case.least_apart[one, other]
        else:
            clash = L[ours][:, None] <= L[theirs][None, :]
        if not clash.any():
            continue
        extra = np.array([width]) if soft else np.array([], dtype=int)
        width += len(extra)
        # All of ours that clash with every one of some of theirs exclude these together: far tighter than two
        # by two, and complete, as each of our rows is its own pattern.
        for pattern in np.unique(clash[clash.any(axis=1)], axis=0):
            together = clash[:, pattern].all(axis=1)
            which = np.concatenate([of[one][together], of[other][pattern], extra])
            values = np.ones(len(which))
            values[len(which) - len(extra) :] = -1.0
            rows.add(which, values, high=1.0)
    return width


def _apart(case: ColourCase, columns: Columns) -> Callable[[Ints, Ints], Floats]:
    """Return what tells CIEDE2000 of some shades of the columns, (m,), from others, (k,): (m, k).

    Of those that lie farther apart than is ever asked for it tells no more than that.
    """
    used = np.unique(columns.shade)
    if len(used) > MOST_AT_ONCE:
        return lambda some, others: delta_e_00_matrix(case.shades[some], case.shades[others])
    labs, at = case.shades[used], np.zeros(len(case.shades), dtype=np.intp)
    at[used] = np.arange(len(used))
    may_clash = np.triu(lower_bound_00(labs[:, None], labs[None]) <= case.least_apart.max(initial=0.0) + 1e-6)
    one, other = np.nonzero(may_clash)
    every = np.full((len(used), len(used)), np.inf)
    every[one, other] = every[other, one] = delta_e_00_of_pairs(labs[one], labs[other])
    return lambda some, others: every[np.ix_(at[some], at[others])]


def _add_same_shade(rows: Rows, case: ColourCase, columns: Columns) -> None:
    """At most one of the requests that must all stay apart has a shade: implied two by two, but tighter."""
    ruled = np.flatnonzero(columns.ruled)
    for shade in np.unique(columns.shade[ruled]):
        which = ruled[columns.shade[ruled] == shade]
        requests = np.unique(columns.request[which])
        if len(requests) > 2 and (case.least_apart[np.ix_(requests, requests)] > 0).sum() == len(requests) * (
            len(requests) - 1
        ):
            rows.add(which, 1.0, high=1.0)


def _add_purchases(rows: Rows, columns: Columns, to_buy: Bools, most_bought: int, width: int) -> int:
    sold = np.unique(columns.shade[to_buy[columns.shade] & columns.ruled])
    for place, shade in enumerate(sold):
        for column in np.flatnonzero((columns.shade == shade) & columns.ruled):
            rows.add(np.array([column, width + place]), np.array([1.0, -1.0]), high=0.0)
    if len(sold):
        rows.add(np.arange(width, width + len(sold)), 1.0, high=float(most_bought))
    return width + len(sold)
