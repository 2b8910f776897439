"""Things that come onto the shelf: each delivery is one act that makes the items and their entries together."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any, TypeVar

from django.db import IntegrityError, transaction
from django.db.models import F

from inventory.compute.errors import WorkshopError
from inventory.compute.knowing import sealed_sigma
from inventory.ledger import Finding, Line, post
from inventory.models import (
    BobbinBatch,
    BobbinStyle,
    Entry,
    LabelSeries,
    Place,
    PutUp,
    Shade,
    SheetPack,
    Spool,
    StabilizerProduct,
    StabilizerRoll,
    StockItem,
)

Item = TypeVar("Item", bound=StockItem)


@dataclass(frozen=True)
class Delivery:
    """What all items of one delivery share. ``key`` makes it happen once; ``price_each`` is None if not known."""

    key: str
    at: datetime
    by: Any
    place: Place | None = None
    lot: str = ""
    price_each: Decimal | None = None
    reference: str = ""

    @property
    def on(self) -> date:
        return self.at.date()


def receive_spools(
    shade: Shade,
    *,
    put_up: PutUp,
    delivery: Delivery,
    count: int = 1,
    labels: Sequence[str] = (),
) -> list[Spool]:
    """Return ``count`` full spools of ``shade``, now on the shelf."""
    if put_up.range_id != shade.range_id:
        raise WorkshopError(f"{shade} is not sold as {put_up} of {put_up.range}; choose a put-up of its own range.")
    spools = [
        Spool(kind=StockItem.Kind.SPOOL, shade=shade, put_up=put_up, **_shared(delivery, put_up.length_mm))
        for _ in range(_counted(count))
    ]
    return _receive(
        spools, quantity=put_up.length_mm, sigma=sealed_sigma(put_up.length_mm), delivery=delivery, labels=labels
    )


def receive_bobbins(
    style: BobbinStyle,
    *,
    shade: Shade,
    length_mm: int,
    count: int,
    delivery: Delivery,
    self_wound: bool = False,
    labels: Sequence[str] = (),
) -> BobbinBatch:
    """Return a batch of ``count`` full bobbins with ``length_mm`` on each."""
    if length_mm <= 0:
        raise WorkshopError(f"A bobbin with {length_mm} mm on it is empty; give its length.")
    shared = _shared(delivery, _counted(count))
    if delivery.price_each is not None:
        shared["price_paid"] = delivery.price_each * count
    batch = BobbinBatch(
        kind=StockItem.Kind.BOBBINS, style=style, shade=shade, length_mm=length_mm, self_wound=self_wound, **shared
    )
    return _receive([batch], quantity=count, sigma=0.0, delivery=delivery, labels=labels)[0]


def receive_rolls(
    product: StabilizerProduct,
    *,
    width_mm: int,
    length_mm: int,
    delivery: Delivery,
    count: int = 1,
    labels: Sequence[str] = (),
) -> list[StabilizerRoll]:
    """Return ``count`` full rolls of ``product``."""
    if width_mm <= 0 or length_mm <= 0:
        raise WorkshopError(f"A roll of {width_mm} × {length_mm} mm holds nothing; give its width and length.")
    rolls = [
        StabilizerRoll(
            kind=StockItem.Kind.ROLL, product=product, width_mm=width_mm, **_shared(delivery, length_mm)
        )
        for _ in range(_counted(count))
    ]
    return _receive(rolls, quantity=length_mm, sigma=sealed_sigma(length_mm) / 2, delivery=delivery, labels=labels)


def receive_sheets(
    product: StabilizerProduct,
    *,
    width_mm: int,
    height_mm: int,
    count: int,
    delivery: Delivery,
    labels: Sequence[str] = (),
) -> SheetPack:
    """Return a pack of ``count`` cut sheets."""
    if width_mm <= 0 or height_mm <= 0:
        raise WorkshopError(f"A sheet of {width_mm} × {height_mm} mm is nothing; give its width and height.")
    pack = SheetPack(
        kind=StockItem.Kind.SHEETS,
        product=product,
        width_mm=width_mm,
        height_mm=height_mm,
        **_shared(delivery, _counted(count)),
    )
    return _receive([pack], quantity=count, sigma=0.0, delivery=delivery, labels=labels)[0]


def _shared(delivery: Delivery, quantity: int) -> dict[str, Any]:
    return {
        "place": delivery.place,
        "lot": delivery.lot,
        "received_on": delivery.on,
        "price_paid": delivery.price_each,
        "quantity_paid": None if delivery.price_each is None else quantity,
    }


def _counted(count: int) -> int:
    if not 1 <= count <= 1000:
        raise WorkshopError(f"{count} cannot be received at once; give a count from 1 to 1,000.")
    return count


def _receive(
    items: list[Item], *, quantity: int, sigma: float, delivery: Delivery, labels: Sequence[str]
) -> list[Item]:
    model = type(items[0])
    known = StockItem.Known.COUNTED if sigma == 0.0 else StockItem.Known.SEALED
    try:
        with transaction.atomic():
            earlier = _received_before(model, delivery.key)
            if earlier:
                return earlier
            for item, label in zip(items, labels or next_labels(items[0].kind, len(items)), strict=True):
                item.label = label
                item.save()
            lines = [Line(item, quantity, finding=Finding(sigma, known)) for item in items]
            post(
                lines,
                reason=Entry.Reason.RECEIVE,
                key=delivery.key,
                at=delivery.at,
                by=delivery.by,
                reference=delivery.reference,
            )
    except IntegrityError:
        # The same delivery, sent twice at the same moment: the other one was first.
        earlier = _received_before(model, delivery.key)
        if not earlier:
            raise
        return earlier
    for item in items:
        item.refresh_from_db()
    return items


def _received_before(model: type[Item], key: str) -> list[Item]:
    pks = Entry.objects.filter(key=key).order_by("line").values_list("item_id", flat=True)
    found = model._default_manager.in_bulk(list(pks))
    return [found[pk] for pk in pks if pk in found]


PREFIXES = {
    StockItem.Kind.SPOOL: "S",
    StockItem.Kind.BOBBINS: "B",
    StockItem.Kind.PART_BOBBIN: "P",
    StockItem.Kind.ROLL: "R",
    StockItem.Kind.SHEETS: "H",
    StockItem.Kind.OFFCUT: "C",
}


def next_labels(kind: str, count: int) -> list[str]:
    """Return ``count`` label codes that nothing carries yet, such as S0042; call it inside a transaction."""
    prefix = PREFIXES[StockItem.Kind(kind)]
    LabelSeries.objects.get_or_create(prefix=prefix)
    LabelSeries.objects.filter(prefix=prefix).update(last=F("last") + count)
    last = LabelSeries.objects.get(prefix=prefix).last
    return [f"{prefix}{number:04}" for number in range(last - count + 1, last + 1)]
