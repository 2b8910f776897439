"""How an act is written: entries and the quantities they move, together, under lock.

The hand of ``inventory.ledger``: everything here runs inside the one transaction of ``once``.

Rows are locked in one order everywhere, so that no two acts wait for each other: labels, items by their number,
then reservations. ``_hold`` says in SQL what ``inventory.acting.held`` says.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, NamedTuple

from django.db import IntegrityError, connection
from django.db.models import Sum
from django.utils.timezone import localdate
from django.utils.translation import gettext as _

from inventory.acting import held as held_rows
from inventory.acting import standing_at, whole_act
from inventory.acting.days import plain_day
from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import figure
from inventory.models import Entry, StockItem

Known = StockItem.Known
Reason = Entry.Reason

# Taking from an item for the first time opens it.
OPENING = frozenset({Reason.USE, Reason.WIND, Reason.CUT})
# Lines from here on tell what an act showed of an item that nobody had measured.
SHOWN = 10_000


class NotEnough(WorkshopError):
    """The item does not hold what was asked for, or holds it for somebody else."""


class KeyUsedForAnother(WorkshopError):
    """The key of this request already belongs to a different movement."""


class Finding(NamedTuple):
    """What is known of an item's quantity after an act: its one-sigma and how it is known."""

    sigma: float | None
    known: str


@dataclass(frozen=True)
class Line:
    """One movement of an act: ``quantity`` more (or fewer) of ``item``, in its own unit.

    ``finding`` replaces what was known of the item; ``added_sigma`` widens it instead. ``reason`` is this
    line's own where it is not the act's. ``strips`` says in how many a length comes off a roll.
    """

    item: StockItem
    quantity: int
    added_sigma: float = 0.0
    finding: Finding | None = None
    reason: str = ""
    strips: int | None = None


def once(key: str, act: Callable[[], list[Entry]], *, same: Callable[[Sequence[Entry]], bool]) -> list[Entry]:
    """Return what ``act`` wrote under ``key`` in one transaction, or what it wrote when it was sent before.

    ``same`` tells whether entries that carry the key already are this very request; if not, KeyUsedForAnother.
    """
    if not key:
        raise key_missing()
    try:
        return sorted(whole_act(act)(), key=lambda entry: entry.line)
    except (IntegrityError, WorkshopError):
        # A refusal too may be a repetition: the first sending may have taken the last of it.
        entries = entries_of(key)
        if not entries:
            raise
        if not same(entries):
            raise key_used(key) from None
    return entries


def entries_of(key: str) -> list[Entry]:
    """Return the entries of the act with this key, in the order of its lines."""
    return list(Entry.objects.filter(key=key).select_related("item").order_by("line"))


def held_after(entry: Entry) -> int:
    """Return what its item held once ``entry`` was written."""
    until = Entry.objects.filter(item_id=entry.item_id, id__lte=entry.pk)
    return until.aggregate(held=Sum("quantity"))["held"]


def moved_alike(entries: Sequence[Entry], lines: Sequence[Line], *, reason: str) -> bool:
    """Return whether ``entries`` are what ``lines`` would write."""
    written = [(each.item_id, each.quantity, each.reason) for each in entries if each.line < SHOWN]
    return written == [(line.item.pk, line.quantity, line.reason or reason) for line in lines]


def lock(pk: int) -> StockItem:
    """Return the item as it stands, held against every other act until the transaction ends."""
    return held_rows(StockItem.objects.all()).get(pk=pk)


def write(
    lines: Sequence[Line], *, reason: str, key: str, at: datetime, by: Any, reference: str = ""
) -> list[Entry]:
    """Return the entries of an act, written inside the transaction of ``once``."""
    if len(lines) > SHOWN:
        raise WorkshopError(
            _("{count} lines are too many for one act; split it into several.").format(
                count=figure(len(lines))
            )
        )
    numbered = sorted(enumerate(lines), key=lambda pair: pair[1].item.pk)
    written = []
    for number, line in numbered:
        own = line.reason or reason
        held = _hold(line.item.pk)
        if held.retired_at is not None:
            raise not_enough(line.item.pk, -line.quantity)
        if held.known == Known.UNKNOWN and held.on_hand + line.quantity < held.reserved:
            short = held.reserved - held.on_hand - line.quantity
            held, shown = _show_what_was_there(line.item, short, held, number=number, key=key, at=at, by=by)
            written.append(shown)
        sigma, known = line.finding or (_widened(held.sigma, line.added_sigma), held.known)
        after = _Held(
            on_hand=held.on_hand + line.quantity,
            reserved=held.reserved,
            sigma=sigma,
            known=known,
            opened_on=held.opened_on or (localdate(at) if _opens(own, line.quantity) else None),
            retired_at=at if own == Reason.RETIRE else None,
        )
        if after.retired_at and after.on_hand:
            raise not_enough(line.item.pk, after.on_hand)
        entry = _entry(
            line.item.pk, line.quantity, own, number, held, key=key, at=at, by=by, reference=reference
        )
        entry.strips = line.strips
        written.append(_move(after, entry))
    return written


def write_reversal(
    entry: Entry,
    *,
    key: str,
    at: datetime,
    by: Any,
    reference: str,
    sigma_without: Callable[[float], float] | None = None,
) -> Entry:
    """Return the entry that takes ``entry`` back, written inside the transaction of ``once``.

    What was known before the entry is known again where nothing has moved the item since; where something has,
    ``sigma_without`` makes one sigma without the entry of the one there is. Of a cut whose strips nobody kept it
    does so as well: what was known before that may have been reckoned otherwise.
    """
    held = _hold(entry.item_id)
    moved_since = _is_there(_MOVED_SINCE, [entry.item_id, entry.pk, entry.key, key])
    left = held.on_hand - entry.quantity
    retired_at = held.retired_at
    if left > 0 or entry.reason == Reason.RETIRE:
        retired_at = None
    elif left == 0 and not _is_there(_MOVED_BEFORE, [entry.item_id, entry.pk]):
        retired_at = at  # the act had brought the item
    sigma = held.sigma if moved_since else entry.sigma_before
    if sigma_without is not None and held.sigma is not None and (moved_since or entry.strips is None):
        sigma = sigma_without(held.sigma)
    after = held._replace(
        on_hand=left,
        sigma=sigma,
        known=held.known if moved_since else entry.known_before,
        opened_on=_opened_without(entry, held),
        retired_at=retired_at,
    )
    back = _entry(
        entry.item_id, -entry.quantity, Reason.REVERSE, entry.line, held,
        key=key, at=at, by=by, reference=reference, reverses=entry,
    )  # fmt: skip
    return _move(after, back)


class _Held(NamedTuple):
    """An item's row under lock, as the database gives it."""

    on_hand: int
    reserved: int
    sigma: float | None
    known: str
    opened_on: date | None
    retired_at: datetime | None


# In SQL because posting is the act that everything waits for: building these statements through querysets takes
# several times as long as a database needs to carry them out.
_HOLD = "SELECT on_hand, reserved, sigma, known, opened_on, retired_at FROM inventory_stockitem WHERE id = %s"
_MOVE = """
    UPDATE inventory_stockitem
    SET on_hand = on_hand + %s, sigma = %s, known = %s, opened_on = %s, retired_at = %s
    WHERE id = %s AND on_hand + %s >= reserved
"""
_ENTERED = tuple(field for field in Entry._meta.concrete_fields if not field.primary_key)
_ENTER = f"INSERT INTO inventory_entry ({', '.join(field.attname for field in _ENTERED)})"
_VALUES = ", ".join(["%s"] * len(_ENTERED))

# What an item's past is asked. Each goes along the entries of the one item, by their index, whatever a database
# believes of its rows: where a few things had nearly all of them when it counted last, it would rather read all the
# million that came since. The order is that of the index, and stops at the first row; ``id + 0`` keeps it from going by
# the numbers of all entries; and what was taken back is asked row by row, not joined, and as what differs: of what
# is missing PostgreSQL believes that there is hardly any, and sorts the whole past first.
_MOVED_SINCE = """
    SELECT 1 FROM inventory_entry WHERE item_id = %s AND id + 0 > %s AND key NOT IN (%s, %s) ORDER BY at DESC LIMIT 1
"""
_MOVED_BEFORE = "SELECT 1 FROM inventory_entry WHERE item_id = %s AND id + 0 < %s ORDER BY at LIMIT 1"
_OPENED = f"item_id = %s AND quantity < 0 AND reason IN ({', '.join(['%s'] * len(OPENING))})"
_STANDS_OPENED = f"""
    SELECT 1 FROM inventory_entry AS opening WHERE {_OPENED} AND key <> %s
    AND id <> COALESCE((SELECT back.reverses_id FROM inventory_entry AS back WHERE back.reverses_id = opening.id), 0)
    ORDER BY at DESC LIMIT 1
"""
_FOUND_CLOSED = f"SELECT 1 FROM inventory_entry WHERE {_OPENED} AND opened_before IS NULL ORDER BY at LIMIT 1"


def _hold(pk: int) -> _Held:
    # SQLite has one writer at a time, and this transaction is it.
    locked = f"{_HOLD} FOR NO KEY UPDATE" if connection.features.has_select_for_no_key_update else _HOLD
    with connection.cursor() as cursor:
        cursor.execute(locked, [pk])
        return _Held(*cursor.fetchone())


def _move(after: _Held, entry: Entry) -> Entry:
    """Return ``entry``, written together with the quantity it moves; NotEnough if that is not there."""
    quantity, ops = entry.quantity, connection.ops
    opened_on, retired_at = (
        ops.adapt_datefield_value(after.opened_on),
        ops.adapt_datetimefield_value(after.retired_at),
    )
    move = [quantity, after.sigma, after.known, opened_on, retired_at, entry.item_id, quantity]
    enter = [field.get_db_prep_save(getattr(entry, field.attname), connection) for field in _ENTERED]
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            # At once: on a server, going there and back is most of what an act costs.
            both = f"WITH moved AS ({_MOVE} RETURNING id) {_ENTER} SELECT {_VALUES} FROM moved RETURNING id"
            cursor.execute(both, move + enter)
            row = cursor.fetchone()
            entry.pk = row[0] if row else None
        else:
            cursor.execute(_MOVE, move)
            if cursor.rowcount:
                cursor.execute(f"{_ENTER} VALUES ({_VALUES})", enter)
                entry.pk = cursor.lastrowid
    if entry.pk is None:
        raise not_enough(entry.item_id, -quantity)
    entry._state.adding = False
    entry._state.db = connection.alias
    return entry


def _entry(
    item_id: int,
    quantity: int,
    reason: str,
    number: int,
    before: _Held,
    *,
    key: str,
    at: datetime,
    by: Any,
    reference: str = "",
    reverses: Entry | None = None,
) -> Entry:
    return Entry(
        item_id=item_id,
        quantity=quantity,
        reason=reason,
        at=at,
        by=by,
        station=standing_at(by),
        reference=reference,
        key=key,
        line=number,
        reverses=reverses,
        sigma_before=before.sigma,
        known_before=before.known,
        opened_before=before.opened_on,
    )


def _show_what_was_there(
    item: StockItem, quantity: int, held: _Held, *, number: int, key: str, at: datetime, by: Any
) -> tuple[_Held, Entry]:
    """Return the row and the entry after booking what an act takes from an item of unknown quantity.

    Nobody knew how much was there, so that taking some shows that it was. The item stays unknown.
    """
    after = held._replace(on_hand=held.on_hand + quantity)
    entry = _entry(item.pk, quantity, Reason.COUNT, SHOWN + number, held, key=key, at=at, by=by)
    return after, _move(after, entry)


def _opens(reason: str, quantity: int) -> bool:
    return reason in OPENING and quantity < 0


def _opened_without(entry: Entry, held: _Held) -> date | None:
    """Return when the item was opened, once ``entry`` is taken back: never, if only that had opened it."""
    if not _opens(entry.reason, entry.quantity):
        return held.opened_on
    if _is_there(_STANDS_OPENED, [entry.item_id, *OPENING, entry.key]):
        return held.opened_on
    # It may have come to the shelf open.
    return None if _is_there(_FOUND_CLOSED, [entry.item_id, *OPENING]) else held.opened_on


def _is_there(question: str, about: Sequence[Any]) -> bool:
    with connection.cursor() as cursor:
        cursor.execute(question, about)
        return cursor.fetchone() is not None


def _widened(sigma: float | None, added: float) -> float | None:
    return None if sigma is None else math.hypot(sigma, added)


def not_enough(pk: int, asked: int) -> NotEnough:
    held = StockItem.objects.get(pk=pk)
    unit = {"mm": "m", "mg": "g"}.get(held.unit, "")

    def shown(quantity: int) -> str:
        return f"{figure(quantity / 1000, 1)} {unit}" if unit else figure(quantity)

    if held.retired_at:
        return NotEnough(
            _("{label} left the shelf on {day}; nothing can be moved on it.").format(
                label=held.label, day=plain_day(held.retired_at)
            )
        )
    aside = (
        _(", of which {quantity} set aside").format(quantity=shown(held.reserved)) if held.reserved else ""
    )
    return NotEnough(
        _(
            "{label} holds {held}{aside}; {asked} cannot be taken. Take less, take another, or "
            "weigh it if there is really more."
        ).format(label=held.label, held=shown(held.on_hand), aside=aside, asked=shown(asked))
    )


def key_used(key: str) -> KeyUsedForAnother:
    return KeyUsedForAnother(
        _("The key {key} belongs to another movement. Open the page again and repeat the step.").format(
            key=key
        )
    )


def key_missing() -> KeyUsedForAnother:
    return KeyUsedForAnother(_("A movement needs a key, so that sending it twice moves stock once."))
