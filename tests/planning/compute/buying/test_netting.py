"""Net need over time: the published row, and what must hold of any needs, receipts and days."""

from datetime import date, timedelta
from math import exp, expm1, sqrt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.compute.errors import WorkshopError
from planning.compute.buying.netting import DatedNeed, Receipt, net_over_time, net_requirements, spread_of
from planning.compute.certainty.enough import NEEDLE_PRIOR, missing_mm, need

TODAY = date(2026, 3, 2)
# Nahmias, Production and Operations Analysis (from memory; the arithmetic was checked).
GROSS = [77, 42, 38, 21, 26, 112, 45, 14, 76, 38]
NET = [42, 42, 32, 12, 26, 112, 45, 14, 76, 38]


def test_nets_are_the_published_ones():
    assert net_requirements(GROSS, on_hand=23, receipts=[12, 0, 6, 9]) == NET


def test_over_time_the_published_nets_add_up_to_what_is_missing():
    needs = [DatedNeed(TODAY + timedelta(weeks=week), gross) for week, gross in enumerate(GROSS)]
    receipts = [
        Receipt(TODAY + timedelta(weeks=week), coming) for week, coming in enumerate([12, 0, 6, 9]) if coming
    ]
    net = net_over_time(needs, free=23, receipts=receipts, today=TODAY)
    assert net.missing == sum(NET)
    assert (net.gross, net.on_order, net.run_out) == (sum(GROSS), 27, TODAY)


def test_one_job_lacks_what_its_own_plan_says():
    used = need(1000.0, NEEDLE_PRIOR)
    spread = spread_of(median=used.median_mm, sigma=used.sigma_mm)
    net = net_over_time(
        [DatedNeed(None, used.median_mm, spread)], free=600.0, free_sigma=25.0, certainty=0.95, today=TODAY
    )
    alone = missing_mm(1000.0, NEEDLE_PRIOR, free_mm=600.0, free_sigma_mm=25.0, certainty=0.95)
    assert net.missing == pytest.approx(alone, rel=1e-9)


def test_what_comes_after_the_day_does_not_help():
    day = TODAY + timedelta(days=4)
    late = Receipt(day + timedelta(days=1), 500)
    net = net_over_time([DatedNeed(day, 300)], free=100, receipts=[late], today=TODAY, lead_time_days=3)
    assert (net.missing, net.run_out, net.order_by) == (200, day, TODAY + timedelta(days=1))


def test_what_comes_too_late_is_not_bought_again_where_that_would_come_later_still():
    day = TODAY + timedelta(days=2)
    on_order = Receipt(day + timedelta(days=1), 500)
    net = net_over_time([DatedNeed(day, 300)], free=100, receipts=[on_order], today=TODAY, lead_time_days=5)
    assert (net.missing, net.run_out, net.order_by) == (0, day, None)


def test_a_staple_counts_what_is_on_order_before_it_asks_for_more():
    on_order = Receipt(TODAY + timedelta(days=6), 600)
    assert net_over_time([], free=463, safety=1000, receipts=[on_order], today=TODAY).missing == 0
    assert net_over_time([], free=300, safety=1000, receipts=[on_order], today=TODAY).missing == 100
    after_a_job = net_over_time(
        [DatedNeed(TODAY + timedelta(days=1), 200)], free=463, safety=300, receipts=[on_order], today=TODAY
    )
    assert (after_a_job.missing, after_a_job.run_out) == (0, None)


def test_safety_stock_is_bought_though_no_job_wants_it():
    net = net_over_time([], free=300, safety=500, today=TODAY)
    assert (net.missing, net.run_out, net.order_by) == (200, None, TODAY)


def test_what_is_enough_is_not_bought():
    net = net_over_time([DatedNeed(TODAY, 300)], free=300, today=TODAY)
    assert (net.missing, net.run_out, net.order_by, net.p_enough) == (0, None, None, 1.0)


def test_receipts_for_periods_without_needs_are_refused():
    with pytest.raises(WorkshopError, match="as many needs"):
        net_requirements([1], on_hand=0, receipts=[1, 2])


quantities = st.lists(st.integers(0, 60), min_size=1, max_size=6)


@settings(max_examples=500, deadline=None)
@given(quantities, st.integers(0, 80), quantities, st.integers(0, 20))
def test_both_ways_of_netting_agree(gross: list[int], free: int, coming: list[int], safety: int):
    """Period by period and cumulated, the sum that must be bought is one and the same."""
    coming = coming[: len(gross)]
    nets = net_requirements(gross, on_hand=free, receipts=coming, safety=safety)
    needs = [DatedNeed(TODAY + timedelta(weeks=week), each) for week, each in enumerate(gross)]
    receipts = [Receipt(TODAY + timedelta(weeks=week), each) for week, each in enumerate(coming)]
    over_time = net_over_time(needs, free=free, receipts=receipts, safety=safety, today=TODAY)
    exhaustive = next(
        bought
        for bought in range(1000)
        if all(
            free + bought + sum(coming[: week + 1]) >= sum(gross[: week + 1]) for week in range(len(gross))
        )
        and free + bought + sum(coming) - safety >= sum(gross)
    )
    assert over_time.missing == exhaustive
    # Period by period the safety stock is to be there all the time, so that nothing less is asked for.
    assert sum(nets) >= exhaustive
    assert safety or sum(nets) == exhaustive


@given(st.floats(1, 1e7), st.floats(0, 0.8))
def test_a_spread_is_found_again(median: float, spread: float):
    sigma = median * exp(spread**2 / 2) * sqrt(expm1(spread**2))
    assert spread_of(median=median, sigma=sigma) == pytest.approx(spread, abs=1e-7)
