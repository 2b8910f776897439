"""Reorder points against published values, and against three simulated years of weeks."""

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.compute.demand import croston, sba, tsb, weekly_demand
from inventory.compute.errors import WorkshopError
from inventory.compute.lead_time_use import slow_use
from inventory.compute.reordering import lead_time_demand, reorder_point, safety_stock

# Hyndman and Athanasopoulos, Forecasting: principles and practice, 2nd edition, section 12.2, product C.
PRODUCT_C = [0, 2, 0, 1, 0, 11, 0, 0, 0, 0, 2, 0, 6, 3, 0, 0, 0, 0, 0, 7, 0, 0, 0, 0, 0, 0, 0, 3, 1, 0, 0, 1, 0, 1,
             0, 0]  # fmt: skip


def test_stevensons_construction_material_keeps_the_published_safety_stock():
    """Stevenson, Operations Management, example 8: N(50, 5) in the lead time, 3 % risk: 9.40 and 59.40."""
    safety = safety_stock(sd=5, service_level=0.97)
    assert safety == pytest.approx(9.40, abs=0.005)
    assert 50 + safety == pytest.approx(59.40, abs=0.005)


def test_taylors_carpet_is_reordered_at_the_published_point():
    """Taylor, Introduction to Management Science: 30 a day, sd 5, 10 days, 95 %: 326.09 with z rounded to 1.65."""
    mean, sd = lead_time_demand(mean=30, sd=5, lead_time=10)
    assert mean + safety_stock(sd=sd, service_level=0.95) == pytest.approx(326.01, abs=0.005)
    assert mean + 1.65 * sd == pytest.approx(326.09, abs=0.005)


@pytest.mark.parametrize(
    ("rate", "published"),
    [(croston, 0.98460), (sba, 0.93537), (tsb, 0.80407)],
)
def test_slow_movers_rates_are_the_published_ones(rate: Callable[..., float], published: float):
    """Product C at alpha 0.1 (and beta 0.1); SBA and TSB agree between two implementations."""
    assert rate(PRODUCT_C, alpha=0.1) == pytest.approx(published, abs=5e-6)


def test_product_c_counts_as_a_slow_mover():
    demand = weekly_demand(PRODUCT_C)
    assert demand.method == "sba"
    assert demand.mean == pytest.approx(0.93537, abs=5e-6)


def test_what_goes_out_of_use_is_forgotten():
    still = weekly_demand([0, 4, 0, 0, 4, 0, 0, 4] + 2 * [0])
    silent = weekly_demand([0, 4, 0, 0, 4, 0, 0, 4] + 20 * [0])
    assert (still.method, silent.method) == ("sba", "tsb")
    assert silent.mean < still.mean / 3


def test_what_was_never_used_is_not_reordered():
    assert reorder_point([0.0] * 52, lead_time_weeks=2).point == 0.0


def test_an_uncertain_lead_time_asks_for_more_safety():
    history = [10, 14, 8, 12] * 20
    sure = reorder_point(history, lead_time_weeks=2)
    unsure = reorder_point(history, lead_time_weeks=2, lead_time_sd_weeks=1)
    assert unsure.safety > sure.safety
    assert unsure.demand == sure.demand


@pytest.mark.parametrize("level", [0.4, 1.0, 1.2])
def test_impossible_service_levels_are_refused(level: float):
    with pytest.raises(WorkshopError, match="service level"):
        reorder_point([1, 2, 3], lead_time_weeks=1, service_level=level)


@given(
    st.lists(st.floats(0, 1e6), min_size=1, max_size=80),
    st.floats(0, 12),
    st.floats(0.5, 0.98),
    st.floats(0.001, 0.019),
)
def test_more_service_never_means_less_stock(
    history: list[float], lead: float, level: float, more: float
) -> None:
    less = reorder_point(history, lead_time_weeks=lead, service_level=level)
    point = reorder_point(history, lead_time_weeks=lead, service_level=level + more)
    assert point.point >= less.point - 1e-9 * (1 + less.point)
    assert math.isfinite(point.point)


def test_uses_of_every_size_are_answered_with_a_number() -> None:
    history = [0.0] * 30 + [1e-300, 0.0, 1e6, 0.0, 1e-200]
    point = slow_use(history, weeks=3, level=0.95).point
    assert 0 <= point < 1e10


# Packs are small against a week's use, so that rounding up to them serves nobody.
HISTORY, WEEKS, SERIES, LEAD, PACK = 78, 156, 40, 1, 2.0
Series = Callable[[np.random.Generator], np.ndarray]


def _smooth(rng: np.random.Generator) -> np.ndarray:
    return np.maximum(0.0, rng.normal(100, 25, HISTORY + WEEKS))


def _seasonal(rng: np.random.Generator) -> np.ndarray:
    week = np.arange(HISTORY + WEEKS)
    return np.maximum(0.0, rng.normal(100 * (1 + 0.5 * np.sin(2 * np.pi * week / 52)), 20))


def _intermittent(rng: np.random.Generator) -> np.ndarray:
    used = rng.random(HISTORY + WEEKS) < 0.25
    return np.where(used, rng.gamma(4, 25, HISTORY + WEEKS), 0.0)


def _three_years(demand: np.ndarray, minimum: Callable[[int], float]) -> tuple[float, float]:
    """Return the share of weeks that nothing was short, and the mean stock at their ends."""
    coming, on_hand = [0.0] * LEAD, minimum(0) + PACK
    served, stock = 0, 0.0
    for week in range(WEEKS):
        lacking = minimum(week) - on_hand - sum(coming)
        coming.append(math.ceil(lacking / PACK) * PACK if lacking > 0 else 0.0)
        on_hand += coming.pop(0) - demand[HISTORY + week]
        served += on_hand >= 0
        stock += max(0.0, on_hand)
    return served / WEEKS, stock / WEEKS


def _by_reorder_point(series: list[np.ndarray], *, level: float) -> tuple[float, float]:
    def minimum_of(demand: np.ndarray) -> Callable[[int], float]:
        return lambda week: (
            reorder_point(demand[week : HISTORY + week], lead_time_weeks=LEAD, service_level=level).point
        )

    served, stock = zip(*(_three_years(each, minimum_of(each)) for each in series), strict=True)
    return float(np.mean(served)), float(np.mean(stock))


def _by_fixed_minimum(series: list[np.ndarray], *, service: float) -> tuple[float, float]:
    """Return service and stock of the one minimum for all weeks that serves as well, found with hindsight."""
    low, high = 0.0, 2000.0
    for _ in range(12):
        middle = (low + high) / 2
        served = np.mean([_three_years(each, lambda _week, m=middle: m)[0] for each in series])
        low, high = (low, middle) if served >= service else (middle, high)
    served, stock = zip(*(_three_years(each, lambda _week: high) for each in series), strict=True)
    return float(np.mean(served)), float(np.mean(stock))


@pytest.mark.parametrize("level", [pytest.param(0.90, marks=pytest.mark.thorough), 0.95])
@pytest.mark.parametrize(
    ("kind", "seed", "within"), [(_smooth, 7, 0.02), (_seasonal, 11, 0.02), (_intermittent, 13, None)]
)
def test_the_service_level_is_kept_over_three_years(
    kind: Series, seed: int, within: float | None, level: float
):
    """The share of weeks in which nothing was short; movers within two points, slow movers never 3 below."""
    rng = np.random.default_rng(seed)
    series = [kind(rng) for _ in range(SERIES)]
    service, stock = _by_reorder_point(series, level=level)
    fixed_service, fixed_stock = _by_fixed_minimum(series, service=service)
    print(
        f"\n{kind.__name__[1:]} at {level:.0%}: served {service:.1%} with a mean stock of {stock:.0f}; "
        f"one fixed minimum: {fixed_service:.1%} with {fixed_stock:.0f}"
    )
    assert service >= level - (0.03 if within is None else within)
    assert within is None or service <= level + within
    assert fixed_service >= service
