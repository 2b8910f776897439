"""What happens to an item as a thing: moved, edited, split, taken off the shelf and put back."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db import models
from django.utils.translation import gettext as _

from inventory.acting.days import plain_day
from inventory.compute.errors import WorkshopError
from inventory.ledger import Line, entries_of, lock, moved_alike, once, post, reverse, write
from inventory.ledger.changes import CannotChange, change, changed_before
from inventory.models import (
    BobbinBatch,
    BobbinStyle,
    Change,
    EarlierCode,
    Entry,
    NeedlePack,
    Offer,
    Place,
    PriceBreak,
    PutUp,
    Reservation,
    Shade,
    SheetPack,
    StabilizerProduct,
    Staple,
    StockItem,
    Supplier,
    ThreadRange,
)
from inventory.shelf.labelled import as_its_kind
from inventory.shelf.receipts import COUNTED, brought, label_and_save, price_share

CATALOGUE: tuple[type[models.Model], ...] = (
    BobbinStyle,
    EarlierCode,
    Offer,
    Place,
    PriceBreak,
    PutUp,
    Shade,
    StabilizerProduct,
    Staple,
    Supplier,
    ThreadRange,
)
# What a pack that is split keeps in both halves; the rest of an item is its own.
PACKS: Mapping[type[StockItem], tuple[str, ...]] = {
    BobbinBatch: ("style_id", "shade_id", "length_mm", "self_wound"),
    SheetPack: ("product_id", "width_mm", "height_mm"),
    NeedlePack: ("system", "size", "point"),
}

Reason = Entry.Reason


class SetAside(WorkshopError):
    """The item is wanted for something."""


class NotOnTheShelf(WorkshopError):
    """The item has left the shelf."""


class StillOnTheShelf(WorkshopError):
    """The item has not left the shelf, or not by being taken off it."""


# What comes back after it was taken and not used; of the rest, what is left is counted.
GOES_BACK = frozenset(
    {
        StockItem.Kind.SPOOL,
        StockItem.Kind.BOBBINS,
        StockItem.Kind.ROLL,
        StockItem.Kind.SHEETS,
        StockItem.Kind.NEEDLES,
        StockItem.Kind.CAN,
    }
)


def put_back(item: StockItem, *, quantity: int, key: str, at: datetime, by: Any) -> list[Entry]:
    """Return the entries that put back so much of ``item``, which was taken and not used."""
    if item.kind not in GOES_BACK:
        raise WorkshopError(
            _("{item} is one thing: say what is left on it, or take its last movement back.").format(
                item=item
            )
        )
    return post([Line(item, quantity)], reason=Reason.USE, reference="put back", key=key, at=at, by=by)


def move(item: StockItem, *, place: Place | None, at: datetime, by: Any, key: str = "") -> Change | None:
    """Return what was noted of ``item`` going to ``place``; None where it was there already.

    The same key sent again tells what it did, also where the thing has left the shelf since.
    """
    if changed_before(key) is None:
        _refuse_gone(item)
    return change(item, changes={"place": place}, at=at, by=by, key=key)


def edit_item(
    item: StockItem,
    *,
    at: datetime,
    by: Any,
    lot: str | None = None,
    note: str | None = None,
    key: str = "",
) -> Change | None:
    """Return what was noted of the new lot or note of ``item``; None where nothing differs."""
    asked = {"lot": lot, "note": note}
    changes = {name: value.strip() for name, value in asked.items() if value is not None}
    return change(item, changes=changes, at=at, by=by, key=key)


def edit_catalogue(
    record: models.Model, *, changes: Mapping[str, Any], at: datetime, by: Any, key: str = ""
) -> Change | None:
    """Return what was noted of an edit, before and after; None where nothing differs. Raises CannotChange.

    For ranges, shades, put-ups, products, styles, suppliers, offers and places; stock moves by its own acts.
    """
    if not isinstance(record, CATALOGUE):
        raise CannotChange(
            _("{record} is not part of the catalogue, so it is not edited like this.").format(record=record)
        )
    return change(record, changes=changes, at=at, by=by, key=key)


def retire(item: StockItem, *, key: str, at: datetime, by: Any, reference: str = "") -> list[Entry]:
    """Return the entries that take ``item`` off the shelf for good; what is left of it is written off.

    Raises SetAside while anything of it is set aside.
    """

    def act() -> list[Entry]:
        held = lock(item.pk)
        if held.reserved:
            holders = Reservation.objects.filter(item=held).values_list("holder", flat=True)
            raise SetAside(
                _(
                    "{held} is set aside for {names}. Release it there, or set another aside instead, before "
                    "it leaves the shelf."
                ).format(held=held, names=", ".join(sorted(set(holders))))
            )
        rest = [Line(held, -held.on_hand, finding=COUNTED, reason=Reason.WASTE)] if held.on_hand else []
        gone = Line(held, 0, finding=COUNTED)
        return write([*rest, gone], reason=Reason.RETIRE, key=key, at=at, by=by, reference=reference)

    def same(entries: Sequence[Entry]) -> bool:
        return {each.item_id for each in entries} == {item.pk} and entries[-1].reason == Reason.RETIRE

    return once(key, act, same=same)


def can_be_put_back(item: StockItem) -> bool:
    """Return whether ``item`` left the shelf by an act that says so, and not by being used up or never having come."""
    left = Entry.objects.filter(item_id=item.pk, reason=Reason.RETIRE, reversed_by__isnull=True)
    return item.retired_at is not None and left.exists()


def put_back_on_shelf(
    item: StockItem, *, key: str, at: datetime, by: Any, reference: str = ""
) -> list[Entry]:
    """Return the entries that take back the act by which ``item`` left the shelf, with all that was on it."""
    earlier = entries_of(key)
    if earlier and earlier[0].reverses_id and item.pk in {each.item_id for each in earlier}:
        return earlier
    left = Entry.objects.filter(item_id=item.pk, reason=Reason.RETIRE, reversed_by__isnull=True)
    last = left.order_by("-id").first()
    if last is None:
        raise StillOnTheShelf(
            _(
                "{item} was not taken off the shelf. If it came by an act that has been taken back, do "
                "that again: it gets a label of its own."
            ).format(item=item)
        )
    return reverse(last, key=key, at=at, by=by, reference=reference)


def split_pack(
    item: StockItem,
    *,
    count: int,
    key: str,
    at: datetime,
    by: Any,
    place: Place | None = None,
    reference: str = "",
) -> StockItem:
    """Return a new item with ``count`` of the bobbins, sheets or needles of ``item``, which keeps the rest."""
    source = as_its_kind(item)
    shared = PACKS.get(type(source))
    if shared is None:
        raise WorkshopError(
            _("{item} is one thing and cannot be split. Batches, sheets and needles can.").format(item=item)
        )
    if count < 1:
        raise WorkshopError(_("{count} cannot be split off; give a count of 1 or more.").format(count=count))
    part = type(source)(
        kind=source.kind,
        place=place or source.place,
        lot=source.lot,
        received_on=source.received_on,
        opened_on=source.opened_on,
        **{name: getattr(source, name) for name in shared},
        **price_share(source, count, becomes=count),
    )
    taken = Line(source, -count)

    def act() -> list[Entry]:
        label_and_save([part])
        if lock(source.pk).on_hand == count:
            raise WorkshopError(
                _("{count} is all there is of {source}. Move it instead of splitting it.").format(
                    count=count, source=source
                )
            )
        return write(
            [taken, Line(part, count, finding=COUNTED)],
            reason=Reason.SPLIT,
            key=key,
            at=at,
            by=by,
            reference=reference,
        )

    def same(entries: Sequence[Entry]) -> bool:
        return moved_alike(entries[:1], [taken], reason=Reason.SPLIT) and len(_new(entries, source)) == 1

    return _new(once(key, act, same=same), source)[0]


def _new(entries: Sequence[Entry], source: StockItem) -> list[StockItem]:
    return [each for each in brought(entries, type(source)) if each.pk != source.pk]


def _refuse_gone(item: StockItem) -> None:
    gone = StockItem.objects.filter(pk=item.pk, retired_at__isnull=False).first()
    if gone is not None and gone.retired_at is not None:
        raise NotOnTheShelf(
            _("{item} left the shelf on {day}. Put it back there first.").format(
                item=gone, day=plain_day(gone.retired_at)
            )
        )
