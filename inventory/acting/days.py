"""Days and moments as the reader writes them: one form for each kind of place, in pages, letters, sentences, commands.

| form | in English | where |
|---|---|---|
| ``told_day`` | Fri 27 Nov 2026 | on pages: a day that somebody acts by, or on which something was done |
| ``near_day`` | Fri 27 Nov | in rows, cards and drawings of what is open now |
| ``plain_day`` | 27 Nov 2026 | in sentences of acts, on labels and sheets, in tables of commands |
| ``told_moment`` | 27 Nov 2026, 22:11 | wherever the minute matters |
| ``told_minute`` | 22:11 | beside its day |
| ``letter_day`` | 27 November 2026 | in letters to customers |
| ``this_day`` | Friday 27 November | above the first page |
| ``told_month``, ``short_month`` | November 2026, Nov 2026 | in tables and under drawings by the month |

What is left to Django follows ``workshop/formats``, which has the same forms.
"""

from datetime import date, datetime
from typing import Any

from django.utils import timezone
from django.utils.dateformat import format as format_date
from django.utils.translation import pgettext

NO_DAY = "–"


def told_day(day: date | None) -> str:
    """Return a day with its weekday and year; of a moment, the day it falls on where the workshop stands.

    >>> told_day(date(2026, 11, 5)), told_day(None)
    ('Thu 5 Nov 2026', '–')
    """
    return _told(day, pgettext("how a day is written", "D j M Y"))


def near_day(day: date | None) -> str:
    """Return a day near today with its weekday.

    >>> near_day(date(2026, 11, 5))
    'Thu 5 Nov'
    """
    return _told(day, pgettext("how a day is written", "D j M"))


def plain_day(day: date | None) -> str:
    """Return a day, or the day of a moment, with its month in short.

    >>> plain_day(date(2026, 11, 5))
    '5 Nov 2026'
    """
    return _told(day, pgettext("how a day is written", "j M Y"))


def told_moment(at: datetime | None) -> str:
    """Return the day and the minute of a moment.

    >>> told_moment(datetime(2026, 11, 5, 22, 11))
    '5 Nov 2026, 22:11'
    """
    return _told(at, pgettext("how a day is written", "j M Y, H:i"))


def told_minute(at: datetime | None) -> str:
    """Return the minute of a moment, whose day stands beside it.

    >>> told_minute(datetime(2026, 11, 5, 22, 11))
    '22:11'
    """
    return _told(at, "H:i")


def letter_day(day: date) -> str:
    """Return a day as a letter has it.

    >>> letter_day(date(2026, 11, 5))
    '5 November 2026'
    """
    return _told(day, pgettext("how a day is written", "j F Y"))


def this_day(day: date) -> str:
    """Return today, as it stands above a page.

    >>> this_day(date(2026, 11, 5))
    'Thursday 5 November'
    """
    return _told(day, pgettext("how a day is written", "l j F"))


def told_month(day: date) -> str:
    """Return the month of a day.

    >>> told_month(date(2026, 11, 5))
    'November 2026'
    """
    return _told(day, "F Y")


def short_month(day: date) -> str:
    """Return the month of a day in short.

    >>> short_month(date(2026, 11, 5))
    'Nov 2026'
    """
    return _told(day, "M Y")


def _told(day: Any, form: str) -> str:
    if not day:  # or what a template makes of a record that is gone meanwhile: nothing
        return NO_DAY
    if isinstance(day, datetime) and timezone.is_aware(day):
        day = timezone.localtime(day)
    return format_date(day, form)
