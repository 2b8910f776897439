"""Programs of which the least is known: textbooks' by hand, and small ones against every answer there is."""

from itertools import product

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, linprog, milp

from planning.compute.search.linear import Rows, least_relaxed, least_whole


def diet() -> Rows:
    """Two foods, two nutrients: 2x + y >= 8 and x + 2y >= 10, at 3 and 4 a unit; the corner is (2, 4)."""
    rows = Rows()
    rows.add([0, 1], [2.0, 1.0], low=8.0)
    rows.add([0, 1], [1.0, 2.0], low=10.0)
    return rows


def test_a_corner_its_cost_and_its_prices_by_hand() -> None:
    found = least_relaxed([3.0, 4.0], diet())
    assert found is not None
    assert found.amounts == pytest.approx([2.0, 4.0])
    assert found.cost == pytest.approx(22.0)
    # 2p + q = 3 and p + 2q = 4, and what the rows ask for is worth the cost: 8p + 10q = 22.
    assert found.prices == pytest.approx([2 / 3, 5 / 3])
    assert found.added == pytest.approx([0.0, 0.0])


def test_what_one_more_of_a_column_would_add() -> None:
    rows = Rows()
    rows.add([0, 1], low=4.0)
    found = least_relaxed([1.0, 3.0], rows)
    assert found is not None
    assert found.added == pytest.approx([0.0, 2.0])


def test_whole_numbers_cost_more_than_parts() -> None:
    rows = Rows()
    rows.add([0, 1], [2.0, 2.0], low=3.0)
    whole, parts = least_whole([1.0, 1.0], rows, upper=5, nodes=100), least_relaxed([1.0, 1.0], rows)
    assert parts is not None
    assert parts.cost == pytest.approx(1.5)
    assert whole.amounts is not None
    assert whole.amounts.sum() == pytest.approx(2.0)
    assert whole.bound == pytest.approx(2.0)
    assert whole.is_searched


def test_of_columns_that_need_not_be_whole_parts_count() -> None:
    rows = Rows()
    rows.add([0, 1], low=1.5)
    found = least_whole([3.0, 1.0], rows, upper=1.0, whole=[True, False], nodes=100)
    assert found.amounts == pytest.approx([1.0, 0.5])


def test_where_nothing_keeps_the_rows() -> None:
    rows = Rows()
    rows.add([0, 1], low=3.0)
    found = least_whole([1.0, 1.0], rows, nodes=100)
    assert found.is_none
    assert found.amounts is None
    assert least_relaxed([1.0, 1.0], rows, upper=1.0) is None


def test_with_no_time_left_nothing_is_begun() -> None:
    found = least_whole([1.0, 1.0], diet(), upper=9, nodes=100, seconds_left=lambda: 0.0)
    assert (found.amounts, found.bound, found.is_none, found.is_searched) == (None, -np.inf, False, False)


def test_without_columns_there_is_nothing_to_pay() -> None:
    found = least_whole([], Rows(), nodes=1)
    assert found.amounts is not None
    assert len(found.amounts) == 0
    assert found.is_searched


def test_numbers_that_make_no_program_are_refused() -> None:
    twice, unknown = Rows(), Rows()
    twice.add([0, 0], low=1.0)
    unknown.add([0], [np.nan], low=1.0)
    for rows in (twice, unknown):
        with pytest.raises(RuntimeError):
            least_relaxed([1.0], rows)


def test_how_large_a_program_is() -> None:
    assert (len(diet()), diet().entries) == (2, 4)


@pytest.mark.parametrize("seed", range(25))
def test_small_programs_against_every_answer_and_another_library(seed: int) -> None:
    rng = np.random.default_rng(seed)
    costs = rng.integers(1, 20, 5).astype(float)
    matrix = rng.integers(-2, 6, (3, 5)).astype(float)
    low, high = rng.integers(0, 9, 3).astype(float), rng.integers(9, 24, 3).astype(float)
    rows = Rows()
    for factors, least, most in zip(matrix, low, high, strict=True):
        kept = np.flatnonzero(factors)
        rows.add(kept, factors[kept], low=least, high=most)
    every = np.array(list(product(range(3), repeat=5)), dtype=float)
    kept = every[((every @ matrix.T >= low) & (every @ matrix.T <= high)).all(axis=1)]
    found = least_whole(costs, rows, upper=2, nodes=1_000)
    theirs = milp(
        costs, constraints=LinearConstraint(matrix, low, high), integrality=np.ones(5), bounds=Bounds(0, 2)
    )
    assert found.is_searched
    assert found.is_none == (len(kept) == 0) == (theirs.status == 2)
    if len(kept):
        assert found.amounts is not None
        assert costs @ found.amounts == pytest.approx((kept @ costs).min())
        assert found.bound == pytest.approx(theirs.fun)
    relaxed = least_relaxed(costs, rows, upper=2)
    in_parts = linprog(
        costs, A_ub=np.vstack([-matrix, matrix]), b_ub=np.concatenate([-low, high]), bounds=(0, 2)
    )
    assert (relaxed is None) == (in_parts.x is None)
    if relaxed is not None:
        assert relaxed.cost == pytest.approx(in_parts.fun)
        # A better price for a column at its least would not be one: none of them is below nothing.
        assert (relaxed.added >= -1e-9).all()
