"""When a material runs out, and by when it has to be ordered: its balance over what is booked and what is usual."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from inventory.compute.errors import require_not_negative
from inventory.compute.spoken import N_
from planning.compute.buying.in_time import order_by

# So far ahead a balance is followed; a material that lasts longer is in no hurry.
HORIZON_DAYS = 365


@dataclass(frozen=True)
class Booking:
    """So much that is wanted on a day; a need without a day is wanted at once, for nobody said that it can wait."""

    quantity: float
    on: date | None = None
    what: str = ""


@dataclass(frozen=True)
class BalanceStep:
    """What is left at the end of a day; ``booked`` of it went that day to ``what``, ``usual`` to anything else."""

    on: date
    balance: float
    booked: float = 0.0
    usual: float = 0.0
    what: tuple[str, ...] = ()


@dataclass(frozen=True)
class Projection:
    """The balance day by day up to the day it runs out, or to the horizon where it does not.

    ``run_out_on`` is the first day that is not covered; ``order_by`` lies the lead time before it, and may have
    passed already. Both are None where the material outlasts the horizon; ``order_by`` too where nobody knows
    how long a delivery takes.
    """

    steps: tuple[BalanceStep, ...]
    run_out_on: date | None
    order_by: date | None

    @property
    def lacking(self) -> float:
        """What the day of running out lacks; 0 where it does not run out."""
        return -self.steps[-1].balance if self.run_out_on else 0.0


def project(
    free: float,
    *,
    today: date,
    needs: Iterable[Booking] = (),
    per_week: float = 0.0,
    arriving: Iterable[Booking] = (),
    lead_time_days: int | None = None,
    horizon_days: int = HORIZON_DAYS,
) -> Projection:
    """Return how what is ``free`` goes down from ``today``, in whatever unit it is given.

    Each week takes the larger of what is booked and what past weeks took: the booked jobs are part of what is
    usual, not added to it (the *greater of forecast and orders* of master scheduling). What the booked needs leave
    of the usual is spread over the seven days. Needs of the past are wanted today. What is ``arriving`` counts
    from the morning of its day, and on its day alone. Raises NotPositive for what is below zero.

    >>> monday = date(2026, 3, 2)
    >>> ends = project(
    ...     10_000, today=monday, needs=[Booking(6_000, date(2026, 3, 11))], per_week=3_500, lead_time_days=5
    ... )
    >>> ends.run_out_on.isoformat(), ends.order_by.isoformat(), round(ends.lacking)
    ('2026-03-17', '2026-03-12', 500)
    >>> [round(step.balance) for step in ends.steps[6:10]]
    [6500, 6500, 6500, 500]
    """
    for value, what in (
        (free, N_("free quantity")),
        (per_week, N_("use of a week")),
        (lead_time_days or 0, N_("lead time")),
    ):
        require_not_negative(value, what=what)
    booked = _by_day(needs, today)
    coming = _by_day(arriving, today)
    steps: list[BalanceStep] = []
    balance = float(free)
    for day, usual in _usual_days(today, horizon_days, booked, per_week):
        own = booked.get(day, ())
        gone = sum(need.quantity for need in own)
        balance += sum(each.quantity for each in coming.get(day, ())) - gone - usual
        steps.append(
            BalanceStep(
                today + timedelta(days=day),
                balance,
                gone,
                usual,
                tuple(need.what for need in own if need.what),
            )
        )
        # Sevenths add up to a whole week only to within rounding.
        if balance < -1e-6:
            run_out_on = steps[-1].on
            by = None if lead_time_days is None else order_by(run_out_on, lead_time_days=lead_time_days)
            return Projection(tuple(steps), run_out_on, by)
    return Projection(tuple(steps), None, None)


def _by_day(needs: Iterable[Booking], today: date) -> dict[int, list[Booking]]:
    """Return the needs by the number of days from today."""
    found: dict[int, list[Booking]] = {}
    for need in needs:
        require_not_negative(need.quantity, what=N_("quantity of a need"))
        found.setdefault(max(0, (need.on - today).days) if need.on else 0, []).append(need)
    return found


def _usual_days(
    today: date, horizon_days: int, booked: dict[int, list[Booking]], per_week: float
) -> Iterator[tuple[int, float]]:
    """Yield each day's number and what it takes beyond the bookings of its week."""
    for week in range(0, horizon_days + 1, 7):
        taken = sum(need.quantity for day in range(week, week + 7) for need in booked.get(day, ()))
        for day in range(week, min(week + 7, horizon_days + 1)):
            yield day, max(0.0, per_week - taken) / 7
