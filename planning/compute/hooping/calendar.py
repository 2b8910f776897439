"""On which days jobs would be stitched, one after the other at each machine, in the turn in which they come."""

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from planning.compute.hooping.timing import SATURDAY

DAYS_A_WEEK, WORKING_DAYS_A_WEEK = 7, 5
# A piece of work that ends with the day does not reach into the next, whatever is lost in the last digits.
SLACK_MIN = 1e-6


@dataclass(frozen=True)
class WorkToLay:
    """Work for a machine: so many minutes of it and of the hands at it, None where nobody knows."""

    job: Hashable
    machine: Hashable
    minutes: float | None
    due: date | None = None


@dataclass(frozen=True)
class LaidWork:
    """Work in its days. Minutes are working minutes, counted from the beginning of the first working day."""

    job: Hashable
    machine: Hashable
    from_min: float
    to_min: float
    begins: date
    ends: date
    due: date | None
    is_guessed: bool  # no minutes are known, and it has one day

    @property
    def is_late(self) -> bool:
        """Whether it would end after its day."""
        return self.due is not None and self.ends > self.due


def lay_out(works: Sequence[WorkToLay], *, today: date, working_minutes_a_day: float) -> tuple[LaidWork, ...]:
    """Return when each work would be done: on each machine in this order, from ``today`` on, with no gap.

    Work at one machine never overlaps, for one person is at it; machines work side by side. Saturdays and Sundays
    are no working days, and today is a whole one. That is one turn of many, and nothing is said of a better one.

    >>> first, second = lay_out(
    ...     [WorkToLay("caps", "six", 540.0, due=date(2026, 3, 20)), WorkToLay("bags", "six", 360.0)],
    ...     today=date(2026, 3, 20), working_minutes_a_day=360.0)  # a Friday
    >>> str(first.begins), str(first.ends), first.is_late
    ('2026-03-20', '2026-03-23', True)
    >>> second.from_min, str(second.ends)
    (540.0, '2026-03-24')
    """
    first = first_working_day(today)
    free_at: dict[Hashable, float] = {}
    laid = []
    for work in works:
        begin = free_at.get(work.machine, 0.0)
        end = begin + (working_minutes_a_day if work.minutes is None else work.minutes)
        free_at[work.machine] = end
        begins = int((begin + SLACK_MIN) // working_minutes_a_day)
        ends = max(begins, math.ceil((end - SLACK_MIN) / working_minutes_a_day) - 1)
        laid.append(
            LaidWork(
                work.job,
                work.machine,
                begin,
                end,
                working_day(first, begins),
                working_day(first, ends),
                work.due,
                is_guessed=work.minutes is None,
            )
        )
    return tuple(laid)


def first_working_day(today: date) -> date:
    """Return ``today``, or the Monday after it where it is a Saturday or Sunday."""
    return today + timedelta(days=max(0, DAYS_A_WEEK - today.weekday()) if today.weekday() >= SATURDAY else 0)


def working_day(first: date, number: int) -> date:
    """Return the working day so many (from 0) after ``first``, which is one itself.

    >>> working_day(date(2026, 3, 19), 2)  # two after a Thursday
    datetime.date(2026, 3, 23)
    """
    weeks, beyond = divmod(first.weekday() + number, WORKING_DAYS_A_WEEK)
    return first + timedelta(days=weeks * DAYS_A_WEEK + beyond - first.weekday())


def free_from(laid: Sequence[LaidWork], *, today: date, working_minutes_a_day: float) -> dict[Hashable, date]:
    """Return for each machine that has work the working day on which it has time again."""
    first = first_working_day(today)
    ends: dict[Hashable, float] = {}
    for work in laid:
        ends[work.machine] = max(work.to_min, ends.get(work.machine, 0.0))
    return {
        machine: working_day(first, int((end + SLACK_MIN) // working_minutes_a_day))
        for machine, end in ends.items()
    }
