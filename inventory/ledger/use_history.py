"""What of each material the last weeks took, from the ledger, and how long suppliers really need.

A material is named by a short text: ``shade 12`` is thread on spools, ``bobbin 3 12`` full bobbins of a style
wound with a shade, ``roll 5`` a stabilizer on rolls, or a spray
in cans. Quantities are in mm; of a spray in mg, of bobbins in pieces.
"""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from statistics import stdev

from django.db.models import Min, Q, Sum
from django.db.models.functions import TruncWeek
from django.utils.timezone import get_current_timezone, localdate, make_aware

from inventory.models import Entry, OrderReceipt

# A year and a half, so that a season is seen once whole.
WEEKS = 78

_OF_ITEM = (
    "item__spool__shade_id",
    "item__bobbinbatch__style_id",
    "item__bobbinbatch__shade_id",
    "item__stabilizerroll__product_id",
    "item__spraycan__product_id",
)
_TAKING = (Entry.Reason.USE, Entry.Reason.CUT, Entry.Reason.WASTE, Entry.Reason.WIND)


@dataclass(frozen=True)
class LeadTime:
    """By how much the days strayed that orders from a supplier took from being placed to their first receipt."""

    sd_days: float
    orders: int


def shade_material(shade_id: int) -> str:
    return f"shade {shade_id}"


def bobbin_material(style_id: int, shade_id: int) -> str:
    return f"bobbin {style_id} {shade_id}"


def roll_material(product_id: int) -> str:
    return f"roll {product_id}"


def weekly_use(*, today: date, weeks: int = WEEKS) -> dict[str, list[int]]:
    """Return for each material what every whole week took, oldest first, from the week it came on the books.

    What a weighing found less (or more) than the books had counts as used (or not); what was taken back does not
    count. At most the last ``weeks`` weeks; the current one is not whole yet and left out.
    """
    this_week = today - timedelta(days=today.weekday())
    first = this_week - timedelta(weeks=weeks)
    moved = (
        Entry.objects.filter(at__gte=_midnight(first), at__lt=_midnight(this_week))
        .filter(Q(reason__in=_TAKING, quantity__lt=0) | Q(reason=Entry.Reason.WEIGH))
        .filter(reversed_by__isnull=True)
        .annotate(week=TruncWeek("at"))
        .order_by()
        .values_list(*_OF_ITEM, "week")
        .annotate(moved=Sum("quantity"))
    )
    used: dict[str, dict[date, int]] = defaultdict(dict)
    for *of, week, quantity in moved:
        material = _material(*of)
        if material is not None:
            used[material][localdate(week)] = -quantity
    return {
        material: [
            max(0, used[material].get(begin + timedelta(weeks=number), 0))
            for number in range((this_week - begin).days // 7)
        ]
        for material, day in _first_days().items()
        if (begin := max(first, day - timedelta(days=day.weekday()))) < this_week
    }


def lead_times() -> dict[int, LeadTime]:
    """Return how long orders took, by supplier, where at least two have come."""
    came = (
        OrderReceipt.objects.standing()
        .filter(line__order__placed_at__isnull=False)
        .order_by()
        .values_list("line__order__supplier_id", "line__order__placed_at", "line__order_id")
        .annotate(first=Min("entry__at"))
    )
    days: dict[int, list[float]] = defaultdict(list)
    for supplier, placed_at, _, first in came:
        days[supplier].append(max(0.0, (first - placed_at).total_seconds() / 86_400))
    return {supplier: LeadTime(stdev(each), len(each)) for supplier, each in days.items() if len(each) > 1}


def _first_days() -> Mapping[str, date]:
    rows = Entry.objects.order_by().values_list(*_OF_ITEM).annotate(first=Min("at"))
    found: dict[str, date] = {}
    for *of, first in rows:
        material = _material(*of)
        if material is not None:
            found[material] = localdate(first)
    return found


def _material(
    spool_shade: int | None,
    style: int | None,
    bobbin_shade: int | None,
    on_roll: int | None,
    in_can: int | None,
) -> str | None:
    if spool_shade is not None:
        return shade_material(spool_shade)
    if style is not None and bobbin_shade is not None:
        return bobbin_material(style, bobbin_shade)
    product = on_roll if on_roll is not None else in_can
    return roll_material(product) if product is not None else None


def _midnight(day: date) -> datetime:
    return make_aware(datetime.combine(day, time.min), get_current_timezone())
