"""Things that come onto the shelf: each delivery is one act that makes the items and their entries together."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any, TypeVar, cast

from django.utils.timezone import localdate
from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError, require_not_negative
from inventory.compute.knowing import RELATIVE_SIGMA, sealed_sigma
from inventory.compute.units import told_sides
from inventory.ledger import Finding, Line, once, write
from inventory.ledger.posting import SHOWN
from inventory.models import (
    BobbinBatch,
    BobbinStyle,
    Entry,
    NeedlePack,
    Offcut,
    Place,
    PutUp,
    Shade,
    SheetPack,
    Spool,
    SprayCan,
    StabilizerProduct,
    StabilizerRoll,
    StockItem,
)
from inventory.shelf.labelled import next_labels

Item = TypeVar("Item", bound=StockItem)

COUNTED = Finding(0.0, StockItem.Known.COUNTED)


class LabelTaken(WorkshopError):
    """Another item carries the label code already."""


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
        return localdate(self.at)


def receive_spools(
    shade: Shade,
    *,
    put_up: PutUp,
    delivery: Delivery,
    count: int = 1,
    labels: Sequence[str] = (),
    prices: Sequence[Decimal] = (),
) -> list[Spool]:
    """Return ``count`` full spools of ``shade``, now on the shelf; ``prices`` one by one where they differ."""
    _refuse_of_another_range(put_up, shade)
    spools = [
        Spool(kind=StockItem.Kind.SPOOL, shade=shade, put_up=put_up, **_shared(delivery, put_up.length_mm))
        for _ in range(_counted(count))
    ]
    for spool, price in zip(spools, prices, strict=bool(prices)):
        spool.price_paid, spool.quantity_paid = price, put_up.length_mm
    return _receive(
        spools, quantity=put_up.length_mm, finding=_sealed(put_up.length_mm), delivery=delivery, labels=labels
    )


def receive_open_spool(
    shade: Shade,
    *,
    delivery: Delivery,
    put_up: PutUp | None = None,
    length_mm: int | None = None,
    sigma_mm: float | None = None,
    known: str = StockItem.Known.JUDGED,
    labels: Sequence[str] = (),
) -> Spool:
    """Return a part-used spool that is new to the books.

    ``length_mm`` is None where nobody knows how much is on it: it stays unknown until it is weighed or judged.
    ``sigma_mm`` is None for what goes with ``known``.
    """
    if put_up is not None:
        _refuse_of_another_range(put_up, shade)
    if length_mm is None:
        quantity, finding = 0, Finding(None, StockItem.Known.UNKNOWN)
    else:
        quantity = int(require_not_negative(length_mm, what=_("length on the spool in mm")))
        finding = Finding(RELATIVE_SIGMA[known] * quantity if sigma_mm is None else sigma_mm, known)
    spool = Spool(
        kind=StockItem.Kind.SPOOL,
        shade=shade,
        put_up=put_up,
        opened_on=delivery.on,
        **_shared(delivery, quantity),
    )
    return _receive([spool], quantity=quantity, finding=finding, delivery=delivery, labels=labels)[0]


def receive_boxes(
    shade: Shade,
    *,
    put_up: PutUp,
    boxes: int,
    spools_each: int,
    delivery: Delivery,
    price_a_box: Decimal | None = None,
    labels: Sequence[str] = (),
) -> list[Spool]:
    """Return the spools of ``boxes`` boxes of ``spools_each``, every one an item of its own.

    The price of a box is shared out to the cent, so that the spools of a box cost together what the box did.
    """
    count = _counted(_counted(boxes) * _counted(spools_each))
    prices = [] if price_a_box is None else shared_out(price_a_box, spools_each) * boxes
    return receive_spools(shade, put_up=put_up, delivery=delivery, count=count, labels=labels, prices=prices)


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
        raise WorkshopError(
            _("A bobbin with {length} on it is empty; give its length.").format(length=told_sides(length_mm))
        )
    shared = _shared(delivery, _counted(count))
    if delivery.price_each is not None:
        shared["price_paid"] = delivery.price_each * count
    batch = BobbinBatch(
        kind=StockItem.Kind.BOBBINS,
        style=style,
        shade=shade,
        length_mm=length_mm,
        self_wound=self_wound,
        **shared,
    )
    return _receive([batch], quantity=count, finding=COUNTED, delivery=delivery, labels=labels)[0]


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
    _refuse_spray(product)
    if width_mm <= 0 or length_mm <= 0:
        raise WorkshopError(
            _("A roll of {size} holds nothing; give its width and length.").format(
                size=told_sides(width_mm, length_mm)
            )
        )
    rolls = [
        StabilizerRoll(
            kind=StockItem.Kind.ROLL, product=product, width_mm=width_mm, **_shared(delivery, length_mm)
        )
        for _ in range(_counted(count))
    ]
    return _receive(
        rolls, quantity=length_mm, finding=_sealed(length_mm, share=0.5), delivery=delivery, labels=labels
    )


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
    _refuse_spray(product)
    if width_mm <= 0 or height_mm <= 0:
        raise WorkshopError(
            _("A sheet of {size} is nothing; give its width and height.").format(
                size=told_sides(width_mm, height_mm)
            )
        )
    pack = SheetPack(
        kind=StockItem.Kind.SHEETS,
        product=product,
        width_mm=width_mm,
        height_mm=height_mm,
        **_shared(delivery, _counted(count)),
    )
    return _receive([pack], quantity=count, finding=COUNTED, delivery=delivery, labels=labels)[0]


def receive_offcut(
    product: StabilizerProduct,
    *,
    width_mm: int,
    height_mm: int,
    delivery: Delivery,
    labels: Sequence[str] = (),
) -> Offcut:
    """Return a rectangle of stabilizer that turned up on the shelf; ``height_mm`` along the roll it came from."""
    if width_mm <= 0 or height_mm <= 0:
        raise WorkshopError(
            _("An offcut of {size} is nothing; give its width and height.").format(
                size=told_sides(width_mm, height_mm)
            )
        )
    offcut = Offcut(
        kind=StockItem.Kind.OFFCUT,
        product=product,
        width_mm=width_mm,
        height_mm=height_mm,
        **_shared(delivery, 1),
    )
    return _receive([offcut], quantity=1, finding=COUNTED, delivery=delivery, labels=labels)[0]


def receive_cans(
    product: StabilizerProduct,
    *,
    content_mg: int,
    delivery: Delivery,
    count: int = 1,
    empty_mg: int | None = None,
    labels: Sequence[str] = (),
) -> list[SprayCan]:
    """Return ``count`` full cans of ``product`` with ``content_mg`` in each, as is printed on them."""
    if product.kind != StabilizerProduct.Kind.SPRAY:
        raise WorkshopError(
            _("{product} is {kind}, which comes in no can.").format(
                product=product, kind=product.get_kind_display()
            )
        )
    if content_mg <= 0:
        raise WorkshopError(
            _("A can with nothing in it is empty; give the weight that is printed as its content.")
        )
    about = {"product": product, "full_mg": content_mg, "empty_mg": empty_mg, **_shared(delivery, content_mg)}
    cans = [SprayCan(kind=StockItem.Kind.CAN, **about) for _ in range(_counted(count))]
    return _receive(cans, quantity=content_mg, finding=_sealed(content_mg), delivery=delivery, labels=labels)


def receive_needles(
    *,
    system: str,
    size: int,
    count: int,
    delivery: Delivery,
    point: str = NeedlePack.Point.UNIVERSAL,
    labels: Sequence[str] = (),
) -> NeedlePack:
    """Return a pack of ``count`` needles of ``system`` and metric ``size``."""
    if not system.strip():
        raise WorkshopError(
            _("Needles need the system that is printed on their pack, or nobody knows what they fit.")
        )
    if size <= 0:
        raise WorkshopError(_("{size} is no needle size; give the metric one, such as 75.").format(size=size))
    if point not in NeedlePack.Point.values:
        raise WorkshopError(
            _('"{point}" is no needle point. Use {names}.').format(
                point=point, names=", ".join(NeedlePack.Point.values)
            )
        )
    pack = NeedlePack(
        kind=StockItem.Kind.NEEDLES,
        system=system.strip(),
        size=size,
        point=point,
        **_shared(delivery, _counted(count)),
    )
    return _receive([pack], quantity=count, finding=COUNTED, delivery=delivery, labels=labels)[0]


@dataclass(frozen=True)
class Arrival:
    """A thing on its way onto the shelf: not saved yet, under its label code, with what it holds."""

    item: StockItem
    quantity: int
    finding: Finding


def receive_many(
    arrivals: Sequence[Arrival], *, key: str, at: datetime, by: Any, reference: str = ""
) -> list[Entry]:
    """Return the entries of one act that puts things of any kinds on the shelf, each as ``arrivals`` has it."""

    def act() -> list[Entry]:
        for arrival in arrivals:
            arrival.item.save()
        lines = [Line(arrival.item, arrival.quantity, finding=arrival.finding) for arrival in arrivals]
        return write(lines, reason=Entry.Reason.RECEIVE, key=key, at=at, by=by, reference=reference)

    def same(entries: Sequence[Entry]) -> bool:
        came = [(entry.item.label, entry.quantity, entry.reason) for entry in entries]
        return came == [(arrival.item.label, arrival.quantity, Entry.Reason.RECEIVE) for arrival in arrivals]

    return once(key, act, same=same)


def shared_out(price: Decimal, count: int) -> list[Decimal]:
    """Return ``count`` prices to the cent that differ by one cent at most and add up to ``price``.

    >>> [str(share) for share in shared_out(Decimal("10.00"), 3)]
    ['3.34', '3.33', '3.33']
    """
    cents, over = divmod(int(price * 100), count)
    return [Decimal(cents + (place < over)) / 100 for place in range(count)]


def _sealed(quantity: int, *, share: float = 1.0) -> Finding:
    """What is known of something as it was sold; a roll's length is truer by half (common practice, no source)."""
    return Finding(share * sealed_sigma(quantity), StockItem.Known.SEALED)


def _shared(delivery: Delivery, quantity: int) -> dict[str, Any]:
    return {
        "place": delivery.place,
        "lot": delivery.lot,
        "received_on": delivery.on,
        "price_paid": delivery.price_each,
        "quantity_paid": None if delivery.price_each is None or not quantity else quantity,
    }


def _counted(count: int) -> int:
    if not 1 <= count <= 1000:
        said = _("{count} cannot be received at once; give a count from 1 to 1,000.")
        raise WorkshopError(said.format(count=count))
    return count


def _receive(
    items: list[Item], *, quantity: int, finding: Finding, delivery: Delivery, labels: Sequence[str]
) -> list[Item]:
    def act() -> list[Entry]:
        label_and_save(items, labels=labels)
        lines = [Line(item, quantity, finding=finding) for item in items]
        return write(
            lines,
            reason=Entry.Reason.RECEIVE,
            key=delivery.key,
            at=delivery.at,
            by=delivery.by,
            reference=delivery.reference,
        )

    def same(entries: Sequence[Entry]) -> bool:
        came = [(entry.quantity, entry.reason) for entry in entries]
        if came != [(quantity, Entry.Reason.RECEIVE)] * len(items):
            return False
        there = brought(entries, type(items[0]))
        return [_what_it_is(item) for item in there] == [_what_it_is(item) for item in items]

    return brought(once(delivery.key, act, same=same), type(items[0]))


def brought(entries: Sequence[Entry], model: type[Item]) -> list[Item]:
    """Return the items of kind ``model`` that came with an act, in the order of its lines."""
    pks = [entry.item_id for entry in entries if entry.line < SHOWN]
    found = model._default_manager.in_bulk(pks)
    return [cast(Item, found[pk]) for pk in pks if pk in found]


def _refuse_of_another_range(put_up: PutUp, shade: Shade) -> None:
    if put_up.range_id != shade.range_id:
        raise WorkshopError(
            _("{shade} is not sold as {put_up} of {range}; choose a length of its own range.").format(
                shade=shade, put_up=put_up, range=put_up.range
            )
        )


def _refuse_spray(product: StabilizerProduct) -> None:
    if product.kind == StabilizerProduct.Kind.SPRAY:
        raise WorkshopError(_("{product} is a spray: it comes in cans, by weight.").format(product=product))


def price_share(item: StockItem, quantity: int, *, becomes: int) -> dict[str, Any]:
    """Return the price, as fields of a new item that holds ``becomes``, of ``quantity`` taken out of ``item``."""
    if item.price_paid is None or not item.quantity_paid:
        return {}
    price = (item.price_paid * quantity / item.quantity_paid).quantize(Decimal("0.01"))
    return {"price_paid": price, "quantity_paid": becomes}


def _what_it_is(item: StockItem) -> dict[str, Any]:
    """Return what two items received by one request have in common, whatever happened to them since."""
    return {
        field.attname: getattr(item, field.attname)
        for field in item._meta.local_concrete_fields
        if not field.primary_key and field.name not in ("tare_mg", "empty_mg")
    }


def label_and_save(items: Sequence[StockItem], *, labels: Sequence[str] = ()) -> None:
    """Save new items of one kind under ``labels``, or the next free ones; call it inside the act's transaction."""
    given = [label.strip() for label in labels]
    if given and len(given) != len(items):
        raise WorkshopError(
            _("There are {labels} label codes for {things} things. Give one for each.").format(
                labels=len(given), things=len(items)
            )
        )
    for number, label in enumerate(given):
        if not label or label.casefold() in (earlier.casefold() for earlier in given[:number]):
            raise LabelTaken(
                _('"{label}" cannot label two things. Give every one a code of its own.').format(label=label)
            )
        if StockItem.objects.filter(label__iexact=label).exists():
            raise LabelTaken(
                _("{label} is on another item already. Choose a different code, or leave it out.").format(
                    label=label
                )
            )
    for item, label in zip(items, given or next_labels(items[0].kind, len(items)), strict=True):
        item.label = label
        item.save()


MOST_PRICE = Decimal("99999999.99")  # what its column holds
