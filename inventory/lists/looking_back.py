"""Looking back: what was spent, what was bought and used, what prices did, what lies there unused."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from itertools import islice

from django.db.models import Max, Min, Sum
from django.utils.timezone import get_current_timezone, localdate, make_aware

from inventory.models import Entry, Order, OrderReceipt, PutUp, StockItem
from inventory.schema.plain_rows import moment_of, plain_rows
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
    came = (
        Entry.objects.filter(
            reason=Entry.Reason.RECEIVE,
            reversed_by__isnull=True,
            at__gte=_midnight(since),
            item__price_paid__isnull=False,
        )
        .order_by()
        .values_list("at", "item__price_paid")
    )
    goods: dict[date, Decimal] = defaultdict(lambda: NOTHING)
    for at, paid in came:
        assert paid is not None  # filtered above
        goods[localdate(at).replace(day=1)] += paid
    shipping: dict[date, Decimal] = defaultdict(lambda: NOTHING)
    placed = Order.objects.filter(state=Order.State.PLACED, placed_at__gte=_midnight(since)).order_by()
    for placed_at, cost in placed.values_list("placed_at", "shipping"):
        assert placed_at is not None  # filtered above
        shipping[localdate(placed_at).replace(day=1)] += cost
    return [Month(first, goods[first], shipping[first]) for first in sorted({*goods, *shipping})]


def turnover(*, since: date) -> list[Turnover]:
    """Return what came and what was used of each kind since then."""
    standing = Entry.objects.filter(reversed_by__isnull=True, at__gte=_midnight(since)).order_by()
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
        .filter(entry__at__gte=_midnight(since), instead=False, entry__item__price_paid__isnull=False)
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
    priced = StockItem.objects.on_the_shelf().filter(price_paid__isnull=False, quantity_paid__gt=0)
    for kind, price, paid, on_hand in priced.values_list("kind", "price_paid", "quantity_paid", "on_hand"):
        if price is not None and paid:
            value[kind] += _share(price, of=paid, left=on_hand)
    return {kind: worth.quantize(Decimal("0.01")) for kind, worth in value.items()}


def unpriced_count() -> int:
    """Return how many things on the shelf have no known price."""
    return StockItem.objects.on_the_shelf().filter(on_hand__gt=0, price_paid__isnull=True).count()


def idle_since(*, at: datetime, months: int) -> dict[int, datetime]:
    """Return since when each thing on the shelf lies there that was neither received nor used for so many months.

    By the thing's number, the longest first.
    """
    limit = at - timedelta(days=round(months * 30.44))
    every = Entry.objects.order_by().values_list("item_id")
    moved = every.filter(reason__in=[*_USING, Entry.Reason.RECEIVE])
    # What moved last counts, or where nothing ever did, what stands first in the books.
    last = {item: first for some in plain_rows(every.annotate(first=Min("at"))) for item, first in some}
    last |= {item: at for some in plain_rows(moved.annotate(last=Max("at"))) for item, at in some}
    there = (
        StockItem.objects.on_the_shelf().filter(on_hand__gt=0).order_by("label").values_list("pk", flat=True)
    )
    since = {item: moment_of(last[item]) for item in there if item in last}
    idle = [(moment, item) for item, moment in since.items() if moment < limit]
    return {item: moment for moment, item in sorted(idle, key=lambda each: each[0])}


def dead_stock(
    idle: Mapping[int, datetime], *, wanted: Iterable[int] = (), most: int = 200
) -> list[DeadItem]:
    """Return the things of ``idle_since`` that are not among the ``wanted`` item numbers, the longest idle first."""
    needed = set(wanted)
    since = dict(islice(((item, day) for item, day in idle.items() if item not in needed), most))
    by_kind: dict[str, list[int]] = defaultdict(list)
    for item, kind in StockItem.objects.filter(pk__in=since).order_by().values_list("pk", "kind"):
        by_kind[kind].append(item)
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
    return _share(item.price_paid, of=item.quantity_paid, left=item.on_hand)


def _share(price: Decimal, *, of: int, left: int) -> Decimal:
    return (price * min(left, of) / of).quantize(Decimal("0.01"))


def _midnight(day: date) -> datetime:
    return make_aware(datetime.combine(day, time.min), get_current_timezone())
