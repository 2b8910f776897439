"""Looking back: what was spent, what was bought and used, what prices did, what lies there unused."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.db.models import Max, Min, Q, Sum
from django.db.models.functions import TruncMonth
from django.utils.timezone import localdate

from inventory.models import Entry, Order, OrderReceipt, PutUp, StockItem
from inventory.shelf.reads import Described, described

NOTHING = Decimal("0.00")
_USING = (Entry.Reason.USE, Entry.Reason.CUT, Entry.Reason.WASTE, Entry.Reason.WIND)


@dataclass(frozen=True)
class Month:
    """What one month bought: the price of what came, and the shipping of what was ordered."""

    first: date
    goods: Decimal
    shipping: Decimal

    @property
    def total(self) -> Decimal:
        return self.goods + self.shipping


@dataclass(frozen=True)
class Turnover:
    """Bought and used of one kind of stock over a time, in its own unit."""

    kind: str
    bought: int
    used: int


@dataclass(frozen=True)
class PricePaid:
    """What one thing of a sort cost when it came."""

    what: str
    day: date
    supplier: str
    each: Decimal


@dataclass(frozen=True)
class DeadItem:
    """A thing that nobody has used for long; ``worth`` is the price of what is left, None if not known."""

    thing: Described
    since: date
    worth: Decimal | None


def spent_by_month(*, since: date) -> list[Month]:
    """Return what was spent in each month from ``since`` on, oldest first; what was taken back is not counted."""
    came = Entry.objects.filter(
        reason=Entry.Reason.RECEIVE,
        reversed_by__isnull=True,
        at__date__gte=since,
        item__price_paid__isnull=False,
    )
    goods: dict[date, Decimal] = defaultdict(lambda: NOTHING)
    for month, paid in (
        came.annotate(month=TruncMonth("at"))
        .order_by()
        .values_list("month")
        .annotate(paid=Sum("item__price_paid"))
    ):
        goods[localdate(month).replace(day=1)] += paid
    shipping: dict[date, Decimal] = defaultdict(lambda: NOTHING)
    placed = Order.objects.filter(state=Order.State.PLACED, placed_at__date__gte=since)
    for month, paid in (
        placed.annotate(month=TruncMonth("placed_at"))
        .order_by()
        .values_list("month")
        .annotate(paid=Sum("shipping"))
    ):
        shipping[localdate(month).replace(day=1)] += paid
    return [Month(first, goods[first], shipping[first]) for first in sorted({*goods, *shipping})]


def turnover(*, since: date) -> list[Turnover]:
    """Return what came and what was used of each kind since then."""
    standing = Entry.objects.filter(reversed_by__isnull=True, at__date__gte=since).order_by()
    bought = dict(
        standing.filter(reason=Entry.Reason.RECEIVE).values_list("item__kind").annotate(sum=Sum("quantity"))
    )
    used = dict(
        standing.filter(reason__in=_USING, quantity__lt=0)
        .values_list("item__kind")
        .annotate(sum=Sum("quantity"))
    )
    return [
        Turnover(kind.value, bought.get(kind.value, 0), -used.get(kind.value, 0))
        for kind in StockItem.Kind
        if kind.value in bought or kind.value in used
    ]


def price_history(*, since: date, most: int = 200) -> list[PricePaid]:
    """Return what things on orders cost when they came, by what they are and then by day."""
    receipts = (
        OrderReceipt.objects.standing()
        .filter(entry__at__date__gte=since, instead=False, entry__item__price_paid__isnull=False)
        .select_related(
            "entry__item", "line__order__supplier", "line__shade__range", "line__put_up", "line__product",
            "line__bobbin_style",
        )
        .order_by("-entry__at", "-pk")
    )  # fmt: skip
    seen: dict[tuple[int, int], PricePaid] = {}
    for receipt in receipts[: 20 * most]:
        line, item = receipt.line, receipt.entry.item
        assert item.price_paid is not None  # filtered above
        # Things of one delivery cost alike: one row for them.
        seen.setdefault(
            (line.pk, receipt.entry.at.toordinal()),
            PricePaid(
                f"{line.what}, {line.sold_as}",
                localdate(receipt.entry.at),
                line.order.supplier.name,
                (item.price_paid / receipt.count).quantize(Decimal("0.01")),
            ),
        )
    return sorted(seen.values(), key=lambda paid: (paid.what, paid.day))[:most]


def stock_value() -> dict[str, Decimal]:
    """Return what the stock of each kind cost, in the share that is left; what has no known price is left out."""
    value: dict[str, Decimal] = defaultdict(lambda: NOTHING)
    for item in StockItem.objects.on_the_shelf().filter(price_paid__isnull=False, quantity_paid__gt=0):
        value[item.kind] += _worth(item) or NOTHING
    return {kind: worth.quantize(Decimal("0.01")) for kind, worth in value.items()}


def unpriced_count() -> int:
    """Return how many things on the shelf have no known price."""
    return StockItem.objects.on_the_shelf().filter(on_hand__gt=0, price_paid__isnull=True).count()


def dead_stock(*, at: datetime, months: int, wanted: Iterable[int] = (), most: int = 200) -> list[DeadItem]:
    """Return what was neither received nor used for so many months and is not among the ``wanted`` item numbers."""
    limit = at - timedelta(days=round(months * 30.44))
    moved = Q(entries__reason__in=[*_USING, Entry.Reason.RECEIVE])
    idle = (
        StockItem.objects.on_the_shelf()
        .filter(on_hand__gt=0)
        .exclude(pk__in=list(wanted))
        .annotate(last=Max("entries__at", filter=moved), first=Min("entries__at"))
        .filter(Q(last__lt=limit) | Q(last__isnull=True, first__lt=limit))
        .order_by("last", "label")[:most]
    )
    since = {item.pk: item.last or item.first for item in idle}
    by_kind: dict[str, list[int]] = defaultdict(list)
    for item in idle:
        by_kind[item.kind].append(item.pk)
    things = [each for kind, pks in by_kind.items() for each in described(pks, kind=kind)]
    dead = [DeadItem(each, localdate(since[each.item.pk]), _worth(each.item)) for each in things]
    return sorted(dead, key=lambda each: (each.since, each.thing.item.label))


def unused_put_ups() -> list[PutUp]:
    """Return the put-ups of the catalogue that nobody ever owned, ordered or offered."""
    return list(
        PutUp.objects.filter(spools__isnull=True, offers__isnull=True)
        .exclude(pk__in=OrderReceipt.objects.filter(line__put_up__isnull=False).values("line__put_up"))
        .select_related("range")
        .order_by("range__maker", "range__name", "length_mm")
    )


def _worth(item: StockItem) -> Decimal | None:
    if item.price_paid is None or not item.quantity_paid:
        return None
    return (item.price_paid * min(item.on_hand, item.quantity_paid) / item.quantity_paid).quantize(
        Decimal("0.01")
    )
