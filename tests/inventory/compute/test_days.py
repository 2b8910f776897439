"""Days as people write them: every spelling of one day is that day, and what is two days is asked about."""

from datetime import date, timedelta

import pytest
from django.core.management import CommandError, call_command

from inventory.compute.errors import WorkshopError
from inventory.compute.typed.days import read_day

SATURDAY = date(2026, 11, 28)


@pytest.mark.parametrize("days", range(0, 800, 7))
def test_a_day_is_read_back_however_it_is_written(days):
    day = SATURDAY + timedelta(days=days)
    for written in (
        f"{day:%Y-%m-%d}",
        f"{day:%d.%m.%Y}",
        f"{day.day}. {day.month}. {day.year}",
        f"{day:%d %b %Y}",
        f"{day:%-d. %B %Y}",
        f"{day:%b %-d, %Y}",
        f" {day:%B %d}th {day.year}",
    ):
        assert read_day(written) == day, written


@pytest.mark.parametrize("days", range(0, 365, 5))
def test_a_day_without_a_year_is_the_next_such_day(days):
    day = SATURDAY + timedelta(days=days)
    assert read_day(f"{day:%-d %b}", today=SATURDAY) == day
    assert read_day(f"{day:%d.%m.}", today=SATURDAY) == day


def test_a_weekday_is_the_next_one_and_never_today():
    for ahead, name in enumerate(
        ("sunday", "mon", "Tues", "Wednesday", "thu", "next friday", "saturday"), start=1
    ):
        assert read_day(name, today=SATURDAY) == SATURDAY + timedelta(days=ahead)


@pytest.mark.parametrize(
    ("written", "says"),
    [
        ("3/2/2026", "could be 2026-02-03 or 2026-03-02"),
        ("30 Feb 2026", "no such day"),
        ("4 Dec", "Say the year"),
        ("tomorrow", "is not a day"),
        ("4 Wednesday 2026", "is not a day"),
        ("soon", "is not a day"),
        ("4 Dec 26", "is not a day"),
        ("1 Jan 1066", "cannot be right"),
    ],
)
def test_what_is_no_one_day_is_said_so(written, says):
    with pytest.raises(WorkshopError, match=says):
        read_day(written)


def test_a_command_says_what_is_wrong_with_a_day():
    with pytest.raises(CommandError, match="could be 2026-12-04 or 2026-04-12"):
        call_command("repeat_job", "3", "--by", "4/12/2026")
