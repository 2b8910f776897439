"""When to order a material again: demand in the lead time at a service level."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from inventory.compute.demand import WeeklyDemand, weekly_demand
from inventory.compute.errors import WorkshopError, require_not_negative
from inventory.compute.later import later
from inventory.compute.lead_time_use import ShelfUse, mover_use, slow_use
from inventory.compute.spoken import N_, _, plainly

if TYPE_CHECKING:
    from scipy.special import ndtri
else:
    ndtri = later("scipy.special", "ndtri")

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
    # What it rests on: the mean of the last weeks, their trend, a short history, slow uses, or none.
    rests_on: str = "none"


def safety_stock(*, sd: float, service_level: float) -> float:
    """Return z(service level) × the standard deviation of demand in the lead time.

    Stevenson, *Operations Management*, example 8: demand in the lead time N(50, 5), 3 % risk (z rounded to 1.88):

    >>> round(safety_stock(sd=5, service_level=0.97), 2), round(50 + safety_stock(sd=5, service_level=0.97), 2)
    (9.4, 59.4)
    """
    require_not_negative(sd, what=N_("standard deviation"))
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
    for value, what in ((lead_time, N_("lead time")), (lead_time_sd, N_("spread of the lead time"))):
        require_not_negative(value, what=what)
    return mean * lead_time, math.sqrt(lead_time * sd**2 + mean**2 * lead_time_sd**2)


def reorder_point(
    history: Sequence[float],
    *,
    lead_time_weeks: float,
    lead_time_sd_weeks: float = 0.0,
    service_level: float = SERVICE_LEVEL,
    review_weeks: float = REVIEW_WEEKS,
    shelf: ShelfUse | None = None,
) -> ReorderPoint:
    """Return when to order what was used as ``history`` tells, week by week, oldest first.

    It covers the lead time and the week until somebody looks. A mover's demand in that time is forecast by the mean of
    13 weeks, or by a damped trend where that did better, and spread as forecasts of just such a time were really off;
    where few weeks are known, by them and by what the ``shelf`` tells of others; a slow mover's by how often and how
    much was used.

    >>> steady = reorder_point([10, 12, 8, 10] * 13, lead_time_weeks=1)
    >>> steady.demand.method, steady.rests_on, 20 < steady.point < 27
    ('normal', 'mean', True)
    """
    _check_service(service_level)
    for value, what in (
        (lead_time_weeks, N_("lead time")),
        (lead_time_sd_weeks, N_("spread of the lead time")),
    ):
        require_not_negative(value, what=what)
    demand = weekly_demand(history)
    weeks = lead_time_weeks + review_weeks
    if demand.method == "none":
        return ReorderPoint(0.0, 0.0, demand, service_level)
    if demand.is_slow:
        found = slow_use(history, weeks=weeks + lead_time_sd_weeks, level=service_level)
    else:
        found = mover_use(
            history, weeks=weeks, weeks_sd=lead_time_sd_weeks, level=service_level, shelf=shelf or ShelfUse()
        )
    return ReorderPoint(
        found.point, max(0.0, found.point - found.mean), demand, service_level, found.rests_on
    )


def _check_service(level: float) -> None:
    if not 0.5 <= level < 1:
        raise WorkshopError(
            _("A service level of {level} is not possible; give one such as 0.95 (95 of 100).").format(
                level=plainly(level)
            )
        )
