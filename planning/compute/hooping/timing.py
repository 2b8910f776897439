"""How long a job holds the machine, and how long it holds the person."""

import math
from dataclasses import dataclass, fields
from datetime import date, timedelta

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _

SATURDAY = 5  # as ``date.weekday`` counts


@dataclass(frozen=True)
class MachineTimes:
    """What a machine and the hands at it take. The defaults are common practice, no source, unless said."""

    stitches_per_minute: float = 650.0  # as set; 400–800 at home, 600–850 in trade
    # Effective speed / set speed: a machine slows for long stitches, starts and stops. Chosen so that 7,500
    # stitches in 6 colours at a set 800 a minute take about 13 minutes (ASI, "Is it time to buy a multi-head
    # machine?", 2017).
    efficiency: float = 0.8
    trim_s: float = 7.0  # 6–20 s a trim or stop
    stop_s: float = 15.0
    thread_change_s: float = 10.0  # the machine's own part: cut, and move to the next needle or halt
    rethread_s: float = 60.0  # by hand, one needle
    bobbin_change_s: float = 45.0
    hooping_s: float = 300.0
    needles: int = 1

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if not (math.isfinite(value) and value >= 0):
                raise WorkshopError(
                    _("{name} is {value}; give a number that is not negative.").format(
                        name=field.name, value=value
                    )
                )
        if self.stitches_per_minute == 0:
            raise WorkshopError(
                _("The set speed is 0 stitches a minute; give the speed the machine is run at.")
            )
        if not 0 < self.efficiency <= 1:
            raise WorkshopError(
                _(
                    "The efficiency is {efficiency}; effective speed / set speed lies above 0 and up to 1."
                ).format(efficiency=self.efficiency)
            )
        if self.needles < 1:
            raise WorkshopError(
                _("The machine has {needles} needles; give 1 or more.").format(needles=self.needles)
            )


def machine_minutes(
    times: MachineTimes, *, stitches: int, trims: int = 0, stops: int = 0, thread_changes: int = 0
) -> float:
    """Return the minutes for which the machine is busy with all these stitches and interruptions.

    ``thread_changes`` go from one thread to the next, whether the machine or a person threads it; the
    person's part of it is in ``hands_on_minutes``.

    >>> machine_minutes(MachineTimes(), stitches=5200, trims=30, thread_changes=3)
    14.0
    """
    _check_counts(stitches=stitches, trims=trims, stops=stops, thread_changes=thread_changes)
    stitching = stitches / (times.stitches_per_minute * times.efficiency)
    waiting_s = trims * times.trim_s + stops * times.stop_s + thread_changes * times.thread_change_s
    return stitching + waiting_s / 60


def hands_on_minutes(
    times: MachineTimes, *, hoopings: int, rethreads: int = 0, bobbin_changes: int = 0
) -> float:
    """Return the minutes of a person's hands: hooping, threading needles and changing bobbins.

    >>> hands_on_minutes(MachineTimes(), hoopings=4, rethreads=12, bobbin_changes=2)
    33.5
    """
    _check_counts(hoopings=hoopings, rethreads=rethreads, bobbin_changes=bobbin_changes)
    by_hand_s = (
        hoopings * times.hooping_s + rethreads * times.rethread_s + bobbin_changes * times.bobbin_change_s
    )
    return by_hand_s / 60


def start_by(due: date, *, minutes: float, working_minutes_a_day: float) -> date:
    """Return the last day on which work of so many minutes may start, to be done by the end of ``due``.

    Machine and hands are taken one after the other, as where one person has one machine; Saturdays and Sundays
    are no working days. Work that takes no time may start on the day itself.

    >>> start_by(date(2026, 3, 20), minutes=800, working_minutes_a_day=360)  # three days' work, due on a Friday
    datetime.date(2026, 3, 18)
    >>> start_by(date(2026, 3, 23), minutes=800, working_minutes_a_day=360)  # due on a Monday
    datetime.date(2026, 3, 19)
    """
    if not (math.isfinite(working_minutes_a_day) and 0 < working_minutes_a_day <= 24 * 60):
        raise WorkshopError(
            _("A working day of {working_minutes_a_day} minutes does not exist; give up to 1,440.").format(
                working_minutes_a_day=working_minutes_a_day
            )
        )
    if not (math.isfinite(minutes) and minutes >= 0):
        raise WorkshopError(
            _("Work of {minutes} minutes cannot be done; give 0 or more.").format(minutes=minutes)
        )
    days = max(1, math.ceil(minutes / working_minutes_a_day - 1e-9))
    day = due
    while True:
        if day.weekday() < SATURDAY:
            days -= 1
            if not days:
                return day
        day -= timedelta(days=1)


def _check_counts(**counts: int) -> None:
    for name, count in counts.items():
        if not count >= 0:
            raise WorkshopError(
                _("The number of {replace} is {count}; give 0 or more.").format(
                    replace=name.replace("_", " "), count=count
                )
            )
