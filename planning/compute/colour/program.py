"""The choice of shades as a mixed-integer program, solved by HiGHS."""

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from inventory.compute.colour.lab import delta_e_00_matrix
from inventory.compute.later import later
from planning.compute.colour.case import Bools, ColourCase, Floats, Ints
from planning.compute.search.proof import SecondsLeft, limited

if TYPE_CHECKING:
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array
else:
    Bounds, LinearConstraint, milp = later("scipy.optimize", "Bounds", "LinearConstraint", "milp")
    csr_array = later("scipy.sparse", "csr_array")

# Work of one solve; the same question has the same answer on any machine. A node of a program with many entries is
# more work than one with few.
NODES, WORK = 1_000, 300_000
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


@dataclass
class _Rows:
    """Rows of a sparse matrix, grown one at a time, each with bounds."""

    row: list[NDArray] = field(default_factory=list)
    column: list[NDArray] = field(default_factory=list)
    value: list[NDArray] = field(default_factory=list)
    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)

    def add(self, columns: NDArray, values: NDArray | float, *, low: float = -np.inf, high: float) -> None:
        self.row.append(np.full(len(columns), len(self.low)))
        self.column.append(columns)
        self.value.append(np.broadcast_to(np.asarray(values, dtype=float), (len(columns),)))
        self.low.append(low)
        self.high.append(high)

    def constraint(self, width: int) -> LinearConstraint:
        entries = (np.concatenate(self.value), (np.concatenate(self.row), np.concatenate(self.column)))
        return LinearConstraint(csr_array(entries, shape=(len(self.low), width)), self.low, self.high)


def solve(
    case: ColourCase,
    columns: Columns,
    *,
    least: str = "cost",
    caps: Caps,
    nodes: int = NODES,
    most_entries: float = np.inf,
    seconds_left: SecondsLeft = None,
    to_buy: Bools | None = None,
    most_bought: int = 0,
) -> Solved:
    """Return the columns, one a request, for which ``least`` (a field of ``Caps``, or "cost") is least.

    ``to_buy`` (n,) marks shades that count only if bought, at most ``most_bought`` of them. Nothing is begun with no
    work or no time left, nor a program of over ``most_entries``.
    """
    options = limited({"node_limit": nodes, "mip_rel_gap": 0.0}, seconds_left)
    if options is None or nodes < 1:
        return Solved(None, np.inf, -np.inf, is_proven=False, nodes=0)
    rows, width = _Rows(), len(columns.request)
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
    if to_buy is not None:
        width = _add_purchases(rows, columns, to_buy, most_bought, width)
    objective = np.zeros(width)
    if least == "cost":
        objective[: len(columns.cost)] = columns.cost * _SCALE
    else:
        objective[broken[least]] = 1.0
    constraint = rows.constraint(width)
    if constraint.A.nnz > most_entries:
        return Solved(None, np.inf, -np.inf, is_proven=False, nodes=0)
    options["node_limit"] = max(1, min(nodes, WORK // max(1, constraint.A.nnz)))
    found = milp(
        objective,
        constraints=constraint,
        integrality=np.ones(width),
        bounds=Bounds(0, 1),
        options=options,
    )
    scale = _SCALE if least == "cost" else 1.0
    if found.x is None:
        return Solved(None, np.inf, -np.inf, is_proven=found.status == 2, nodes=found.mip_node_count or 1)
    picked = np.flatnonzero(found.x[: len(columns.request)] > 0.5)
    value = float(objective[: len(columns.request)][picked].sum()) if least == "cost" else float(found.fun)
    bound = found.mip_dual_bound
    return Solved(
        columns=picked[np.argsort(columns.request[picked])],
        objective=value / scale,
        bound=-np.inf if bound is None else bound / scale,
        is_proven=found.status == 0,
        nodes=found.mip_node_count or 1,
    )


def _add_metres(rows: _Rows, case: ColourCase, columns: Columns) -> None:
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


def _add_pairs(rows: _Rows, case: ColourCase, columns: Columns, *, rule: str, soft: bool, width: int) -> int:
    """Add the rule of two requests; where it is ``soft``, a column for each two that may break it."""
    of = [
        np.flatnonzero((columns.request == request) & columns.ruled) for request in range(len(case.needs_mm))
    ]
    L = case.shades[:, 0]
    wanted = np.triu(case.least_apart, 1) > 0 if rule == "alike" else case.lighter
    for one, other in zip(*np.nonzero(wanted), strict=True):
        ours, theirs = columns.shade[of[one]], columns.shade[of[other]]
        if not (len(ours) and len(theirs)):
            continue
        if rule == "alike":
            clash = delta_e_00_matrix(case.shades[ours], case.shades[theirs]) < case.least_apart[one, other]
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


def _add_same_shade(rows: _Rows, case: ColourCase, columns: Columns) -> None:
    """At most one of the requests that must all stay apart has a shade: implied two by two, but tighter."""
    ruled = np.flatnonzero(columns.ruled)
    for shade in np.unique(columns.shade[ruled]):
        which = ruled[columns.shade[ruled] == shade]
        requests = np.unique(columns.request[which])
        if len(requests) > 2 and (case.least_apart[np.ix_(requests, requests)] > 0).sum() == len(requests) * (
            len(requests) - 1
        ):
            rows.add(which, 1.0, high=1.0)


def _add_purchases(rows: _Rows, columns: Columns, to_buy: Bools, most_bought: int, width: int) -> int:
    sold = np.unique(columns.shade[to_buy[columns.shade] & columns.ruled])
    for place, shade in enumerate(sold):
        for column in np.flatnonzero((columns.shade == shade) & columns.ruled):
            rows.add(np.array([column, width + place]), np.array([1.0, -1.0]), high=0.0)
    if len(sold):
        rows.add(np.arange(width, width + len(sold)), 1.0, high=float(most_bought))
    return width + len(sold)
