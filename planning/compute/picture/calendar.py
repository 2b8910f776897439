"""Where laid work stands in a drawing of the days to come: columns of days, and lanes of blocks and flags."""

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from planning.compute.hooping.calendar import LaidWork, first_working_day, working_day
from planning.compute.hooping.timing import SATURDAY

# All lengths are in units of a quarter of a working day; a weekend is one of them wide.
DAY_UNITS, WEEKEND_UNITS = 4, 1
LEAST_DAYS, MOST_DAYS = 10, 20
# The words of a block need so much of the whole width, and those of a flag.
BLOCK_SHARE, FLAG_SHARE = 0.16, 0.13
# A shape of 16 px in the width of a phone.
SHAPE_SHARE = 0.048
MOST_LANES, MOST_FLAG_LANES = 4, 3
LEAST_DRAWN = 0.5  # so that work of minutes is still seen


@dataclass(frozen=True)
class DayColumn:
    """A working day, a weekend or what is late, from ``from_units`` on; ``day`` is its first, None for late."""

    kind: str  # day, weekend or late
    from_units: int
    units: int
    day: date | None = None
    is_today: bool = False
    is_new_month: bool = False

    @property
    def ground(self) -> str:
        """What its ground says: today, weekend, or nothing."""
        return "today" if self.is_today else "weekend" if self.kind == "weekend" else ""


@dataclass(frozen=True)
class DrawnWork:
    """A block of work: where it stands, as shares of the whole width and of the cell that has its words."""

    work: LaidWork
    left: str
    width: str
    middle: str
    left_in_cell: str
    width_in_cell: str
    goes_on: bool  # beyond the last day that is drawn
    at_end: bool  # its words stand before it
    has_room: bool  # for a shape, where the whole is as narrow as a phone


@dataclass(frozen=True)
class DueFlag:
    """The flag of a job on its day; ``at_end`` where its words stand before it."""

    work: LaidWork
    middle: str
    at_end: bool


@dataclass(frozen=True)
class LaneCell:
    """Room in a lane, so many units wide, with one thing in it or nothing."""

    units: int
    block: DrawnWork | None = None
    flag: DueFlag | None = None


@dataclass(frozen=True)
class MachineDrawn:
    """A machine's row: lanes of its blocks and of its flags, the same in their turn, and how many are not drawn."""

    machine: Hashable
    lanes: tuple[tuple[LaneCell, ...], ...]
    flag_lanes: tuple[tuple[LaneCell, ...], ...]
    blocks: tuple[DrawnWork, ...]
    flags: tuple[DueFlag, ...]
    later: int

    @property
    def rows(self) -> int:
        """How many lanes it has in all, one at least."""
        return max(1, len(self.lanes)) + len(self.flag_lanes)


@dataclass(frozen=True)
class CalendarDrawn:
    """The days and the machines; ``units`` is the whole width."""

    columns: tuple[DayColumn, ...]
    units: int
    machines: tuple[MachineDrawn, ...]

    @property
    def later(self) -> int:
        """How many works are not drawn."""
        return sum(each.later for each in self.machines)

    def share(self, units: float) -> str:
        """Return so many units as a share of the whole width."""
        return _share(units, self.units)


def draw_calendar(
    laid: Sequence[LaidWork],
    *,
    machines: Sequence[Hashable],
    today: date,
    working_minutes_a_day: float,
    most_blocks: int,
) -> CalendarDrawn:
    """Return the drawing of what is laid on these ``machines``, at most so many blocks of all of them together.

    As many days are drawn as are needed, two working weeks at least and four at most.
    """
    columns = day_columns(laid, today=today)
    days = [each for each in columns if each.kind == "day"]
    sheet = _Sheet(columns, days, working_minutes_a_day)
    most_each = max(1, most_blocks // max(1, len(machines)))
    return CalendarDrawn(
        columns,
        sheet.units,
        tuple(
            _machine(machine, [each for each in laid if each.machine == machine], sheet, most=most_each)
            for machine in machines
        ),
    )


def day_columns(laid: Sequence[LaidWork], *, today: date) -> tuple[DayColumn, ...]:
    """Return the columns that these works need, today's first but for one of what was due before it."""
    first = first_working_day(today)
    last_wanted = max([day for each in laid for day in (each.ends, each.due or each.ends)], default=first)
    working = [working_day(first, number) for number in range(MOST_DAYS)]
    working = working[: max(LEAST_DAYS, sum(day <= last_wanted for day in working))]
    found: list[DayColumn] = []

    def add(kind: str, units: int, day: date | None = None, *, is_new_month: bool = False) -> None:
        at = found[-1].from_units + found[-1].units if found else 0
        is_today = day is not None and (day == today or (kind == "weekend" and day <= today < first))
        found.append(DayColumn(kind, at, units, day, is_today, is_new_month))

    if any(each.due and each.due < today for each in laid):
        add("late", DAY_UNITS)
    if today < first:
        # The day that it is has room for its name, though nobody works on it.
        add("weekend", DAY_UNITS, today, is_new_month=True)
    month = today.month if today < first else 0
    for number, day in enumerate(working):
        if number and day.weekday() == 0:
            add("weekend", WEEKEND_UNITS, day - timedelta(days=7 - SATURDAY))
        add("day", DAY_UNITS, day, is_new_month=day.month != month)
        month = day.month
    return tuple(found)


@dataclass(frozen=True)
class _Sheet:
    columns: tuple[DayColumn, ...]
    days: Sequence[DayColumn]
    working_minutes_a_day: float

    @property
    def units(self) -> int:
        return self.columns[-1].from_units + self.columns[-1].units

    def at(self, minutes: float, *, is_end: bool) -> float | None:
        """Return where a minute stands; an end at the close of a day stands there, not on the next. None if beyond."""
        share = minutes / self.working_minutes_a_day
        number = max(0, math.ceil(share - 1e-9) - 1) if is_end else int(share + 1e-9)
        if number >= len(self.days):
            return None
        return self.days[number].from_units + DAY_UNITS * min(1.0, max(0.0, share - number))

    def column_of(self, due: date) -> DayColumn | None:
        """Return the column on which a flag stands, None beyond the last."""
        if self.columns[0].kind == "late" and due < self._first_day:
            return self.columns[0]
        for column in self.columns:
            if column.day is None:
                continue
            length = 2 if column.kind == "weekend" else 1
            if column.day <= due < column.day + timedelta(days=length):
                return column
        return None

    @property
    def _first_day(self) -> date:
        return next(column.day for column in self.columns if column.day is not None)


def _machine(machine: Hashable, works: Sequence[LaidWork], sheet: _Sheet, *, most: int) -> MachineDrawn:
    lanes, blocks, flags = _Lanes(sheet.units, MOST_LANES), [], []
    words = math.ceil(BLOCK_SHARE * sheet.units)
    for work in works[:most]:
        begin = sheet.at(work.from_min, is_end=False)
        if begin is None:
            continue
        end = sheet.at(work.to_min, is_end=True)
        goes_on = end is None
        end = float(sheet.units) if end is None else min(sheet.units, max(end, begin + LEAST_DRAWN))
        cell = min(sheet.units, max(words, math.ceil(end) - int(begin)))
        cell_from = min(int(begin), sheet.units - cell)
        block = DrawnWork(
            work,
            left=_share(begin, sheet.units),
            width=_share(end - begin, sheet.units),
            middle=_share((begin + end) / 2, sheet.units),
            left_in_cell=_share(begin - cell_from, cell),
            width_in_cell=_share(end - begin, cell),
            goes_on=goes_on,
            at_end=begin - cell_from >= 1,
            has_room=end - begin > SHAPE_SHARE * sheet.units,
        )
        if not lanes.put(cell_from, LaneCell(cell, block=block)):
            continue
        blocks.append(block)
    flag_lanes = _Lanes(sheet.units, MOST_FLAG_LANES)
    words = math.ceil(FLAG_SHARE * sheet.units)
    for block in sorted(blocks, key=lambda each: each.work.due or date.max):
        column = sheet.column_of(block.work.due) if block.work.due else None
        if column is None:
            continue
        at_end = column.from_units + words > sheet.units
        flag = DueFlag(block.work, _share(column.from_units + column.units / 2, sheet.units), at_end)
        flags.append(flag)
        cell_from = column.from_units + column.units - words if at_end else column.from_units
        flag_lanes.put(cell_from, LaneCell(words, flag=flag))
    return MachineDrawn(
        machine,
        lanes.cells(),
        flag_lanes.cells(),
        tuple(blocks),
        tuple(flags),
        later=len(works) - len(blocks),
    )


class _Lanes:
    """Lanes that are filled one after the other: a thing goes into the first in which it meets no other."""

    def __init__(self, units: int, most: int) -> None:
        self.units, self.most = units, most
        self._lanes: list[dict[int, LaneCell]] = []

    def put(self, at: int, cell: LaneCell) -> bool:
        """Return whether there was room."""
        for lane in self._lanes:
            if all(at >= other + there.units or at + cell.units <= other for other, there in lane.items()):
                lane[at] = cell
                return True
        if len(self._lanes) == self.most:
            return False
        self._lanes.append({at: cell})
        return True

    def cells(self) -> tuple[tuple[LaneCell, ...], ...]:
        """Return each lane from its first unit to its last, with empty room between the things."""
        found = []
        for lane in self._lanes:
            row, at = [], 0
            for begin in sorted(lane):
                row += [LaneCell(begin - at)] if begin > at else []
                row.append(lane[begin])
                at = begin + lane[begin].units
            found.append((*row, *([LaneCell(self.units - at)] if at < self.units else [])))
        return tuple(found)


def _share(units: float, of: float) -> str:
    """Return a share as drawings have it, whatever language the page is in."""
    return f"{100 * units / of:.2f}%"
