"""Net need over time: what open jobs will take, less what is free and what is on order, plus safety stock."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from inventory.compute.errors import WorkshopError, require_not_negative
from inventory.compute.spoken import N_, _
from planning.compute.buying.in_time import order_by
from planning.compute.certainty.enough import Factor, missing_mm, p_enough


@dataclass(frozen=True)
class DatedNeed:
    """What one job takes: a lognormal with this median; ``spread`` is the sigma of its logarithm.

    ``day`` is the one by which it must be there (``material_day``), None where the job has none: it is stitched after
    all that have.
    """

    day: date | None
    median: float
    spread: float = 0.0


@dataclass(frozen=True)
class Receipt:
    """What is on order and expected on ``day``."""

    day: date
    quantity: float


@dataclass(frozen=True)
class Net:
    """How a material stands over time.

    ``missing`` is what must be bought so that every need is met at the wanted certainty and ``safety`` stays;
    ``run_out`` the first day by which the stock is not surely enough for the jobs, and ``p_enough`` how sure it is
    then (of the last need, where it never runs out); ``order_by`` the last day to order, None where nothing is
    missing. Either day may have passed. Both are None where only jobs without a day run out; where only the safety
    stock lacks, it is to be ordered today. A stock may run out with nothing missing: what is on order comes after that
    day, and so would all that is bought now.
    """

    gross: float
    free: float
    on_order: float
    safety: float
    missing: float
    run_out: date | None
    p_enough: float
    order_by: date | None


def net_requirements(
    gross: Sequence[float], *, on_hand: float, receipts: Sequence[float] = (), safety: float = 0.0
) -> list[float]:
    """Return what each period lacks, stock and receipts being used up from the first period on.

    Nahmias, *Production and Operations Analysis*, the net requirements of the first period on:

    >>> net_requirements([77, 42, 38, 21, 26], on_hand=23, receipts=[12, 0, 6, 9])
    [42.0, 42.0, 32.0, 12.0, 26.0]
    """
    if len(receipts) > len(gross):
        raise WorkshopError(
            _("There are receipts for more periods than needs; give as many needs, 0 if none.")
        )
    for quantity in [*gross, *receipts, on_hand, safety]:
        require_not_negative(quantity, what=N_("quantity"))
    left = on_hand - safety
    net = []
    for period, wanted in enumerate(gross):
        left += receipts[period] if period < len(receipts) else 0.0
        lacking = max(0.0, wanted - left)
        left += lacking - wanted
        net.append(float(lacking))
    return net


def spread_of(*, median: float, sigma: float) -> float:
    """Return the sigma of the logarithm of a lognormal with this median and standard deviation.

    With x = exp(spread²) the variance is median² · x · (x − 1).

    >>> spread_of(median=1000.0, sigma=0.0)
    0.0
    >>> round(spread_of(median=1000.0, sigma=100.753), 4)  # as certainty.need(1000, sigma 0.1) has it
    0.1
    """
    if median <= 0:
        return 0.0
    ratio = (sigma / median) ** 2
    return math.sqrt(math.log((1 + math.sqrt(1 + 4 * ratio)) / 2))


def net_over_time(
    needs: Sequence[DatedNeed],
    *,
    free: float,
    free_sigma: float = 0.0,
    receipts: Sequence[Receipt] = (),
    safety: float = 0.0,
    certainty: float = 0.95,
    today: date,
    lead_time_days: int = 0,
) -> Net:
    """Return how a material stands against all ``needs`` together, in the order of their days.

    Jobs share what is not known of the thread's use: their spreads add up, none of them cancels. What is on order
    counts for a job from the day it is expected, and for one that even a purchase of ``today`` reaches too late, if
    it comes no later than that would (``counted``): buying once more brings nothing sooner. The safety stock is there
    for what nobody foresaw, so that all that is on order counts for it (the inventory position of the textbooks,
    on hand and on order; Nahmias, *Production and Operations Analysis*, from memory). ``missing`` is the most that
    ever lacks.

    >>> day = date(2026, 3, 9)
    >>> net = net_over_time([DatedNeed(day, 900.0)], free=400.0, today=date(2026, 3, 2), lead_time_days=5)
    >>> net.missing, net.run_out == day, net.order_by
    (500.0, True, datetime.date(2026, 3, 4))
    """
    dated = {need.day for need in needs if need.day is not None}
    days: list[date | None] = [*sorted(dated | {today}), None]
    missing, last = 0.0, (0.0, Factor(0.0, 0.0, 0.0), free)
    run_out: date | None = None
    lacks_for_jobs = buy_for_jobs = False
    for day in days:
        due = [need for need in needs if day is None or (need.day is not None and need.day <= day)]
        median = sum(need.median for need in due)
        factor = Factor(0.0, _common_spread(due), 0.0)
        there = free + counted(receipts, day=day, soonest=today)
        in_time = free + counted(receipts, day=day, soonest=today + timedelta(days=lead_time_days))
        lacking = _lacking(median, factor, in_time, free_sigma, certainty)
        buy_for_jobs = buy_for_jobs or lacking > 0
        missing = max(missing, lacking)
        if not lacks_for_jobs:
            last = median, factor, there
            if _lacking(median, factor, there, free_sigma, certainty):
                lacks_for_jobs, run_out = True, day
        if day is None:
            missing = max(missing, _lacking(median, factor, in_time - safety, free_sigma, certainty))
    median, factor, there = last
    p = p_enough(median, factor, free_mm=there, free_sigma_mm=free_sigma)
    by = order_by(run_out, lead_time_days=lead_time_days) if run_out and missing else None
    if missing and not buy_for_jobs:
        by = today
    return Net(
        gross=sum(need.median for need in needs),
        free=free,
        on_order=sum(each.quantity for each in receipts),
        safety=safety,
        missing=missing,
        run_out=run_out,
        p_enough=p,
        order_by=by,
    )


def counted(receipts: Sequence[Receipt], *, day: date | None, soonest: date) -> float:
    """Return what of ``receipts`` counts for a need on ``day``: what has come by then, or by ``soonest`` if later.

    What is overdue counts as if it came today. None is a need without a day, for which everything counts.

    >>> coming = [Receipt(date(2026, 3, 4), 600.0)]
    >>> counted(coming, day=date(2026, 3, 3), soonest=date(2026, 3, 2))
    0.0
    >>> counted(coming, day=date(2026, 3, 3), soonest=date(2026, 3, 5))  # nothing bought today comes before
    600.0
    """
    return sum(
        (each.quantity for each in receipts if day is None or each.day <= max(day, soonest)), start=0.0
    )


def _lacking(median: float, factor: Factor, free: float, free_sigma: float, certainty: float) -> float:
    if median <= 0:
        return max(0.0, -free)
    if factor.predictive_sigma == 0 and free_sigma == 0:
        return max(0.0, median - free)
    return missing_mm(median, factor, free_mm=free, free_sigma_mm=free_sigma, certainty=certainty)


def _common_spread(needs: Sequence[DatedNeed]) -> float:
    median = sum(need.median for need in needs)
    return sum(need.median * need.spread for need in needs) / median if median else 0.0
