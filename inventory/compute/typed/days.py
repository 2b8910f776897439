"""Days as people write them."""

import re
from datetime import date, timedelta

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _

_ISO = re.compile(r"([0-9]{4})-([0-9]{1,2})-([0-9]{1,2})(?:[t ][0-9:.]+z?)?")
_DAY_FIRST = re.compile(r"([0-9]{1,2})\. ?([0-9]{1,2})\.(?: ?([0-9]{4}))?")
_EITHER_FIRST = re.compile(r"([0-9]{1,2})/([0-9]{1,2})/([0-9]{4})")
_DAY_AND_NAME = re.compile(r"([0-9]{1,2})(?:st|nd|rd|th|\.)? ([a-z]{3,9})\.?,?(?: ([0-9]{4}))?")
_NAME_AND_DAY = re.compile(r"([a-z]{3,9})\.? ([0-9]{1,2})(?:st|nd|rd|th)?,?(?: ([0-9]{4}))?")
_FROM_NOW = re.compile(r"in (a|one|[0-9]{1,3}) (day|week)s?")
_NEXT = re.compile(r"(?:next |on )?([a-z]{3,9})")
_NEAR = {"today": 0, "tomorrow": 1, "the day after tomorrow": 2}
_MONTHS = (
    "january", "february", "march", "april", "may", "june",
    "july", "august", "september", "october", "november", "december",
)  # fmt: skip
_WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


def read_day(written: str, *, today: date | None = None) -> date:
    """Return the day that ``written`` names; one without a year, and "friday", is the next such day from ``today`` on.

    Raises WorkshopError for what is no day, what could be two, and for what needs ``today`` where it is not given.

    >>> saturday = date(2026, 11, 28)
    >>> print(read_day("2026-12-04"), read_day("4.12.2026"), read_day("Dec 4th, 2026"), read_day("25/3/2026"))
    2026-12-04 2026-12-04 2026-12-04 2026-03-25
    >>> print(read_day("4 Dec", today=saturday), read_day("3. 2.", today=saturday), read_day("Fri", today=saturday))
    2026-12-04 2027-02-03 2026-12-04
    >>> print(read_day("tomorrow", today=saturday), read_day("in 2 weeks", today=saturday))
    2026-11-29 2026-12-12
    >>> read_day("3/2/2026")
    Traceback (most recent call last):
    ...
    inventory.compute.errors.WorkshopError: 3/2/2026 could be 2026-02-03 or 2026-03-02. Type the one that is meant.
    """
    text = " ".join(written.casefold().split())
    if found := _ISO.fullmatch(text):
        return _day(found[1], int(found[2]), found[3], written=text, today=today)
    if found := _DAY_FIRST.fullmatch(text):
        return _day(found[3], int(found[2]), found[1], written=text, today=today)
    if found := _EITHER_FIRST.fullmatch(text):
        first, second = int(found[1]), int(found[2])
        if first <= 12 and second <= 12 and first != second:
            raise WorkshopError(
                _(
                    "{text} could be {year}-{second}-{first} or {year}-{first}-{second}. Type the one that is "
                    "meant."
                ).format(text=text, year=found[3], second=f"{second:02}", first=f"{first:02}")
            )
        day, month = (first, second) if second <= 12 else (second, first)
        return _day(found[3], month, day, written=text, today=today)
    if (found := _DAY_AND_NAME.fullmatch(text)) and (month := _number(found[2], _MONTHS)):
        return _day(found[3], month, found[1], written=text, today=today)
    if (found := _NAME_AND_DAY.fullmatch(text)) and (month := _number(found[1], _MONTHS)):
        return _day(found[3], month, found[2], written=text, today=today)
    if today is not None and (ahead := _days_ahead(text, today)) is not None:
        return today + timedelta(days=ahead)
    raise WorkshopError(_('"{written}" is not a day. Type it like 2026-03-02.').format(written=written[:40]))


def plausible_day(day: date) -> date:
    """Return ``day``. Raises WorkshopError for one that no workshop meant."""
    if not 1950 <= day.year <= 2100:
        raise WorkshopError(
            _("The year {year} cannot be right. Type the day like 2026-03-02.").format(year=day.year)
        )
    return day


def _number(name: str, names: tuple[str, ...]) -> int:
    """Return the number, from 1, of the one of ``names`` that begins with ``name``; 0 if none does."""
    wanted = "sep" if name == "sept" else name
    return next((number for number, each in enumerate(names, start=1) if each.startswith(wanted)), 0)


def _days_ahead(text: str, today: date) -> int | None:
    if text in _NEAR:
        return _NEAR[text]
    if found := _FROM_NOW.fullmatch(text):
        many = int(found[1]) if found[1].isdigit() else 1
        return many * (7 if found[2] == "week" else 1)
    if (found := _NEXT.fullmatch(text)) and (weekday := _number(found[1], _WEEKDAYS)):
        return (weekday - today.isoweekday() - 1) % 7 + 1
    return None


def _day(year: str | None, month: int, day: str | int, *, written: str, today: date | None) -> date:
    if year is None and today is None:
        raise WorkshopError(_("Say the year of {written} too, like 2026-03-02.").format(written=written))
    try:
        if year is not None:
            return plausible_day(date(int(year), month, int(day)))
        assert today is not None
        this_year = date(today.year, month, int(day))
        return this_year if this_year >= today else date(today.year + 1, month, int(day))
    except ValueError as problem:
        if isinstance(problem, WorkshopError):
            raise
        raise WorkshopError(_("There is no such day as {written}.").format(written=written)) from None
