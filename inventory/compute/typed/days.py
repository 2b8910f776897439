"""Days as people write them."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _, language

_ISO = re.compile(r"([0-9]{4})-([0-9]{1,2})-([0-9]{1,2})(?:[t ][0-9:.]+z?)?")
_DAY_FIRST = re.compile(r"([0-9]{1,2})\. ?([0-9]{1,2})\.(?: ?([0-9]{4}))?")
_EITHER_FIRST = re.compile(r"([0-9]{1,2})/([0-9]{1,2})/([0-9]{4})")
_DAY_AND_NAME = re.compile(r"([0-9]{1,2})(?:st|nd|rd|th|\.)? ([^\W\d_]{3,9})\.?,?(?: ([0-9]{4}))?")
_NAME_AND_DAY = re.compile(r"([^\W\d_]{3,9})\.? ([0-9]{1,2})(?:st|nd|rd|th)?,?(?: ([0-9]{4}))?")


@dataclass(frozen=True)
class _Words:
    """What people of a language say for days; months and weekdays also by how they begin."""

    months: tuple[str, ...]
    weekdays: tuple[str, ...]
    near: Mapping[str, int]
    from_now: re.Pattern[str]
    week: str
    next: re.Pattern[str]
    before_a_day: re.Pattern[str]
    short: Mapping[str, str]


_ENGLISH = _Words(
    months=(
        "january", "february", "march", "april", "may", "june",
        "july", "august", "september", "october", "november", "december",
    ),
    weekdays=("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"),
    near={"today": 0, "tomorrow": 1, "the day after tomorrow": 2},
    from_now=re.compile(r"in (a|one|[0-9]{1,3}) (day|week)s?"),
    week="week",
    next=re.compile(r"(?:next |on )?([a-z]{3,9})"),
    before_a_day=re.compile(r"(?!)"),
    short={"sept": "sep"},
)  # fmt: skip
_GERMAN = _Words(
    months=(
        "januar", "februar", "märz", "april", "mai", "juni",
        "juli", "august", "september", "oktober", "november", "dezember",
    ),
    weekdays=("montag", "dienstag", "mittwoch", "donnerstag", "freitag", "samstag", "sonntag"),
    near={"heute": 0, "morgen": 1, "übermorgen": 2, "uebermorgen": 2},
    from_now=re.compile(r"in (einem|einer|[0-9]{1,3}) (tag|woche)(?:en|n)?"),
    week="woche",
    next=re.compile(r"(?:(?:am )?(?:nächsten|naechsten|kommenden) |am )?([a-zäöü]{2,10})"),
    # "Fr 27. Nov 2026", as the pages write it.
    before_a_day=re.compile(r"(?:am )?(?:mo|di|mi|do|fr|sa|so|[a-z]{4,8}(?:tag|woch))\.?,? (?=[0-9])"),
    short={
        "sept": "sep",
        "jän": "jan",
        "jänner": "januar",
        "mrz": "märz",
        "maerz": "märz",
        "sonnabend": "samstag",
    },
)  # fmt: skip


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
    every = (_GERMAN, _ENGLISH) if language() == "de" else (_ENGLISH,)
    for words in every:
        text = words.before_a_day.sub("", text, count=1)
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
    for words in every:
        if (found := _DAY_AND_NAME.fullmatch(text)) and (month := _number(found[2], words.months, words)):
            return _day(found[3], month, found[1], written=text, today=today)
        if (found := _NAME_AND_DAY.fullmatch(text)) and (month := _number(found[1], words.months, words)):
            return _day(found[3], month, found[2], written=text, today=today)
        if today is not None and (ahead := _days_ahead(text, today, words)) is not None:
            return today + timedelta(days=ahead)
    raise WorkshopError(_('"{written}" is not a day. Type it like 2026-03-02.').format(written=written[:40]))


def plausible_day(day: date) -> date:
    """Return ``day``. Raises WorkshopError for one that no workshop meant."""
    if not 1950 <= day.year <= 2100:
        raise WorkshopError(
            _("The year {year} cannot be right. Type the day like 2026-03-02.").format(year=day.year)
        )
    return day


def _number(name: str, names: tuple[str, ...], words: _Words) -> int:
    """Return the number, from 1, of the one of ``names`` that begins with ``name``; 0 if none does."""
    wanted = words.short.get(name, name)
    return next((number for number, each in enumerate(names, start=1) if each.startswith(wanted)), 0)


def _days_ahead(text: str, today: date, words: _Words) -> int | None:
    if text in words.near:
        return words.near[text]
    if found := words.from_now.fullmatch(text):
        many = int(found[1]) if found[1].isdigit() else 1
        return many * (7 if found[2] == words.week else 1)
    if (found := words.next.fullmatch(text)) and (weekday := _number(found[1], words.weekdays, words)):
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
