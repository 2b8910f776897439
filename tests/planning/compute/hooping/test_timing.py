"""Machine minutes and hands-on minutes."""

import math
from dataclasses import replace
from datetime import date

import pytest

from inventory.compute.errors import WorkshopError
from planning.compute.hooping.timing import MachineTimes, hands_on_minutes, machine_minutes, start_by


def test_the_published_design_takes_about_thirteen_minutes_at_the_machine():
    # 7,500 stitches, 6 colours, 800 a minute set: about 13 minutes. ASI, "Is it time to buy a multi-head
    # machine?", 2017. Six colours are five changes.
    times = MachineTimes(stitches_per_minute=800)
    assert machine_minutes(times, stitches=7500, thread_changes=5) == pytest.approx(13, rel=0.15)
    assert machine_minutes(times, stitches=7500, thread_changes=5, trims=6) == pytest.approx(13, rel=0.15)


def test_stitches_run_at_the_effective_not_the_set_speed():
    times = MachineTimes(stitches_per_minute=1000, efficiency=0.5)
    assert machine_minutes(times, stitches=2000) == 4.0


def test_each_interruption_adds_its_own_time():
    times = MachineTimes(trim_s=6, stop_s=30, thread_change_s=12)
    nothing = machine_minutes(times, stitches=0)
    assert nothing == 0.0
    assert machine_minutes(times, stitches=0, trims=10) == 1.0
    assert machine_minutes(times, stitches=0, stops=2) == 1.0
    assert machine_minutes(times, stitches=0, thread_changes=5) == 1.0


def test_hands_on_time_is_hooping_threading_and_bobbins():
    times = MachineTimes(hooping_s=300, rethread_s=60, bobbin_change_s=30)
    assert hands_on_minutes(times, hoopings=0) == 0.0
    assert hands_on_minutes(times, hoopings=3) == 15.0
    assert hands_on_minutes(times, hoopings=0, rethreads=4) == 4.0
    assert hands_on_minutes(times, hoopings=0, bobbin_changes=6) == 3.0


def test_slow_hands_do_not_slow_the_machine_nor_a_slow_machine_the_hands():
    times = MachineTimes()
    slow_hands = replace(times, rethread_s=600, hooping_s=6000, bobbin_change_s=600)
    slow_machine = replace(times, stitches_per_minute=100, trim_s=60, thread_change_s=60, stop_s=60)
    work = {"stitches": 5000, "trims": 10, "stops": 1, "thread_changes": 4}
    assert machine_minutes(slow_hands, **work) == machine_minutes(times, **work)
    assert hands_on_minutes(slow_machine, hoopings=3, rethreads=5) == hands_on_minutes(
        times, hoopings=3, rethreads=5
    )


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("stitches_per_minute", 0),
        ("stitches_per_minute", -600),
        ("efficiency", 0),
        ("efficiency", 1.2),
        ("trim_s", -1),
        ("hooping_s", math.nan),
        ("needles", 0),
    ],
)
def test_a_machine_that_cannot_be_is_refused(name, value):
    with pytest.raises(WorkshopError, match=str(value)):
        replace(MachineTimes(), **{name: value})


def test_negative_counts_are_refused():
    with pytest.raises(WorkshopError, match="thread changes"):
        machine_minutes(MachineTimes(), stitches=10, thread_changes=-1)
    with pytest.raises(WorkshopError, match="hoopings"):
        hands_on_minutes(MachineTimes(), hoopings=-1)


@pytest.mark.parametrize(
    ("minutes", "day"),
    [(0, 20), (1, 20), (360, 20), (361, 19), (5 * 360, 16), (5 * 360 + 1, 13), (10 * 360, 9)],
)
def test_work_starts_so_many_working_days_before_it_is_due(minutes, day):
    """Due on Friday, 20 March 2026; Saturday the 14th and Sunday the 15th are no working days."""
    start = start_by(date(2026, 3, 20), minutes=minutes, working_minutes_a_day=360)
    assert start == date(2026, 3, day)


def test_work_due_on_a_sunday_is_done_on_the_friday():
    assert start_by(date(2026, 3, 22), minutes=10, working_minutes_a_day=360) == date(2026, 3, 20)


def test_a_day_without_working_time_is_refused():
    with pytest.raises(WorkshopError, match="working day of 0"):
        start_by(date(2026, 3, 20), minutes=10, working_minutes_a_day=0)
