"""Jobs laid in their days: none overlaps another at its machine, none is done on a weekend, each takes its time."""

from collections import defaultdict
from datetime import date, timedelta
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planning.compute.hooping.calendar import (
    LaidWork,
    WorkToLay,
    first_working_day,
    free_from,
    lay_out,
    working_day,
)
from planning.compute.hooping.timing import start_by
from planning.compute.picture.calendar import MOST_DAYS, day_columns, draw_calendar

FRIDAY = date(2026, 11, 27)
days = st.dates(date(2026, 1, 1), date(2028, 12, 31))
works = st.lists(
    st.builds(
        WorkToLay,
        job=st.integers(),
        machine=st.sampled_from(["six", "one", None]),
        minutes=st.none() | st.integers(0, 3_000).map(float) | st.floats(0, 3_000),
        due=st.none() | days,
    ),
    max_size=14,
)
hours = st.sampled_from([60.0, 360.0, 450.0, 1440.0])


def by_machine(laid: tuple[LaidWork, ...]) -> dict[object, list[LaidWork]]:
    found = defaultdict(list)
    for each in laid:
        found[each.machine].append(each)
    return found


@given(works, days, hours)
@settings(max_examples=60)
def test_work_never_overlaps_keeps_its_turn_and_takes_its_minutes(
    wanted: list[WorkToLay], today: date, a_day: float
) -> None:
    laid = lay_out(wanted, today=today, working_minutes_a_day=a_day)
    assert [(each.job, each.machine, each.due) for each in laid] == [
        (each.job, each.machine, each.due) for each in wanted
    ]
    for each, work in zip(laid, wanted, strict=True):
        takes = a_day if work.minutes is None else work.minutes
        assert each.to_min - each.from_min == pytest.approx(takes)
        assert each.is_guessed == (work.minutes is None)
        assert today <= each.begins <= each.ends
        assert max(each.begins.weekday(), each.ends.weekday()) < 5
        assert each.is_late == (work.due is not None and each.ends > work.due)
    for row in by_machine(laid).values():
        assert row[0].from_min == 0
        for before, after in pairwise(row):
            assert before.to_min == after.from_min
            assert before.ends <= after.ends


@given(days, st.integers(1, 5_000), hours)
@settings(max_examples=60)
def test_work_that_begins_on_its_last_day_is_just_in_time(today: date, minutes: int, a_day: float) -> None:
    """What ``start_by`` calls the last day to start on is the last from which it is laid in time."""
    (alone,) = lay_out([WorkToLay(1, "m", float(minutes))], today=today, working_minutes_a_day=a_day)
    last = start_by(alone.ends, minutes=minutes, working_minutes_a_day=a_day)
    assert last == alone.begins
    (one,) = lay_out(
        [WorkToLay(1, "m", float(minutes), due=alone.ends)], today=last, working_minutes_a_day=a_day
    )
    assert not one.is_late
    tomorrow = last + timedelta(days=1)
    (late,) = lay_out(
        [WorkToLay(1, "m", float(minutes), due=alone.ends)], today=tomorrow, working_minutes_a_day=a_day
    )
    assert late.is_late


def test_a_weekend_is_stepped_over_and_today_may_be_one() -> None:
    assert first_working_day(FRIDAY) == FRIDAY
    for days_later in (1, 2):
        assert first_working_day(FRIDAY + timedelta(days=days_later)) == date(2026, 11, 30)
    assert [working_day(FRIDAY, number) for number in (0, 1, 5, 6)] == [
        FRIDAY, date(2026, 11, 30), date(2026, 12, 4), date(2026, 12, 7),
    ]  # fmt: skip


def test_a_machine_is_free_again_where_its_last_work_ends() -> None:
    laid = lay_out(
        [WorkToLay(1, "six", 360.0), WorkToLay(2, "six", 100.0), WorkToLay(3, "one", 720.0)],
        today=FRIDAY,
        working_minutes_a_day=360.0,
    )
    assert free_from(laid, today=FRIDAY, working_minutes_a_day=360.0) == {
        "six": date(2026, 11, 30),
        "one": date(2026, 12, 1),
    }


@given(works, days, hours)
@settings(max_examples=60)
def test_each_lane_is_full_and_nothing_is_drawn_twice_or_lost(
    wanted: list[WorkToLay], today: date, a_day: float
) -> None:
    laid = lay_out(wanted, today=today, working_minutes_a_day=a_day)
    machines = ["six", "one", None]
    drawn = draw_calendar(laid, machines=machines, today=today, working_minutes_a_day=a_day, most_blocks=40)
    assert sum(column.units for column in drawn.columns) == drawn.units
    assert sum(column.kind == "day" for column in drawn.columns) <= MOST_DAYS
    assert sum(column.is_today for column in drawn.columns) == 1
    for row in drawn.machines:
        for lane in (*row.lanes, *row.flag_lanes):
            assert sum(cell.units for cell in lane) == drawn.units
        in_lanes = [cell.block.work for lane in row.lanes for cell in lane if cell.block]
        assert sorted(map(id, in_lanes)) == sorted(id(each.work) for each in row.blocks)
        assert len(row.blocks) + row.later == sum(each.machine == row.machine for each in laid)
        for block in row.blocks:
            left, width = float(block.left[:-1]), float(block.width[:-1])
            assert left >= 0
            assert left + width <= 100.02


def test_what_is_late_stands_before_today_and_weekends_are_narrow() -> None:
    laid = lay_out(
        [WorkToLay(1, "six", 90.0, due=date(2026, 11, 20))], today=FRIDAY, working_minutes_a_day=360.0
    )
    columns = day_columns(laid, today=FRIDAY)
    assert [each.kind for each in columns[:4]] == ["late", "day", "weekend", "day"]
    assert columns[1].is_today
    assert columns[2].units < columns[1].units
    drawn = draw_calendar(laid, machines=["six"], today=FRIDAY, working_minutes_a_day=360.0, most_blocks=9)
    assert drawn.machines[0].flags[0].middle == drawn.share(columns[0].units / 2)
    assert day_columns((), today=FRIDAY + timedelta(days=1))[0].is_today
