"""Orders: drafted, placed, received in parts, given up, cancelled, and each of these taken back."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db import IntegrityError
from django.db.models import Max, QuerySet
from django.utils.timezone import localdate
from django.utils.translation import gettext as _

from inventory.acting import held as held_rows
from inventory.acting import standing_at, whole_act
from inventory.acting.days import plain_day
from inventory.compute.errors import WorkshopError
from inventory.compute.knowing import sealed_sigma
from inventory.compute.spoken import N_, figure
from inventory.ledger import Finding, LedgerProblem, Line, entries_of, once, reverse, write
from inventory.ledger.posting import SHOWN, key_missing, key_used
from inventory.models import (
    BobbinBatch,
    Change,
    Entry,
    Offer,
    Order,
    OrderLine,
    OrderReceipt,
    Place,
    PutUp,
    Shade,
    Spool,
    SprayCan,
    StabilizerRoll,
    StockItem,
    Supplier,
)
from inventory.shelf.receipts import COUNTED, label_and_save, shared_out

MOST_AT_ONCE = 1000
ATTEMPTS = 3
TOLD_AS = "order"  # what is told of orders in the journal of changes


class CannotOrder(WorkshopError):
    """The order does not stand so that this could be done with it."""


@dataclass(frozen=True)
class OrderedThing:
    """So many packs of an offer; ``shade`` says which where the offer holds for a whole range."""

    offer: Offer
    packs: int
    total: Decimal
    shade: Shade | None = None


@dataclass(frozen=True)
class Arrived:
    """What came for a line: ``count`` things of it, or of another shade ``instead``.

    ``price_each`` is None where it is as ordered. ``labels`` are drawn where none are given.
    """

    line: OrderLine
    count: int
    lot: str = ""
    price_each: Decimal | None = None
    instead: Shade | None = None
    instead_put_up: PutUp | None = None
    labels: Sequence[str] = field(default=())


def draft_order(
    supplier: Supplier,
    *,
    things: Sequence[OrderedThing],
    key: str,
    at: datetime,
    by: Any,
    shipping: Decimal = Decimal("0.00"),
    note: str = "",
) -> Order:
    """Return a numbered draft of an order; the same key sent again answers with the one it made."""
    if not key:
        raise key_missing()
    if not things:
        raise CannotOrder(_("An order needs at least one thing."))
    if any(thing.offer.supplier_id != supplier.pk for thing in things):
        raise CannotOrder(
            _("An order goes to one supplier; not everything here is from {supplier}.").format(
                supplier=supplier
            )
        )
    for attempt in range(ATTEMPTS):
        try:
            return _drafted(supplier, things, key=key, at=at, by=by, shipping=shipping, note=note)
        except IntegrityError:
            earlier = Order.objects.filter(key=key).first()
            if earlier is not None:
                return _same_draft(earlier, supplier, things)
            # Another hand took the number at the same moment: the next one is free.
            if attempt == ATTEMPTS - 1:
                raise
    raise AssertionError("the last attempt returns or raises")


@whole_act
def _drafted(supplier: Supplier, things: Sequence[OrderedThing], **particulars: Any) -> Order:
    last = Order.objects.aggregate(last=Max("number"))["last"] or 0
    at = particulars.pop("at")
    order = Order.objects.create(number=last + 1, supplier=supplier, made_at=at, **particulars)
    _note(order, N_("drafted"), at=at, by=particulars["by"])
    OrderLine.objects.bulk_create(_line_of(order, number, thing) for number, thing in enumerate(things, 1))
    return order


def _same_draft(earlier: Order, supplier: Supplier, things: Sequence[OrderedThing]) -> Order:
    asked = [(thing.packs, thing.total) for thing in things]
    there = [(line.packs, line.total) for line in earlier.lines.all()]
    if earlier.supplier_id != supplier.pk or asked != there:
        raise key_used(earlier.key)
    return earlier


def _line_of(order: Order, number: int, thing: OrderedThing) -> OrderLine:
    offer = thing.offer
    shade = thing.shade or offer.shade
    if thing.packs < 1:
        raise CannotOrder(_("{packs} packs cannot be ordered; order 1 or more.").format(packs=thing.packs))
    if offer.put_up is not None and (shade is None or shade.range_id != offer.put_up.range_id):
        raise CannotOrder(
            _("{offer} is thread: say which shade of {range} is wanted.").format(
                offer=offer, range=offer.put_up.range
            )
        )
    return OrderLine(
        order=order,
        number=number,
        shade=None if offer.product_id else shade,
        put_up=offer.put_up,
        bobbin_style=offer.bobbin_style,
        bobbin_length_mm=offer.bobbin_length_mm,
        product=offer.product,
        roll_width_mm=offer.roll_width_mm,
        roll_length_mm=offer.roll_length_mm,
        can_mg=offer.can_mg,
        packs=thing.packs,
        pack=offer.pack,
        things=thing.packs * offer.pack,
        total=thing.total,
    )


@whole_act
def place_order(order: Order, *, at: datetime, by: Any = None, expected_on: date | None = None) -> Order:
    """Return ``order``, now placed; it is expected after the supplier's lead time unless a day is given."""
    held = _held(order)
    if held.state == Order.State.PLACED:
        return held
    if held.state == Order.State.CANCELLED:
        raise CannotOrder(
            _("Order {number} is cancelled. Take that back first, or draft another.").format(
                number=held.number
            )
        )
    placed_on = localdate(at)
    expected_on = expected_on or placed_on + timedelta(days=held.supplier.lead_time_days)
    if expected_on < placed_on:
        raise CannotOrder(
            _("It cannot be expected on {expected_on}, before it is placed.").format(
                expected_on=plain_day(expected_on)
            )
        )
    held.state, held.placed_at, held.expected_on = Order.State.PLACED, at, expected_on
    held.save(update_fields=["state", "placed_at", "expected_on"])
    _note(held, N_("placed"), at=at, by=by)
    return held


@whole_act
def expect_order(order: Order, *, on: date, at: datetime, by: Any = None) -> Order:
    """Return ``order`` with another day on which its rest is expected."""
    held = _held(order)
    if held.state != Order.State.PLACED:
        raise CannotOrder(
            _("Order {number} is {state}, so nothing of it is expected.").format(
                number=held.number, state=held.get_state_display()
            )
        )
    if held.expected_on == on:
        return held
    held.expected_on = on
    held.save(update_fields=["expected_on"])
    _note(held, f"expected on {on:%-d %b %Y}", at=at, by=by)
    return held


@whole_act
def cancel_order(order: Order, *, at: datetime, by: Any = None) -> Order:
    """Return ``order`` without what has not come of it: cancelled where nothing has, else closed."""
    held = _held(order)
    lines = list(held.lines.with_received())
    if held.state == Order.State.CANCELLED:
        return held
    if any(line.received for line in lines):
        if all(line.given_up == line.things - line.received for line in lines):
            return held
        for line in lines:
            line.given_up = line.things - line.received
        OrderLine.objects.bulk_update(lines, ["given_up"])
        _note(held, N_("closed: the rest is not expected"), at=at, by=by)
        return held
    held.state, held.cancelled_at = Order.State.CANCELLED, at
    held.save(update_fields=["state", "cancelled_at"])
    _note(held, N_("cancelled"), at=at, by=by)
    return held


@whole_act
def take_cancelling_back(order: Order, *, at: datetime, by: Any = None) -> Order:
    """Return ``order`` as it stood before it was cancelled, or before its rest was given up."""
    held = _held(order)
    if held.state == Order.State.CANCELLED:
        held.state = Order.State.PLACED if held.placed_at else Order.State.DRAFT
        held.cancelled_at = None
        held.save(update_fields=["state", "cancelled_at"])
    held.lines.update(given_up=0)
    _note(held, N_("expected again"), at=at, by=by)
    return held


@whole_act
def give_up(line: OrderLine, *, at: datetime, by: Any = None) -> OrderLine:
    """Return ``line`` with nothing more expected of it: it came short."""
    held = _held(line.order)
    now = OrderLine.objects.with_received().get(pk=line.pk)
    if held.state != Order.State.PLACED:
        raise CannotOrder(
            _("Order {number} is {state}; nothing of it is expected.").format(
                number=held.number, state=held.get_state_display()
            )
        )
    now.given_up = now.things - now.received
    now.save(update_fields=["given_up"])
    _note(held, f"the rest of {now.what} is not expected", at=at, by=by)
    return now


def told_of_order(order: Order) -> QuerySet[Change]:
    """Return what was done with an order, by whom and at which station, oldest first."""
    return Change.objects.filter(table=TOLD_AS, record=order.pk).select_related("by").order_by("pk")


def _note(order: Order, what: str, *, at: datetime, by: Any) -> None:
    Change.objects.create(
        table=TOLD_AS, record=order.pk, what=what[:200], at=at, by=by, station=standing_at(by)
    )


def receive_order(
    order: Order, *, arrived: Sequence[Arrived], key: str, at: datetime, by: Any, place: Place | None = None
) -> list[Entry]:
    """Return the entries of one act that puts what came of ``order`` on the shelf, each thing with its label.

    A line takes no more than is still to come of it, so that nothing is received twice, under whatever key; the
    same key sent again moves nothing. What came ``instead`` goes on the shelf too, and its line still waits.
    """
    parcels = [each for each in arrived if each.count]
    if not parcels:
        raise CannotOrder(_("Nothing was said to have come; give a count for at least one line."))
    receipts: dict[int, tuple[Arrived, int]] = {}

    def act() -> list[Entry]:
        held = _held(order)
        if held.state != Order.State.PLACED:
            raise CannotOrder(
                _("Order {number} is {state}; place it first.").format(
                    number=held.number, state=held.get_state_display()
                )
            )
        _refuse_too_much(held, parcels)
        lines: list[Line] = []
        for parcel in parcels:
            items, quantity, finding = _items(parcel, at=at, place=place)
            label_and_save(items, labels=parcel.labels)
            for item in items:
                receipts[len(lines)] = (parcel, quantity if isinstance(item, BobbinBatch) else 1)
                lines.append(Line(item, quantity, finding=finding))
        entries = write(
            lines,
            reason=Entry.Reason.RECEIVE,
            key=key,
            at=at,
            by=by,
            reference=f"order {held.number}",
        )
        OrderReceipt.objects.bulk_create(
            OrderReceipt(
                line=receipts[entry.line][0].line,
                entry=entry,
                count=receipts[entry.line][1],
                instead=receipts[entry.line][0].instead is not None,
            )
            for entry in entries
        )
        return entries

    def same(entries: Sequence[Entry]) -> bool:
        came: dict[tuple[int, bool], int] = {}
        for receipt in OrderReceipt.objects.filter(entry__in=entries):
            at_line = (receipt.line_id, receipt.instead)
            came[at_line] = came.get(at_line, 0) + receipt.count
        return came == _counts(parcels)

    return once(key, act, same=same)


def _counts(parcels: Iterable[Arrived]) -> dict[tuple[int, bool], int]:
    counts: dict[tuple[int, bool], int] = {}
    for parcel in parcels:
        at_line = (parcel.line.pk, parcel.instead is not None)
        counts[at_line] = counts.get(at_line, 0) + parcel.count
    return counts


def _refuse_too_much(order: Order, parcels: Sequence[Arrived]) -> None:
    lines: Mapping[int, OrderLine] = {line.pk: line for line in order.lines.with_received()}
    for (pk, instead), count in _counts(parcels).items():
        if pk not in lines:
            raise CannotOrder(
                _("This is no line of order {number}. Open the order again.").format(number=order.number)
            )
        if not 1 <= count <= MOST_AT_ONCE:
            raise CannotOrder(
                _("{count} cannot be received at once; give a count from 1 to {most}.").format(
                    count=count, most=figure(MOST_AT_ONCE)
                )
            )
        if not instead and count > lines[pk].to_come:
            raise CannotOrder(
                _(
                    "{what}: {to_come} are still to come of order {number}, not {count}. Receive what is "
                    "beyond the order from the shelf's own page."
                ).format(what=lines[pk].what, to_come=lines[pk].to_come, number=order.number, count=count)
            )


def _items(parcel: Arrived, *, at: datetime, place: Place | None) -> tuple[list[StockItem], int, Finding]:
    """Return the things of one parcel, not saved yet, with what each holds and how that is known."""
    line, count = parcel.line, parcel.count
    price = line.price_each if parcel.price_each is None else parcel.price_each
    shared: dict[str, Any] = {"place": place, "lot": parcel.lot[:40], "received_on": localdate(at)}
    sealed = StockItem.Known.SEALED
    if line.product is not None and line.can_mg:
        about = {"product": line.product, "full_mg": line.can_mg, "quantity_paid": line.can_mg}
        cans: list[StockItem] = [
            SprayCan(kind=StockItem.Kind.CAN, price_paid=price, **about, **shared) for _ in range(count)
        ]
        return cans, line.can_mg, Finding(sealed_sigma(line.can_mg), sealed)
    if line.product is not None:
        length = line.roll_length_mm or 0
        rolls: list[StockItem] = [
            StabilizerRoll(
                kind=StockItem.Kind.ROLL,
                product=line.product,
                width_mm=line.roll_width_mm or 0,
                price_paid=price,
                quantity_paid=length,
                **shared,
            )
            for _ in range(count)
        ]
        return rolls, length, Finding(0.5 * sealed_sigma(length), sealed)
    assert line.shade is not None  # every line is of a shade or of a stabilizer
    shade = parcel.instead or line.shade
    if line.bobbin_style is not None:
        batch = BobbinBatch(
            kind=StockItem.Kind.BOBBINS,
            style=line.bobbin_style,
            shade=shade,
            length_mm=line.bobbin_length_mm or 0,
            price_paid=price * count,
            quantity_paid=count,
            **shared,
        )
        return [batch], count, COUNTED
    put_up = parcel.instead_put_up or line.put_up
    if put_up is None or put_up.range_id != shade.range_id:
        raise CannotOrder(
            _("{shade} is not sold as {put_up}; choose a put-up of its own range.").format(
                shade=shade, put_up=put_up
            )
        )
    # Shared to the cent, so that the spools of a parcel cost together what was paid.
    prices = shared_out(price * count, count)
    spools: list[StockItem] = [
        Spool(
            kind=StockItem.Kind.SPOOL,
            shade=shade,
            put_up=put_up,
            price_paid=each,
            quantity_paid=put_up.length_mm,
            **shared,
        )
        for each in prices
    ]
    return spools, put_up.length_mm, Finding(sealed_sigma(put_up.length_mm), sealed)


def reverse_receipt(order: Order, *, key: str, at: datetime, by: Any) -> list[Entry]:
    """Return the entries that take back the receipt made under ``key``; its lines wait again."""
    entries = [entry for entry in entries_of(key) if entry.line < SHOWN]
    if not OrderReceipt.objects.filter(line__order=order, entry__in=entries).exists():
        raise CannotOrder(
            _("Nothing of order {number} was received under this key.").format(number=order.number)
        )
    return reverse(
        entries[0],
        key=f"undo-{entries[0].pk}",
        at=at,
        by=by,
        reference=f"order {order.number}",
    )


def order_problems() -> list[LedgerProblem]:
    """Return every line of an order of which more came than was ordered and not given up."""
    return [
        LedgerProblem(
            _("no order brings more than was ordered"),
            _("order {number}, line {line}").format(number=line.order.number, line=line.number),
            _("{number} came of {all}").format(number=line.received, all=line.things - line.given_up),
        )
        for line in OrderLine.objects.with_received().select_related("order")
        if line.received > line.things - line.given_up
    ]


def _held(order: Order) -> Order:
    """Return the order as it stands, held against every other change until the transaction ends."""
    return held_rows(Order.objects.select_related(None)).get(pk=order.pk)
