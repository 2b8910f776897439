"""When to order a material again: demand in the lead time at a service level."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import gammaincinv, ndtri

from inventory.compute.demand import WINDOW_WEEKS, WeeklyDemand, weekly_demand
from inventory.compute.errors import WorkshopError, require_not_negative

# Stock is looked over once a week, so that an order may be a week late in being noticed.
REVIEW_WEEKS = 1.0
SERVICE_LEVEL = 0.95


@dataclass(frozen=True)
class ReorderPoint:
    """Order when what is free and on order falls to ``point``; ``safety`` of it is against the unexpected."""

    point: float
    safety: float
    demand: WeeklyDemand
    service_level: float


def safety_stock(*, sd: float, service_level: float) -> float:
    """Return z(service level) × the standard deviation of demand in the lead time.

    Stevenson, *Operations Management*, example 8: demand in the lead time N(50, 5), 3 % risk (z rounded to 1.88):

    >>> round(safety_stock(sd=5, service_level=0.97), 2), round(50 + safety_stock(sd=5, service_level=0.97), 2)
    (9.4, 59.4)
    """
    require_not_negative(sd, what="standard deviation")
    _check_service(service_level)
    return max(0.0, float(ndtri(service_level))) * sd


def lead_time_demand(
    *, mean: float, sd: float, lead_time: float, lead_time_sd: float = 0.0
) -> tuple[float, float]:
    """Return mean and standard deviation of the demand in a lead time, both in the unit of time of ``mean``.

    The periods are independent; the spread of the lead time itself adds mean² · sd².

    >>> lead_time_demand(mean=30, sd=5, lead_time=10)
    (300, 15.811388300841896)
    """
    for value, what in ((lead_time, "lead time"), (lead_time_sd, "spread of the lead time")):
        require_not_negative(value, what=what)
    return mean * lead_time, math.sqrt(lead_time * sd**2 + mean**2 * lead_time_sd**2)


def reorder_point(
    history: Sequence[float],
    *,
    lead_time_weeks: float,
    lead_time_sd_weeks: float = 0.0,
    service_level: float = SERVICE_LEVEL,
    review_weeks: float = REVIEW_WEEKS,
) -> ReorderPoint:
    """Return when to order what was used as ``history`` tells, week by week, oldest first.

    It covers the lead time and the week until somebody looks. A mover's demand in that time is normal, with the
    spread by which the last 26 forecasts of just such a time were really off, so that a season counts in; a slow
    mover's is a gamma distribution with the mean and spread of so many weeks.

    >>> steady = reorder_point([10, 12, 8, 10] * 13, lead_time_weeks=1)
    >>> steady.demand.method, 20 < steady.point < 26
    ('normal', True)
    """
    _check_service(service_level)
    demand = weekly_demand(history)
    weeks = lead_time_weeks + review_weeks
    mean, sd = lead_time_demand(
        mean=demand.mean, sd=demand.sd, lead_time=weeks, lead_time_sd=lead_time_sd_weeks
    )
    if demand.method == "none":
        return ReorderPoint(0.0, 0.0, demand, service_level)
    if demand.is_slow:
        point = _gamma_quantile(service_level, mean=mean, sd=sd)
        return ReorderPoint(point, max(0.0, point - mean), demand, service_level)
    seen = _forecast_error(history, weeks=math.ceil(weeks))
    if seen is not None:
        sd = math.hypot(seen, demand.mean * lead_time_sd_weeks)
    safety = safety_stock(sd=sd, service_level=service_level)
    return ReorderPoint(mean + safety, safety, demand, service_level)


def _forecast_error(history: Sequence[float], *, weeks: int) -> float | None:
    """Return by how much forecasts from the window's mean were off over ``weeks`` weeks, or None if too few."""
    used = np.asarray(history[-(WINDOW_WEEKS + weeks + 26) :], dtype=float)
    forecasts = len(used) - WINDOW_WEEKS - weeks + 1
    if forecasts < WINDOW_WEEKS:
        return None
    total = np.concatenate([[0.0], np.cumsum(used)])
    at = np.arange(forecasts) + WINDOW_WEEKS
    forecast = (total[at] - total[at - WINDOW_WEEKS]) / WINDOW_WEEKS * weeks
    came = total[at + weeks] - total[at]
    return float(np.sqrt(np.mean((came - forecast) ** 2)))


def _gamma_quantile(share: float, *, mean: float, sd: float) -> float:
    if sd <= 0 or mean <= 0:
        return mean
    shape = (mean / sd) ** 2
    return float(gammaincinv(shape, share)) * sd**2 / mean


def _check_service(level: float) -> None:
    if not 0.5 <= level < 1:
        raise WorkshopError(
            f"A service level of {level:g} is not possible; give one such as 0.95 (95 of 100)."
        )
