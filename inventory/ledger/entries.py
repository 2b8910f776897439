"""Every movement of stock: the only writer of entries, reservations and quantities on hand.

One function an act, one transaction a function. An act carries a ``key`` that the asker makes up; the same key
sent again moves nothing and answers with what the first one did. All entries of an act share its key and are
told apart by their line.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from django.db import IntegrityError
from django.db.models import F
from django.utils.translation import gettext as _

from inventory.acting import whole_act
from inventory.compute.errors import WorkshopError
from inventory.ledger.posting import (
    Finding,
    Line,
    NotEnough,
    held_after,
    key_missing,
    key_used,
    lock,
    moved_alike,
    not_enough,
    once,
    write,
    write_reversal,
)
from inventory.ledger.reckoned import sigma_without_cut
from inventory.models import Entry, Reservation, StockItem

Known = StockItem.Known
Reason = Entry.Reason


class NotSetAside(WorkshopError):
    """The reservation is gone: released, used up, or shrunk away when less was found."""


class CannotReverse(WorkshopError):
    """The entry is a reversal, is reversed already, or what it brought is gone."""


def post(
    lines: Sequence[Line], *, reason: str, key: str, at: datetime, by: Any, reference: str = ""
) -> list[Entry]:
    """Return the entries of one act, written together with the quantities they move.

    Raises NotEnough if an item would fall below what it has set aside, and KeyUsedForAnother.
    """
    return once(
        key,
        lambda: write(lines, reason=reason, key=key, at=at, by=by, reference=reference),
        same=lambda entries: moved_alike(entries, lines, reason=reason),
    )


def receive(
    item: StockItem,
    *,
    quantity: int,
    key: str,
    at: datetime,
    by: Any,
    sigma: float | None = 0.0,
    known: str = Known.SEALED,
    reference: str = "",
) -> Entry:
    """Return the entry that puts ``quantity`` on the shelf as ``item``."""
    _refuse_negative(quantity)
    line = Line(item, quantity, finding=Finding(sigma, known))
    return post([line], reason=Reason.RECEIVE, key=key, at=at, by=by, reference=reference)[0]


def use(
    item: StockItem,
    *,
    quantity: int,
    key: str,
    at: datetime,
    by: Any,
    sigma: float = 0.0,
    reference: str = "",
) -> Entry:
    """Return the entry that takes ``quantity``, known to within ``sigma``, out of what is free.

    Of an item whose quantity is not known any quantity can be taken: it was evidently there.
    """
    _refuse_negative(quantity)
    line = Line(item, -quantity, added_sigma=sigma)
    return post([line], reason=Reason.USE, key=key, at=at, by=by, reference=reference)[0]


def waste(item: StockItem, *, quantity: int, key: str, at: datetime, by: Any, reference: str = "") -> Entry:
    """Return the entry that writes ``quantity`` off."""
    _refuse_negative(quantity)
    return post([Line(item, -quantity)], reason=Reason.WASTE, key=key, at=at, by=by, reference=reference)[0]


def find(
    item: StockItem,
    *,
    quantity: int,
    finding: Finding,
    key: str,
    at: datetime,
    by: Any,
    reason: str = Reason.COUNT,
    reference: str = "",
) -> Entry:
    """Return the entry that sets ``item`` to the ``quantity`` found on it by weighing, counting or eye.

    What is found is true even where more had been set aside: then the youngest reservations shrink to fit.
    """
    _refuse_negative(quantity)

    def act() -> list[Entry]:
        held = lock(item.pk)
        if held.reserved > quantity:
            _shrink_reservations(held, to=quantity)
        line = Line(item, quantity - held.on_hand, finding=finding)
        return write([line], reason=reason, key=key, at=at, by=by, reference=reference)

    def same(entries: Sequence[Entry]) -> bool:
        first = entries[0]
        return (first.item_id, first.reason) == (item.pk, reason) and held_after(first) == quantity

    return once(key, act, same=same)[0]


def set_aside(item: StockItem, *, quantity: int, holder: str, key: str, at: datetime, by: Any) -> Reservation:
    """Return the reservation of ``quantity`` of ``item`` for ``holder``.

    Sent again it answers with the same reservation for as long as that lasts.
    """
    if quantity <= 0:
        raise NotEnough(
            _("{quantity} cannot be set aside; give a quantity above zero.").format(quantity=quantity)
        )
    if not key:
        raise key_missing()
    try:
        reservation = _set_aside(item, quantity, holder=holder, key=key, at=at, by=by)
    except (IntegrityError, NotEnough):
        earlier = Reservation.objects.filter(key=key).first()
        if earlier is None:
            raise
        # A reservation only ever shrinks, so that one larger than was asked for is somebody else's.
        if (earlier.item_id, earlier.holder) != (item.pk, holder) or earlier.quantity > quantity:
            raise key_used(key) from None
        reservation = earlier
    item.refresh_from_db(fields=["reserved"])
    return reservation


@whole_act
def _set_aside(item: StockItem, quantity: int, **particulars: Any) -> Reservation:
    free = StockItem.objects.filter(
        pk=item.pk, retired_at__isnull=True, on_hand__gte=F("reserved") + quantity
    )
    if not free.exclude(known=Known.UNKNOWN).update(reserved=F("reserved") + quantity):
        raise _cannot_set_aside(item, quantity)
    return Reservation.objects.create(item_id=item.pk, quantity=quantity, **particulars)


@whole_act
def release(reservations: Iterable[Reservation]) -> int:
    """Return the number of ``reservations`` given back; one that is gone already counts for nothing."""
    released = 0
    for reservation in sorted(reservations, key=lambda each: each.item_id):
        lock(reservation.item_id)
        held = Reservation.objects.filter(pk=reservation.pk).first()
        if held is None:
            continue
        held.delete()
        # What is held now, not what the caller read: finding less on the shelf may have shrunk it since.
        StockItem.objects.filter(pk=held.item_id).update(reserved=F("reserved") - held.quantity)
        released += 1
    return released


def release_holder(holder: str) -> int:
    """Return the number of reservations given back that ``holder`` held."""
    return release(list(Reservation.objects.filter(holder=holder)))


def use_reserved(
    reservation: Reservation,
    *,
    quantity: int,
    key: str,
    at: datetime,
    by: Any,
    sigma: float = 0.0,
    reference: str = "",
) -> Entry:
    """Return the entry that uses ``quantity`` of what was set aside; the rest stays set aside.

    More than was set aside is taken out of what is free. Taking the entry back does not set aside again.
    """
    _refuse_negative(quantity)
    line = Line(reservation.item, -quantity, added_sigma=sigma)

    def act() -> list[Entry]:
        lock(reservation.item_id)
        held = Reservation.objects.filter(pk=reservation.pk).first()
        if held is None:
            raise NotSetAside(
                _(
                    "Nothing of {item} is set aside for {holder} any more. Use it from what is free, or set "
                    "it aside anew."
                ).format(item=reservation.item, holder=reservation.holder)
            )
        freed = min(quantity, held.quantity)
        if freed == held.quantity:
            held.delete()
        else:
            Reservation.objects.filter(pk=held.pk).update(quantity=F("quantity") - freed)
        StockItem.objects.filter(pk=held.item_id).update(reserved=F("reserved") - freed)
        return write([line], reason=Reason.USE, key=key, at=at, by=by, reference=reference)

    return once(key, act, same=lambda entries: moved_alike(entries, [line], reason=Reason.USE))[0]


def use_for(
    holder: str, lines: Sequence[Line], *, key: str, at: datetime, by: Any, reference: str = ""
) -> list[Entry]:
    """Return the entries of one act that uses up to what the ``lines`` take, first what ``holder`` set aside.

    For use that was estimated, not measured: where an item holds less than is said to be used, what it holds is
    used, and nothing that others set aside. Of an item whose quantity is not known all is taken.
    """

    def act() -> list[Entry]:
        return write(
            [_as_far_as_it_goes(line, holder) for line in sorted(lines, key=lambda line: line.item.pk)],
            reason=Reason.USE,
            key=key,
            at=at,
            by=by,
            reference=reference,
        )

    def same(entries: Sequence[Entry]) -> bool:
        asked = {line.item.pk: line.quantity for line in lines}
        taken = {each.item_id: each.quantity for each in entries if each.reason == Reason.USE}
        return asked.keys() == taken.keys() and all(asked[pk] <= taken[pk] for pk in asked)

    return once(key, act, same=same)


def _as_far_as_it_goes(line: Line, holder: str) -> Line:
    """Return ``line`` with no more than the item holds, after giving back what ``holder`` had set aside of it."""
    held = lock(line.item.pk)
    wanted = -line.quantity
    freed = 0
    for reservation in Reservation.objects.filter(item_id=held.pk, holder=holder).order_by("id"):
        take = min(wanted - freed, reservation.quantity)
        freed += take
        if take == reservation.quantity:
            reservation.delete()
        elif take:
            Reservation.objects.filter(pk=reservation.pk).update(quantity=F("quantity") - take)
    if freed:
        StockItem.objects.filter(pk=held.pk).update(reserved=F("reserved") - freed)
    if held.known == Known.UNKNOWN:
        return line
    return replace(line, quantity=-min(wanted, max(held.on_hand - held.reserved + freed, 0)))


def reverse(entry: Entry, *, key: str, at: datetime, by: Any, reference: str = "") -> list[Entry]:
    """Return the entries that take back the whole act ``entry`` belongs to, line by line.

    What was known of an item comes back too, where nothing has moved it since; a cut of a roll takes its share of
    what is not known with it whenever it is taken back. An item that the act brought leaves the shelf; one that it
    took off the shelf, or emptied, is on it again. Raises CannotReverse.
    """
    # Without their items: a PostgreSQL that has never counted its rows reads all items there are for them.
    lines = Entry.objects.filter(key=entry.key).order_by("line")
    taken_back = sorted(lines, key=lambda each: (each.item_id, -each.pk))
    if any(each.reason == Reason.REVERSE for each in taken_back):
        raise CannotReverse(
            _("This entry takes another one back. To have it again, make the first movement again.")
        )

    def act() -> list[Entry]:
        if Entry.objects.filter(reverses__in=taken_back).exists():
            raise CannotReverse(_("This movement has been taken back already."))
        # The last line of an item first, so that each finds the item as it left it.
        return [
            write_reversal(
                each, key=key, at=at, by=by, reference=reference, sigma_without=sigma_without_cut(each)
            )
            for each in taken_back
        ]

    def same(entries: Sequence[Entry]) -> bool:
        return {each.reverses_id for each in entries} == {each.pk for each in taken_back}

    try:
        return once(key, act, same=same)
    except NotEnough as problem:
        raise CannotReverse(
            _("{problem} What this movement brought has been used or set aside since.").format(
                problem=problem
            )
        ) from None
    except IntegrityError:
        # Another hand was quicker by a moment.
        if Entry.objects.filter(reverses__in=taken_back).exists():
            raise CannotReverse(_("This movement has been taken back already.")) from None
        raise


def _shrink_reservations(item: StockItem, *, to: int) -> None:
    left = to
    for reservation in Reservation.objects.filter(item=item).order_by("id"):
        kept = min(reservation.quantity, left)
        left -= kept
        if kept == 0:
            reservation.delete()
        elif kept < reservation.quantity:
            Reservation.objects.filter(pk=reservation.pk).update(quantity=kept)
    StockItem.objects.filter(pk=item.pk).update(reserved=to - left)


def _cannot_set_aside(item: StockItem, quantity: int) -> NotEnough:
    if StockItem.objects.filter(pk=item.pk, retired_at__isnull=True, known=Known.UNKNOWN).exists():
        return NotEnough(
            _(
                "It is not known how much {item} holds, so nothing of it can be set aside. Weigh it, "
                "count it or judge it first."
            ).format(item=item)
        )
    return not_enough(item.pk, quantity)


def _refuse_negative(quantity: int) -> None:
    if quantity < 0:
        raise WorkshopError(
            _("{quantity} is below zero; give the quantity as a positive number.").format(quantity=quantity)
        )
