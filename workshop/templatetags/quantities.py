"""Quantities as people write them: whole units of the ledger in, words and figures out.

Filters that need the person's units take them as argument: ``{{ spool.on_hand|thread_length:units }}``. The filters
that end in ``_number`` leave the unit out, for columns that have it in the head. What is not known (None) is
written as a dash.
"""

import datetime
from decimal import Decimal

from django import template
from django.utils import timezone
from django.utils.dateformat import format as format_date
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, pgettext

from inventory.compute.lengths import format_length, format_weight, told_length
from inventory.compute.spoken import as_written_here
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
    ('1,234.5 m', '1.0 yd', '–')
    """
    return UNKNOWN if mm is None else format_length(mm, unit=units.length)


@register.filter
def told(mm: float | None, units: Units) -> str:
    """Return a thread length to be read and not typed: whole units from ten on.

    >>> told(1_234_500, Units()), told(4_230, Units()), told(None, Units())
    ('1,234 m', '4.2 m', '–')
    """
    return UNKNOWN if mm is None else told_length(mm, unit=units.length)


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
    ('38.1 cm', '15.00 in')
    """
    return UNKNOWN if mm is None else format_length(mm, unit=units.size)


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
    '10 mm'
    """
    return told_sides(mm)


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
    '123 cm²'
    """
    return told_area(mm2)


@register.filter
def weight(mg: float | None, units: Units) -> str:
    """Return a weight in the person's unit.

    >>> weight(152_400, Units()), weight(113_398, Units(weight="oz"))
    ('152.4 g', '4.00 oz')
    """
    return UNKNOWN if mg is None else format_weight(mg, unit=units.weight)


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
    ('95 %', 'over 99 %', '100 %', 'under 1 %', '0 %')
    """
    if share is None:
        return UNKNOWN
    if 0.99 < share < 1:
        return _("over 99 %")
    if 0 < share < 0.01:
        return _("under 1 %")
    return f"{share * 100:.0f} %"


@register.filter
def money(amount: Decimal | None, currency: str = "") -> str:
    """Return an amount with two places after its currency code.

    >>> money(Decimal("1234.5"), "EUR"), money(Decimal("0.054")), money(Decimal("-3"), "GBP")
    ('EUR 1,234.50', '0.05', 'GBP −3.00')
    """
    if amount is None:
        return UNKNOWN
    written = as_written_here(f"{amount:,.2f}").replace("-", "−")
    return _("{currency} {amount}").format(currency=currency, amount=written) if currency else written


@register.filter
def minutes(duration_min: float | None) -> str:
    """Return a duration in hours and whole minutes.

    >>> minutes(85.4), minutes(120), minutes(12.5), minutes(0.2), minutes(0)
    ('1 h 25 min', '2 h', '13 min', 'under 1 min', '0 min')
    """
    if duration_min is None:
        return UNKNOWN
    if 0 < duration_min < 0.5:
        return _("under 1 min")
    hours, rest = divmod(int(duration_min + 0.5), 60)
    if not hours:
        return f"{rest} min"
    return f"{hours} h {rest} min" if rest else f"{hours} h"


@register.filter
def day(date: datetime.date | None) -> str:
    """Return a day as people write it; of a moment, the day it falls on where the workshop stands.

    >>> day(datetime.date(2026, 11, 27)), day(None)
    ('Fri 27 Nov 2026', '–')
    """
    if not date:  # or what a template makes of a record that is gone meanwhile: nothing
        return UNKNOWN
    if isinstance(date, datetime.datetime) and timezone.is_aware(date):
        date = timezone.localtime(date)
    return format_date(date, pgettext("date format", "D j M Y"))


@register.simple_tag
def page_made() -> str:
    """Return the day and the minute at which a page is made: on paper it goes on saying so."""
    now = timezone.localtime()
    return f"{day(now)}, {now:%H:%M}"


def _number(quantity: str) -> str:
    return quantity.partition(" ")[0]
