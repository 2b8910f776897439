"""Every movement of stock: the only writer of entries, reservations and quantities on hand.

One function an act, one transaction a function. An act carries a ``key`` that the asker makes up; the same key
sent again moves nothing and answers with what the first one did. All entries of an act share its key and are
told apart by their line.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple

from django.db import IntegrityError, transaction
from django.db.models import Case, F, FloatField, Sum, Value, When
from django.db.models.functions import Sqrt

from inventory.compute.errors import WorkshopError
from inventory.models import Entry, Reservation, StockItem

Known = StockItem.Known
Reason = Entry.Reason


class NotEnough(WorkshopError):
    """The item does not hold what was asked for, or holds it for somebody else."""


class KeyUsedForAnother(WorkshopError):
    """The key of this request already belongs to a different movement."""


class CannotReverse(WorkshopError):
    """The entry is a reversal, is reversed already, or what it brought is gone."""


class Finding(NamedTuple):
    """What is known of an item's quantity after an act: its one-sigma and how it is known."""

    sigma: float | None
    known: str


@dataclass(frozen=True)
class Line:
    """One movement of an act: ``quantity`` more (or fewer) of ``item``, in its own unit.

    ``finding`` replaces what was known of the item; ``added_sigma`` widens it instead.
    """

    item: StockItem
    quantity: int
    added_sigma: float = 0.0
    finding: Finding | None = None


def post(lines: Sequence[Line], *, reason: str, key: str, at: datetime, by: Any, reference: str = "") -> list[Entry]:
    """Return the entries of one act, written together with the quantities they move.

    Raises NotEnough if an item would fall below what it has set aside, and KeyUsedForAnother.
    """
    return _once(key, lambda: _write(lines, reason=reason, key=key, at=at, by=by, reference=reference), lines, reason)


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
    item: StockItem, *, quantity: int, key: str, at: datetime, by: Any, sigma: float = 0.0, reference: str = ""
) -> Entry:
    """Return the entry that takes ``quantity``, known to within ``sigma``, out of what is free."""
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

    def write() -> list[Entry]:
        held = StockItem.objects.select_for_update().get(pk=item.pk)
        if held.reserved > quantity:
            _shrink_reservations(held, to=quantity)
        line = Line(item, quantity - held.on_hand, finding=finding)
        return _write([line], reason=reason, key=key, at=at, by=by, reference=reference)

    return _once(key, write, [Line(item, 0)], reason)[0]


def set_aside(item: StockItem, *, quantity: int, holder: str, key: str, at: datetime, by: Any) -> Reservation:
    """Return the reservation of ``quantity`` of ``item`` for ``holder``."""
    if quantity <= 0:
        raise NotEnough(f"{quantity} cannot be set aside; give a quantity above zero.")
    try:
        with transaction.atomic():
            reservation = Reservation.objects.create(
                item_id=item.pk, quantity=quantity, holder=holder, key=key, at=at, by=by
            )
            moved = StockItem.objects.filter(
                pk=item.pk, retired_at__isnull=True, on_hand__gte=F("reserved") + quantity
            ).update(reserved=F("reserved") + quantity)
            if not moved:
                raise _not_enough(item, quantity)
    except IntegrityError:
        earlier = Reservation.objects.filter(key=key).first()
        if earlier is None:
            raise
        if (earlier.item_id, earlier.quantity, earlier.holder) != (item.pk, quantity, holder):
            raise _key_used(key) from None
        reservation = earlier
    item.refresh_from_db(fields=["reserved"])
    return reservation


@transaction.atomic
def release(reservations: Iterable[Reservation]) -> int:
    """Return the number of ``reservations`` given back; one that is gone already counts for nothing."""
    released = 0
    for reservation in sorted(reservations, key=lambda each: each.item_id):
        if not Reservation.objects.filter(pk=reservation.pk).delete()[0]:
            continue
        StockItem.objects.filter(pk=reservation.item_id).update(reserved=F("reserved") - reservation.quantity)
        released += 1
    return released


def release_holder(holder: str) -> int:
    """Return the number of reservations given back that ``holder`` held."""
    return release(list(Reservation.objects.filter(holder=holder)))


@transaction.atomic
def use_reserved(reservation: Reservation, *, quantity: int, key: str, at: datetime, by: Any, sigma: float = 0.0,
                 reference: str = "") -> Entry:
    """Return the entry that uses ``quantity`` of what was set aside; the rest stays set aside."""
    earlier = Entry.objects.filter(key=key).first()
    if earlier:
        return earlier
    held = Reservation.objects.select_for_update().get(pk=reservation.pk)
    freed = min(quantity, held.quantity)
    if freed == held.quantity:
        held.delete()
    else:
        Reservation.objects.filter(pk=held.pk).update(quantity=F("quantity") - freed)
    StockItem.objects.filter(pk=held.item_id).update(reserved=F("reserved") - freed)
    return use(held.item, quantity=quantity, key=key, at=at, by=by, sigma=sigma, reference=reference)


def reverse(entry: Entry, *, key: str, at: datetime, by: Any, reference: str = "") -> list[Entry]:
    """Return the entries that take back the whole act ``entry`` belongs to, line by line.

    What was known of an item comes back too, where nothing has moved it since. Raises CannotReverse.
    """
    act = list(Entry.objects.filter(key=entry.key).select_related("item").order_by("line"))
    if any(each.reason == Reason.REVERSE for each in act):
        raise CannotReverse("This entry takes another one back. To undo it, make the first movement again.")

    def write() -> list[Entry]:
        written = []
        for each in sorted(act, key=lambda one: one.item_id):
            later = Entry.objects.filter(item_id=each.item_id, id__gt=each.pk).exclude(key=each.key).exists()
            finding = None if later else Finding(each.sigma_before, each.known_before)
            line = Line(each.item, -each.quantity, finding=finding)
            written.append(
                _write_line(line, number=each.line, reason=Reason.REVERSE, key=key, at=at, by=by,
                            reference=reference, reverses=each)
            )
        return written

    lines = [Line(each.item, -each.quantity) for each in act]
    try:
        return _once(key, write, lines, Reason.REVERSE)
    except NotEnough as problem:
        raise CannotReverse(f"{problem} What this movement brought has been used or set aside since.") from None
    except IntegrityError:
        if Entry.objects.filter(reverses__in=act).exists():
            raise CannotReverse("This movement has been taken back already.") from None
        raise


def _once(key: str, write: Callable[[], list[Entry]], lines: Sequence[Line], reason: str) -> list[Entry]:
    """Return what ``write`` wrote, or what the same act wrote when it was sent before."""
    if not key:
        raise KeyUsedForAnother("A movement needs a key, so that sending it twice moves stock once.")
    try:
        with transaction.atomic():
            entries = write()
    except IntegrityError:
        entries = list(Entry.objects.filter(key=key).order_by("line"))
        if not entries:
            raise
        asked = sorted(line.item.pk for line in lines)
        if sorted(entry.item_id for entry in entries) != asked or entries[0].reason != reason:
            raise _key_used(key) from None
    except NotEnough:
        # The first sending may have taken the last of it: then this is no shortage but the same request again.
        entries = list(Entry.objects.filter(key=key).order_by("line"))
        if not entries:
            raise
    return entries


def _write(
    lines: Sequence[Line], *, reason: str, key: str, at: datetime, by: Any, reference: str
) -> list[Entry]:
    numbered = sorted(enumerate(lines), key=lambda pair: pair[1].item.pk)  # one lock order, so no deadlock
    written = [
        _write_line(line, number=number, reason=reason, key=key, at=at, by=by, reference=reference)
        for number, line in numbered
    ]
    return sorted(written, key=lambda entry: entry.line)


def _write_line(
    line: Line, *, number: int, reason: str, key: str, at: datetime, by: Any, reference: str, reverses: Entry | None = None
) -> Entry:
    item = line.item
    changes: dict[str, Any] = {"on_hand": F("on_hand") + line.quantity}
    if line.finding is not None:
        changes |= {"sigma": line.finding.sigma, "known": line.finding.known}
    elif line.added_sigma:
        changes["sigma"] = _widened(line.added_sigma)
    if reason == Reason.USE and item.opened_on is None:
        changes["opened_on"] = at.date()
    before = StockItem.objects.select_for_update().values_list("sigma", "known").get(pk=item.pk)
    enough = StockItem.objects.filter(pk=item.pk)
    if reason != Reason.REVERSE:
        enough = enough.filter(retired_at__isnull=True)
    if line.quantity < 0:
        enough = enough.filter(on_hand__gte=F("reserved") - line.quantity)
    if not enough.update(**changes):
        raise _not_enough(item, -line.quantity)
    return Entry.objects.create(
        item_id=item.pk,
        quantity=line.quantity,
        reason=reason,
        at=at,
        by=by,
        reference=reference,
        key=key,
        line=number,
        reverses=reverses,
        sigma_before=before[0],
        known_before=before[1],
    )


def _widened(added: float) -> Case:
    """The root of the sum of squares, in steps that every database has."""
    return Case(
        When(sigma__isnull=True, then=Value(None)),
        default=Sqrt(F("sigma") * F("sigma") + Value(added * added)),
        output_field=FloatField(),
    )


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


def _not_enough(item: StockItem, asked: int) -> NotEnough:
    held = StockItem.objects.get(pk=item.pk)
    unit = "m" if held.is_measured else ""

    def shown(quantity: int) -> str:
        return f"{quantity / 1000:,.1f} {unit}" if unit else f"{quantity:,}"

    if held.retired_at:
        return NotEnough(f"{held.label} left the shelf on {held.retired_at:%d %b %Y}; nothing can be moved on it.")
    aside = f", of which {shown(held.reserved)} set aside" if held.reserved else ""
    return NotEnough(
        f"{held.label} holds {shown(held.on_hand)}{aside}; {shown(asked)} cannot be taken. "
        "Take less, take another, or weigh it if there is really more."
    )


def _key_used(key: str) -> KeyUsedForAnother:
    return KeyUsedForAnother(f"The key {key} belongs to another movement. Open the page again and repeat the step.")


def _refuse_negative(quantity: int) -> None:
    if quantity < 0:
        raise WorkshopError(f"{quantity} is below zero; give the quantity as a positive number.")


@dataclass(frozen=True)
class LedgerProblem:
    """One broken invariant: which, and of what."""

    invariant: str
    concerns: str
    found: str

    def __str__(self) -> str:
        return f"{self.invariant}: {self.concerns}: {self.found}"


def ledger_problems() -> list[LedgerProblem]:
    """Return every breach of the ledger's invariants; an empty list is a sound ledger."""
    problems = []
    sums = StockItem.objects.annotate(entered=Sum("entries__quantity", default=0)).exclude(on_hand=F("entered"))
    for item in sums.iterator():
        problems.append(
            LedgerProblem("on hand is the sum of entries", item.label, f"{item.on_hand} on hand, {item.entered} entered")
        )
    held = StockItem.objects.annotate(held=Sum("reservations__quantity", default=0)).exclude(reserved=F("held"))
    for item in held.iterator():
        problems.append(
            LedgerProblem("reserved is the sum of reservations", item.label, f"{item.reserved} against {item.held}")
        )
    for item in StockItem.objects.filter(on_hand__lt=0).iterator():
        problems.append(LedgerProblem("nothing is below zero", item.label, f"{item.on_hand} on hand"))
    for item in StockItem.objects.filter(reserved__gt=F("on_hand")).iterator():
        problems.append(
            LedgerProblem("reserved is within on hand", item.label, f"{item.reserved} of {item.on_hand}")
        )
    unequal = Entry.objects.filter(reverses__isnull=False).exclude(
        quantity=-F("reverses__quantity"), item=F("reverses__item")
    )
    for entry in unequal.iterator():
        problems.append(LedgerProblem("a reversal is the opposite of its entry", str(entry.pk), f"{entry.quantity}"))
    return problems
