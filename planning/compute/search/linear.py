"""Linear programs, in whole numbers or not, asked of HiGHS: one door for every sum that chooses the least of many ways.

HiGHS is asked through its own package; scipy.optimize has it too, and costs 35 MB and half a second beside it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planning.compute.search.proof import SecondsLeft

if TYPE_CHECKING:
    from highspy import Highs

Floats = NDArray[np.float64]
_BY_ROW, _LEAST = (
    2,
    1,
)  # HiGHS' numbers for a matrix that is given row by row, and for the least that is sought


@dataclass
class Rows:
    """Sums over columns that a program must keep between two bounds, written one after another."""

    columns: list[NDArray] = field(default_factory=list)
    factors: list[NDArray] = field(default_factory=list)
    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)

    def __len__(self) -> int:
        return len(self.low)

    @property
    def entries(self) -> int:
        """How many factors there are in all rows."""
        return sum(map(len, self.columns))

    def add(
        self, columns: ArrayLike, factors: ArrayLike = 1.0, *, low: float = -np.inf, high: float = np.inf
    ) -> None:
        """Add low <= Σ factor · column <= high; a column stands in a row once, one factor may serve them all."""
        where = np.asarray(columns, dtype=np.int32)
        self.columns.append(where)
        self.factors.append(np.broadcast_to(np.asarray(factors, dtype=np.float64), where.shape))
        self.low.append(float(low))
        self.high.append(float(high))

    def add_terms(
        self, terms: Sequence[tuple[int, float]], *, low: float = -np.inf, high: float = np.inf
    ) -> None:
        """Add a row that is written as (column, factor)."""
        self.add([column for column, _ in terms], [factor for _, factor in terms], low=low, high=high)


@dataclass(frozen=True)
class Whole:
    """What was found of a program in whole numbers.

    ``amounts`` (n,) or None where none were found; no answer costs less than ``bound``. ``is_searched`` where all was
    looked at, and ``is_none`` where that shows that there is no answer; ``nodes`` is the work that it took.
    """

    amounts: Floats | None
    bound: float
    is_searched: bool
    is_none: bool
    nodes: int


@dataclass(frozen=True)
class Relaxed:
    """The least of a program in which parts of columns count: amounts (n,) and what they cost together.

    ``added`` (n,) is what one more of a column that lies at its least would add, 0 for the others; ``prices`` (m,)
    are what one more in each row would cost, and ``pivots`` the work that it took.
    """

    amounts: Floats
    cost: float
    added: Floats
    prices: Floats
    pivots: int


def least_whole(
    costs: ArrayLike,
    rows: Rows,
    *,
    upper: ArrayLike = 1.0,
    whole: Sequence[bool] | None = None,
    nodes: int,
    gap: float = 0.0,
    seconds_left: SecondsLeft = None,
) -> Whole:
    """Return whole amounts from 0 to ``upper``, (n,) or one for all, of the least cost that so many nodes find.

    ``whole`` (n,) tells which columns are whole, all unless it is given. The search ends within the share ``gap`` of
    the least, and with no time left nothing is begun.
    """
    limits: dict[str, float] = {"mip_max_nodes": max(1, nodes), "mip_rel_gap": gap}
    if seconds_left is not None:
        limits["time_limit"] = seconds_left()
        if limits["time_limit"] <= 0:
            return Whole(None, -np.inf, is_searched=False, is_none=False, nodes=0)
    solver = _solver(**limits)
    is_whole = np.ones(np.size(costs), np.int32) if whole is None else np.asarray(whole, np.int32)
    state = _run(solver, costs, rows, upper, is_whole)
    told = solver.getInfo()
    is_none = state in ("kInfeasible", "kUnboundedOrInfeasible")
    is_searched = is_none or state in ("kOptimal", "kModelEmpty")
    if is_none or not np.isfinite(told.objective_function_value):
        bound = np.inf if is_none else float(told.mip_dual_bound)
        return Whole(None, bound, is_searched, is_none, nodes=max(1, told.mip_node_count))
    amounts = np.array(solver.getSolution().col_value) + 0.0  # of -0 it makes 0
    bound = float(told.mip_dual_bound if is_whole.any() else told.objective_function_value)
    return Whole(amounts, bound, is_searched, is_none, nodes=max(1, told.mip_node_count))


def least_relaxed(costs: ArrayLike, rows: Rows, *, upper: ArrayLike = np.inf) -> Relaxed | None:
    """Return the least with amounts from 0 to ``upper``, (n,) or one for all, or None where no amounts keep the rows.

    Raises RuntimeError where there is no least, or the numbers are such that none is found.
    """
    from highspy import HighsBasisStatus

    solver = _solver()
    state = _run(solver, costs, rows, upper, np.zeros(np.size(costs), np.int32))
    if state in ("kInfeasible", "kUnboundedOrInfeasible"):
        return None
    if state not in ("kOptimal", "kModelEmpty"):
        raise RuntimeError(f"the linear program ended as {state}")
    found, told = solver.getSolution(), solver.getInfo()
    at_least = np.array(
        [each == HighsBasisStatus.kLower for each in solver.getBasis().col_status], dtype=bool
    )
    return Relaxed(
        np.array(found.col_value),
        float(told.objective_function_value),
        np.where(at_least, np.array(found.col_dual), 0.0),
        np.array(found.row_dual),
        pivots=int(told.simplex_iteration_count),
    )


def _solver(**options: Any) -> "Highs":
    """Return a solver that says nothing and works on one core, so that its answer rests on the question alone."""
    from highspy import Highs, HighsStatus

    # Highs' own beginning listens to the solver in Python, which makes it slow, and it greets on the command line.
    solver = Highs.__new__(Highs)
    super(Highs, solver).__init__()
    for name, value in {"output_flag": False, "threads": 1, **options}.items():
        if solver.setOptionValue(name, value) == HighsStatus.kError:
            raise RuntimeError(f"HiGHS takes no {name} of {value}")
    return solver


def _run(solver: "Highs", costs: ArrayLike, rows: Rows, upper: ArrayLike, is_whole: NDArray) -> str:
    from highspy import HighsStatus

    cost = np.asarray(costs, dtype=np.float64)
    taken = solver.passModel(
        len(cost), len(rows), rows.entries, _BY_ROW, _LEAST, 0.0,
        cost, np.zeros(len(cost)), np.broadcast_to(np.asarray(upper, np.float64), cost.shape).copy(),
        np.array(rows.low, dtype=np.float64), np.array(rows.high, dtype=np.float64),
        np.cumsum([0, *map(len, rows.columns)], dtype=np.int32),
        np.concatenate([np.zeros(0, np.int32), *rows.columns]),
        np.concatenate([np.zeros(0), *rows.factors]),
        is_whole,
    )  # fmt: skip
    if taken == HighsStatus.kError or solver.run() == HighsStatus.kError:
        raise RuntimeError("HiGHS takes no such program: a number is none, or a column stands in a row twice")
    return str(solver.getModelStatus().name)
