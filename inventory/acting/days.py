"""Days as the reader writes them, for the sentences of acts."""

from datetime import date

from django.utils.dateformat import format as format_date
from django.utils.translation import pgettext


def short_day(day: date) -> str:
    """Return a day, or the day of a moment, with its month in short.

    >>> short_day(date(2026, 11, 5))
    '05 Nov 2026'
    """
    return format_date(day, pgettext("how a day is written", "d M Y"))


def plain_day(day: date | None) -> str:
    """Return a day as ``short_day`` does, without a nought before it.

    >>> plain_day(date(2026, 11, 5))
    '5 Nov 2026'
    """
    return format_date(day, pgettext("how a day is written", "j M Y")) if day else "–"
