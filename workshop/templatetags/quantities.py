"""Quantities as people write them: whole units of the ledger in, words and figures out.

Filters that need the person's units take them as argument: ``{{ spool.on_hand|thread_length:units }}``. The filters
that end in ``_number`` leave the unit out, for columns that have it in the head. What is not known (None) is
written as a dash.
"""

from collections.abc import Callable
from decimal import Decimal
from functools import wraps
from typing import Any

from django import template
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inventory.acting import days
from inventory.compute.lengths import format_length, format_weight, told_length
from inventory.compute.spoken import NO_BREAK, as_written_here, whole
from inventory.compute.units import Units, side_number, told_area, told_sides

register = template.Library()

UNKNOWN = "–"
UNIT_WORDS = {
    "mm": gettext_lazy("millimetres"),
    "cm": gettext_lazy("centimetres"),
    "m": gettext_lazy("metres"),
    "in": gettext_lazy("inches"),
    "yd": gettext_lazy("yards"),
    "g": gettext_lazy("grams"),
    "oz": gettext_lazy("ounces"),
}


@register.filter
def thread_length(mm: float | None, units: Units) -> str:
    """Return a thread length in the person's unit.

    >>> thread_length(1_234_500, Units()), thread_length(914.4, Units(length="yd")), thread_length(None, Units())
    ('1,234.5\\xa0m', '1.0\\xa0yd', '–')
    """
    return UNKNOWN if mm is None else whole(format_length(mm, unit=units.length))


@register.filter
def told(mm: float | None, units: Units) -> str:
    """Return a thread length to be read and not typed: whole units from ten on.

    >>> told(1_234_500, Units()), told(4_230, Units()), told(None, Units())
    ('1,234\\xa0m', '4.2\\xa0m', '–')
    """
    return UNKNOWN if mm is None else whole(told_length(mm, unit=units.length))


@register.filter
def length_number(mm: float | None, units: Units) -> str:
    """Return a thread length without its unit.

    >>> length_number(1_234_500, Units())
    '1,234.5'
    """
    return _number(thread_length(mm, units))


@register.filter
def size(mm: float | None, units: Units) -> str:
    """Return a size of cloth, hoop or stabilizer in the person's unit.

    >>> size(381, Units()), size(381, Units(size="in"))
    ('38.1\\xa0cm', '15.00\\xa0in')
    """
    return UNKNOWN if mm is None else whole(format_length(mm, unit=units.size))


@register.filter
def size_number(mm: float | None, units: Units) -> str:
    """Return a size without its unit.

    >>> size_number(381, Units())
    '38.1'
    """
    return _number(size(mm, units))


@register.filter
def sides(mm: float) -> str:
    """Return a small distance in mm or in inches, as the reader has chosen.

    >>> sides(10)
    '10\\xa0mm'
    """
    return whole(told_sides(mm))


@register.filter
def across_number(mm: float) -> str:
    """Return a small measure in mm or in inches without its unit, to a hundredth of either at least.

    >>> across_number(12.345)
    '12.35'
    """
    return side_number(round(mm, 2))


@register.filter
def area(mm2: float) -> str:
    """Return an area in cm² or square inches, as the reader has chosen.

    >>> area(12_345)
    '123\\xa0cm²'
    """
    return whole(told_area(mm2))


@register.filter
def weight(mg: float | None, units: Units) -> str:
    """Return a weight in the person's unit.

    >>> weight(152_400, Units()), weight(113_398, Units(weight="oz"))
    ('152.4\\xa0g', '4.00\\xa0oz')
    """
    return UNKNOWN if mg is None else whole(format_weight(mg, unit=units.weight))


@register.filter
def weight_number(mg: float | None, units: Units) -> str:
    """Return a weight without its unit.

    >>> weight_number(152_400, Units())
    '152.4'
    """
    return _number(weight(mg, units))


@register.filter
def unit_label(unit: str) -> SafeString:
    """Return a unit's symbol with its word at hand, for the head of a column.

    >>> unit_label("yd")
    '<abbr title="yards">yd</abbr>'
    """
    return format_html('<abbr title="{}">{}</abbr>', UNIT_WORDS[unit], unit)


@register.filter
def percent(share: float | None) -> str:
    """Return a share from 0 to 1 in whole percent, never rounded up to certainty or down to nothing.

    >>> percent(0.953), percent(0.9991), percent(1), percent(0.002), percent(0)
    ('95\\xa0%', 'over\\xa099\\xa0%', '100\\xa0%', 'under\\xa01\\xa0%', '0\\xa0%')
    """
    if share is None:
        return UNKNOWN
    if 0.99 < share < 1:
        return whole(_("over 99 %"))
    if 0 < share < 0.01:
        return whole(_("under 1 %"))
    return whole(f"{share * 100:.0f} %")


@register.filter
def money(amount: Decimal | None, currency: str = "") -> str:
    """Return an amount with two places after its currency code.

    >>> money(Decimal("1234.5"), "EUR"), money(Decimal("0.054")), money(Decimal("-3"), "GBP")
    ('EUR\\xa01,234.50', '0.05', 'GBP\\xa0−3.00')
    """
    if amount is None:
        return UNKNOWN
    written = as_written_here(f"{amount:,.2f}").replace("-", "−")
    said = _("{currency} {amount}").format(currency=currency, amount=written) if currency else written
    return whole(said)


@register.filter
def minutes(duration_min: float | None) -> str:
    """Return a duration in hours and whole minutes.

    >>> minutes(85.4), minutes(120), minutes(12.5), minutes(0.2), minutes(0)
    ('1\\xa0h\\xa025\\xa0min', '2\\xa0h', '13\\xa0min', 'under\\xa01\\xa0min', '0\\xa0min')
    """
    if duration_min is None:
        return UNKNOWN
    if 0 < duration_min < 0.5:
        return whole(_("under 1 min"))
    hours, rest = divmod(int(duration_min + 0.5), 60)
    if not hours:
        return whole(f"{rest} min")
    return whole(f"{hours} h {rest} min" if rest else f"{hours} h")


def _of_days(name: str, told: Callable[[Any], str]) -> Callable[[Any], str]:
    """Register a way of writing days as a filter that no line breaks."""

    @wraps(told)
    def written(day: Any) -> str:
        return whole(told(day))

    filtered: Callable[[Any], str] = register.filter(name, written)
    return filtered


day = _of_days("day", days.told_day)
near_day = _of_days("near_day", days.near_day)
plain_day = _of_days("plain_day", days.plain_day)
# A heading in large letters may need two lines for it.
this_day = register.filter("this_day", days.this_day)
told_month = _of_days("told_month", days.told_month)
moment = _of_days("moment", days.told_moment)
minute = _of_days("minute", days.told_minute)


@register.simple_tag
def page_made() -> str:
    """Return the day and the minute at which a page is made: on paper it goes on saying so."""
    now = timezone.localtime()
    return f"{day(now)}, {minute(now)}"


def _number(quantity: str) -> str:
    return quantity.partition(NO_BREAK)[0]
