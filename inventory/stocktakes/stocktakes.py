"""Stocktakes: begun for a place or a list of items, gone on with whenever there is time, and summed up.

Every finding is set right in the ledger at once, by the ordinary acts, so that a stocktake that is never
finished has still put right what it saw.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import IntegrityError
from django.db.models import F, QuerySet
from django.utils.translation import gettext as _

from inventory.acting import held as held_rows
from inventory.acting import whole_act
from inventory.acting.days import plain_day
from inventory.compute.errors import WorkshopError
from inventory.ledger import entries_of
from inventory.ledger.changes import change
from inventory.ledger.posting import key_missing, key_used
from inventory.models import Entry, Place, StockItem, Stocktake, StocktakeLine
from inventory.shelf.counts import Found, note_found
from inventory.shelf.labelled import as_its_kind, item_labelled
from inventory.shelf.scan_box import read_code


class StocktakeGoingOn(WorkshopError):
    """The place is being counted already."""


class TurnedUpHere(WorkshopError):
    """The books have the thing at another place: is it to be kept here from now on?"""


class StocktakeFinished(WorkshopError):
    """The stocktake is over."""


@dataclass(frozen=True)
class Difference:
    """An item that was not as the books had it; quantities in its own unit."""

    item: StockItem
    expected: int
    found: int
    # It was not looked for here.
    turned_up: bool

    @property
    def quantity(self) -> int:
        return self.found - self.expected


@dataclass(frozen=True)
class StocktakeReport:
    """What a stocktake came to: ``seen`` items as expected or not, and those on the shelf that nobody saw."""

    seen: int
    differences: tuple[Difference, ...]
    not_seen: tuple[StockItem, ...]


def begin_place(place: Place, *, key: str, at: datetime, by: Any) -> Stocktake:
    """Return a stocktake of everything that is kept at ``place``."""
    items = StockItem.objects.on_the_shelf().filter(place=place)
    return _begin(place, f"all of {place}", items, key=key, at=at, by=by)


def begin_items(items: Iterable[StockItem], *, what: str, key: str, at: datetime, by: Any) -> Stocktake:
    """Return a stocktake of ``items``, wherever they are; ``what`` says in words what they are for."""
    chosen = StockItem.objects.on_the_shelf().filter(pk__in=[item.pk for item in items])
    return _begin(None, what, chosen, key=key, at=at, by=by)


@whole_act
def record(
    stocktake: Stocktake,
    *,
    label: str,
    found: Found,
    key: str,
    at: datetime,
    by: Any,
    moving: bool | None = None,
) -> StocktakeLine:
    """Return the line of the item that carries ``label``, now set to what was found of it.

    Recorded again under a new key, the later finding holds. What turns up at a place where it was not expected
    is moved there if ``moving``, and stays in the books where it was if not; unsaid it raises TurnedUpHere, and
    nothing is noted. Raises NoSuchLabel, StocktakeFinished and what the act itself refuses.
    """
    item = item_labelled(label)
    # Held, so that nobody finishes it in the middle of this.
    held = held_rows(Stocktake.objects.all()).get(pk=stocktake.pk)
    repeated = bool(entries_of(key))
    if held.finished_at is not None and not repeated:
        raise StocktakeFinished(
            _("The stocktake of {place} ended on {day}. Begin another.").format(
                place=held, day=plain_day(held.finished_at)
            )
        )
    away = held.place is not None and item.place_id != held.place_id and not repeated
    if away and moving is None:
        raise TurnedUpHere(
            _(
                "The books have {item} at {place}, and this is {here}. Is it kept here from now on, or does it go back?"
            ).format(item=item, place=item.place or _("no place"), here=held.place)
        )
    entry = note_found(item, found, key=key, at=at, by=by, reference=_reference(held))
    if repeated:
        return _line_of(held, entry)
    if away and moving:
        change(item, changes={"place": held.place}, at=at, by=by)
    return _write_line(held, item, entry, at=at)


def next_thing(text: str) -> StockItem | None:
    """Return the thing whose code was scanned where a finding was expected, or None where ``text`` is no code."""
    code = read_code(text)
    if not code.code or code.rest:
        return None
    return StockItem.objects.filter(label__iexact=code.code).first()


def next_unseen(stocktake: Stocktake) -> StockItem | None:
    """Return the next item to look for, in the order of labels, or None where all have been seen."""
    line = _still_to_see(stocktake).first()
    return as_its_kind(line.item) if line is not None else None


def finish(stocktake: Stocktake, *, at: datetime) -> StocktakeReport:
    """Return what the stocktake came to, and end it. What nobody saw stays as the books have it."""
    Stocktake.objects.going_on().filter(pk=stocktake.pk).update(finished_at=max(at, stocktake.started_at))
    stocktake.refresh_from_db(fields=["finished_at"])
    return report(stocktake)


def report(stocktake: Stocktake) -> StocktakeReport:
    """Return what the stocktake has come to so far."""
    seen = list(stocktake.lines.seen().select_related("item"))
    return StocktakeReport(
        seen=len(seen),
        differences=tuple(
            Difference(line.item, line.expected, line.found, line.turned_up)
            for line in seen
            if line.found is not None and (line.found != line.expected or line.turned_up)
        ),
        not_seen=tuple(line.item for line in _still_to_see(stocktake)),
    )


def stocktake_problems() -> list[str]:
    """Return a sentence for every line whose finding is not the one that its entry posted."""
    lines = StocktakeLine.objects.filter(entry__isnull=False).select_related("stocktake", "item", "entry")
    return [
        _("stocktake {stocktake}: what was found of {label} points to an entry of another thing").format(
            stocktake=line.stocktake, label=line.item.label
        )
        for line in lines.exclude(entry__item=F("item"))
    ]


def _begin(
    place: Place | None, what: str, items: Iterable[StockItem], *, key: str, at: datetime, by: Any
) -> Stocktake:
    if not key:
        raise key_missing()
    try:
        return _begun(items, place=place, what=what, started_at=at, by=by, key=key)
    except IntegrityError:
        earlier = Stocktake.objects.filter(key=key).first()
        if earlier is not None:
            if (earlier.place, earlier.what) != (place, what):
                raise key_used(key) from None
            return earlier
        going_on = Stocktake.objects.going_on().filter(place=place).first()
        if place is None or going_on is None:
            raise
        raise StocktakeGoingOn(
            _("{place} has been counted since {day}. Go on with that, or finish it first.").format(
                place=place, day=plain_day(going_on.started_at)
            )
        ) from None


@whole_act
def _begun(items: Iterable[StockItem], **particulars: Any) -> Stocktake:
    stocktake = Stocktake.objects.create(**particulars)
    StocktakeLine.objects.bulk_create(
        StocktakeLine(stocktake=stocktake, item=item, expected=item.on_hand) for item in items
    )
    return stocktake


def _write_line(stocktake: Stocktake, item: StockItem, entry: Entry, *, at: datetime) -> StocktakeLine:
    earlier = stocktake.lines.filter(item_id=item.pk).first()
    found = StockItem.objects.get(pk=item.pk).on_hand
    # What this stocktake had put right already belongs to its difference; what moved meanwhile does not.
    put_right = entry.quantity
    if earlier is not None and earlier.found is not None and not _was_taken_back(earlier):
        put_right += earlier.found - earlier.expected
    values = {"expected": found - put_right, "found": found, "at": at, "entry": entry}
    line, _created = StocktakeLine.objects.update_or_create(
        stocktake=stocktake, item_id=item.pk, defaults=values, create_defaults={**values, "turned_up": True}
    )
    return line


def _line_of(stocktake: Stocktake, entry: Entry) -> StocktakeLine:
    line = stocktake.lines.filter(item_id=entry.item_id).first()
    if line is None:
        raise key_used(entry.key)
    return line


def _still_to_see(stocktake: Stocktake) -> QuerySet[StocktakeLine]:
    lines = stocktake.lines.unseen().filter(item__retired_at__isnull=True).select_related("item")
    # What has been moved elsewhere since is no longer looked for here.
    return lines.filter(item__place_id=stocktake.place_id) if stocktake.place_id else lines


def _was_taken_back(line: StocktakeLine) -> bool:
    return Entry.objects.filter(reverses_id=line.entry_id).exists()


def _reference(stocktake: Stocktake) -> str:
    return f"stocktake {stocktake.pk}"
