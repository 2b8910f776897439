"""By when material must be there, and by when it is ordered so that it is: said here alone."""

from datetime import date, timedelta

SUNDAY = 6
# From the order to the delivery, where nobody is known to sell it. Common practice, no source.
USUAL_LEAD_DAYS = 5


def material_day(start_by: date) -> date:
    """Return the last day on which material comes in time for work that begins on ``start_by``.

    It is on the shelf before the work starts: the day before, or the Saturday where that is a Sunday, on which nothing
    is delivered (common practice, no source).

    >>> str(material_day(date(2026, 3, 18))), str(material_day(date(2026, 3, 23)))  # a Wednesday, a Monday
    ('2026-03-17', '2026-03-21')
    """
    day = start_by - timedelta(days=1)
    return day - timedelta(days=1) if day.weekday() == SUNDAY else day


def order_by(there_by: date, *, lead_time_days: int) -> date:
    """Return the last day to order what must be there by ``there_by``; it may have passed already.

    >>> str(order_by(date(2026, 3, 17), lead_time_days=5))
    '2026-03-12'
    """
    return there_by - timedelta(days=lead_time_days)
