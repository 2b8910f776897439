"""What of each material the last weeks took, from the ledger, and how long suppliers really need.

A material is named by a short text: ``shade 12`` is thread on spools, ``bobbin 3 12`` full bobbins of a style
wound with a shade, ``roll 5`` a stabilizer on rolls, or a spray
in cans. Quantities are in mm; of a spray in mg, of bobbins in pieces.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from statistics import stdev
from typing import Any

import numpy as np
from django.db.models import Min, Q
from django.utils.timezone import get_current_timezone, localdate, make_aware

from inventory.models import BobbinBatch, Entry, OrderReceipt, Spool, SprayCan, StabilizerRoll
from inventory.schema.plain_rows import moment_of, plain_rows, seconds_of

# A year and a half, so that a season is seen once whole.
WEEKS = 78

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
    materials = _materials()
    used = _moved_by_week(materials, [first + timedelta(weeks=number) for number in range(weeks + 1)])
    return {
        material: [max(0, -moved) for moved in used[material][(begin - first).days // 7 :]]
        for material, day in _first_days(materials).items()
        if (begin := max(first, day - timedelta(days=day.weekday()))) < this_week
    }


def _moved_by_week(materials: Mapping[int, str], edges: Sequence[date]) -> dict[str, list[int]]:
    """Return what moved of each material from each of the ``edges`` to the next, what was taken back left out.

    The entries are added up here: a year of them by week in SQL costs a call for the week of every row.
    """
    numbers = {material: number for number, material in enumerate(dict.fromkeys(materials.values()))}
    moved = (
        Entry.objects.filter(at__gte=_midnight(edges[0]), at__lt=_midnight(edges[-1]))
        .filter(Q(reason__in=_TAKING, quantity__lt=0) | Q(reason=Entry.Reason.WEIGH))
        .order_by()
        .values_list("pk", "item_id", "at", "quantity")
    )
    taken_back = list(
        Entry.objects.filter(reverses__isnull=False).order_by().values_list("reverses_id", flat=True)
    )
    weeks = len(edges) - 1
    sums = np.zeros(len(numbers) * weeks)
    midnights = [_midnight(day).timestamp() for day in edges]
    number_of = np.full(max(materials, default=0) + 1, -1)
    number_of[list(materials)] = [numbers[material] for material in materials.values()]
    for rows in plain_rows(moved, at_a_time=10_000):
        entries, items, at, quantities = zip(*rows, strict=True)
        of = number_of[np.minimum(items, len(number_of) - 1)]
        counts = (of >= 0) & (np.array(items) < len(number_of)) & ~np.isin(entries, taken_back)
        week = np.searchsorted(midnights, seconds_of(list(at)), side="right") - 1
        place = of * weeks + week
        sums += np.bincount(
            place[counts], weights=np.array(quantities, dtype=float)[counts], minlength=len(sums)
        )
    by_material = sums.reshape(len(numbers), weeks).astype(np.int64).tolist()
    return dict(zip(numbers, by_material, strict=True))


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


def _first_days(materials: Mapping[int, str]) -> Mapping[str, date]:
    """Return the day on which each material came on the books."""
    rows = Entry.objects.order_by().values_list("item_id").annotate(first=Min("at"))
    found: dict[str, Any] = {}
    for some in plain_rows(rows):
        for item, first in some:
            material = materials.get(item)
            if material is not None and not found.get(material, first) < first:
                found[material] = first
    return {material: localdate(moment_of(first)) for material, first in found.items()}


def _materials() -> dict[int, str]:
    """Return the material of every spool, box of bobbins, roll and can, by the number of the thing."""
    named = (
        (Spool.objects.values_list("pk", "shade_id"), shade_material),
        (BobbinBatch.objects.values_list("pk", "style_id", "shade_id"), bobbin_material),
        (StabilizerRoll.objects.values_list("pk", "product_id"), roll_material),
        (SprayCan.objects.values_list("pk", "product_id"), roll_material),
    )
    return {
        item: name(*of)
        for query, name in named
        for rows in plain_rows(query.order_by())
        for item, *of in rows
    }


def _midnight(day: date) -> datetime:
    return make_aware(datetime.combine(day, time.min), get_current_timezone())
