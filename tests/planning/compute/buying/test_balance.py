"""A balance goes down by what is booked and what is usual, and the day it no longer covers is named."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.compute.errors import NotPositive
from planning.compute.buying.balance import HORIZON_DAYS, Booking, project

TODAY = date(2026, 3, 2)


def days(number):
    return TODAY + timedelta(days=number)


def test_netting_a_table_of_gross_needs_gives_the_published_net_ones():
    """Gross requirements, stock and receipts of Nahmias, Production and Operations Analysis (from memory;
    the arithmetic is checked): 23 on hand, receipts 12, 0, 6, 9; what is lacking is received each week."""
    gross = [77, 42, 38, 21, 26, 112, 45, 14, 76, 38]
    receipts = [12, 0, 6, 9, 0, 0, 0, 0, 0, 0]
    net = [42, 42, 32, 12, 26, 112, 45, 14, 76, 38]
    needs = [Booking(each, days(7 * week)) for week, each in enumerate(gross)]
    known = [Booking(each, days(7 * week)) for week, each in enumerate(receipts)]
    ordered = []
    for week in range(len(gross)):
        short = project(23, today=TODAY, needs=needs, arriving=[*known, *ordered])
        assert short.run_out_on == days(7 * week)
        ordered.append(Booking(short.lacking, short.run_out_on))
    assert [each.quantity for each in ordered] == net
    assert project(23, today=TODAY, needs=needs, arriving=[*known, *ordered]).run_out_on is None


def test_use_alone_runs_out_when_the_stock_divided_by_it_says():
    """30 a week out of 100 lasts 23 1/3 days: the 24th day, number 23 from today, is not covered."""
    assert project(100, today=TODAY, per_week=30).run_out_on == days(23)


def test_a_booked_job_within_what_is_usual_changes_nothing_at_the_week_s_end():
    usual = project(1_000, today=TODAY, per_week=70)
    booked = project(1_000, today=TODAY, per_week=70, needs=[Booking(50, days(3))])
    assert [step.balance for step in booked.steps[6::7]] == pytest.approx(
        [step.balance for step in usual.steps[6::7]]
    )


def test_a_booked_job_beyond_what_is_usual_takes_its_place():
    ends = project(1_000, today=TODAY, per_week=70, needs=[Booking(200, days(3), "caps")])
    assert ends.steps[6].balance == pytest.approx(800)
    assert ends.steps[3].what == ("caps",)


def test_what_nobody_gave_a_day_and_what_is_overdue_is_wanted_today():
    ends = project(10, today=TODAY, needs=[Booking(6, None), Booking(6, days(-9))], lead_time_days=5)
    assert (ends.run_out_on, ends.order_by, ends.lacking) == (TODAY, days(-5), 2)


def test_an_unknown_lead_time_gives_no_day_to_order():
    assert project(0, today=TODAY, needs=[Booking(1, days(8))]).order_by is None


def test_what_outlasts_the_horizon_has_no_day():
    ends = project(1, today=TODAY)
    assert (ends.run_out_on, ends.order_by, ends.lacking, len(ends.steps)) == (
        None,
        None,
        0,
        HORIZON_DAYS + 1,
    )


def test_less_than_nothing_is_refused():
    for wrong in ({"free": -1}, {"per_week": -1}, {"lead_time_days": -1}, {"needs": [Booking(-1)]}):
        with pytest.raises(NotPositive):
            project(**({"free": 1, "today": TODAY} | wrong))


quantities = st.integers(0, 5_000)
dated = st.lists(st.builds(Booking, quantities, st.integers(-5, 200).map(days)), max_size=8)


@given(quantities, dated, st.integers(0, 900), dated)
def test_a_day_takes_no_more_than_it_says_and_more_stock_never_runs_out_sooner(
    free, needs, per_week, arriving
):
    known = {"today": TODAY, "needs": needs, "per_week": per_week, "arriving": arriving}
    ends = project(free, **known)
    came = {step.on: 0.0 for step in ends.steps}
    for each in arriving:
        on = max(each.on, TODAY)
        if on in came:
            came[on] += each.quantity
    before = free
    for step in ends.steps:
        assert step.balance == pytest.approx(before + came[step.on] - step.booked - step.usual)
        before = step.balance
    for week in range(0, len(ends.steps) - 6, 7):
        own = ends.steps[week : week + 7]
        gone = sum(step.booked + step.usual for step in own)
        assert gone == pytest.approx(max(per_week, sum(step.booked for step in own)))
    more = project(free + 100, **known)
    assert more.run_out_on is None or more.run_out_on >= ends.run_out_on
