"""Rows that tell of things on the shelf: known again by label code, compared, and landed through the ledger."""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, NamedTuple

from inventory import ledger
from inventory.acting.days import plain_day
from inventory.compute.knowing import RELATIVE_SIGMA
from inventory.compute.spoken import _, as_written_here
from inventory.files.importing.catalogue import Draft, Index, differing, in_words, record_values, same
from inventory.files.importing.rows import Row
from inventory.ledger import Finding, Line
from inventory.ledger.changes import change
from inventory.models import Entry, LandedRow, Place, StockItem
from inventory.shelf.labelled import PREFIXES
from inventory.shelf.receipts import Arrival, receive_many

Known = StockItem.Known
_LABEL = re.compile(r"[A-Z0-9][A-Z0-9.-]*")
_LINES_IN_AN_ACT = 500


class Seen(NamedTuple):
    """An item that carries a label code."""

    pk: int
    kind: str
    retired_at: datetime | None


@dataclass
class ShelfAtImport:
    """The shelf as an import finds it, and what this very file has moved on it before.

    ``moves`` counts the file's entries by item; ``landed`` are the items whose entry still stands.
    """

    sha256: str
    labels: Index[Seen]
    items: dict[int, Any]
    places: Index[Draft]
    new_places: list[Draft] = field(default_factory=list)
    moves: dict[int, int] = field(default_factory=dict)
    landed: dict[int, datetime] = field(default_factory=dict)
    planned: dict[tuple[str, ...], int] = field(default_factory=dict)

    @property
    def file(self) -> str:
        """The file by its content, as its landed rows name it."""
        return self.sha256[:32]

    @property
    def key(self) -> str:
        return f"import-{self.file}"

    def place(self, name: str) -> Draft:
        """Return the place of that name, a new one where there is none."""
        place = self.places.get(name)
        if place is None:
            place = Draft(Place, name, {"name": name})
            self.places.add((name,), place)
            self.new_places.append(place)
        return place


def see_shelf(sha256: str, *, models: Sequence[type[StockItem]]) -> ShelfAtImport:
    """Return the shelf with every label code, and with the items of ``models`` in full."""
    codes = StockItem.objects.values_list("label", "pk", "kind", "retired_at")
    items: dict[int, Any] = {}
    for model in models:
        links = [each.name for each in model._meta.local_fields if each.is_relation and not each.primary_key]
        items |= {item.pk: item for item in model._default_manager.select_related("place", *links)}
    places = Index(((place.name,), Draft(Place, place.name, {}, place)) for place in Place.objects.all())
    labels = Index(((label,), Seen(pk, kind, retired_at)) for label, pk, kind, retired_at in codes)
    shelf = ShelfAtImport(sha256, labels, items, places)
    moves = Entry.objects.filter(landed_row__sha256=shelf.file)
    for pk, at, taken_back in moves.values_list("item_id", "at", "reversed_by"):
        shelf.moves[pk] = shelf.moves.get(pk, 0) + 1
        if taken_back is None:
            shelf.landed[pk] = at
    return shelf


@dataclass
class StatedThing:
    """A thing as its row has it: values by field, None or blank where the row does not say.

    ``identity`` never changes while the thing exists, ``details`` can; ``column_of`` names their columns.
    ``full`` is what a sealed one holds, where that is known.
    """

    row: Row
    kind: str
    model: type[StockItem]
    item: Any
    label: str
    identity: dict[str, Any]
    details: dict[str, Any]
    column_of: dict[str, str]
    quantity: int | None
    quantity_column: str
    known: str = ""
    sigma: float | None = None
    full: int | None = None
    weighed: bool = False
    finding: Finding | None = None
    differences: dict[str, tuple[Any, Any]] = field(default_factory=dict)

    @property
    def unit(self) -> str:
        return StockItem(kind=self.kind).unit


def known_again(row: Row, shelf: ShelfAtImport, *, kinds: Sequence[str]) -> Any:
    """Return the item that the row's label code is on, or None for a new one; refuse what cannot be that item."""
    label = row["label"]
    if not label:
        return None
    seen = shelf.labels.get(label)
    if seen is None:
        if not _LABEL.fullmatch(label.upper()):
            row.refuse("label", _("A label code has letters from A to Z, digits, dots and hyphens only."))
        return None
    if seen.kind not in kinds:
        row.refuse(
            "label",
            _("This label code is on something else: {label}.").format(label=StockItem.Kind(seen.kind).label),
        )
    elif seen.retired_at and seen.pk not in shelf.landed:
        row.refuse(
            "label",
            _(
                "This left the shelf on {day}, and no label code is used twice. Give the thing another one."
            ).format(day=day_in_words(seen.retired_at)),
        )
    return shelf.items.get(seen.pk)


def label_for(row: Row, shelf: ShelfAtImport, *, kind: str, item: Any) -> str:
    """Return the label code of the row's thing.

    Where the row gives none it follows from the file's content and the row's number: the same file read twice
    means the same things, so that they land once.
    """
    if item is not None:
        return str(item.label)
    derived = f"{PREFIXES[StockItem.Kind(kind)]}-{shelf.sha256[:8].upper()}-{row.number}"
    return (row["label"] or derived).upper()


def has_landed(row: Row, shelf: ShelfAtImport, label: str) -> bool:
    """Return, and note on the row, whether this very file has landed its thing before."""
    seen = shelf.labels.get(label)
    row.landed_before = seen is not None and seen.pk in shelf.landed
    return row.landed_before


def compare(thing: StatedThing, shelf: ShelfAtImport) -> None:
    """Find out what ``thing`` changes, or refuse its row."""
    row = thing.row
    row.label = thing.label
    first = shelf.planned.setdefault((thing.label,), row.number)
    if first != row.number:
        row.refuse("label", _("Row {first} has this label code already.").format(first=first))
    elif thing.item is not None:
        _compare_known(thing)
    elif shelf.labels.get(thing.label) is None:
        _compare_new(thing)
    elif not row.refused("label"):
        row.refuse(
            "label",
            _(
                "The label code that this row would get, {label}, is taken. Write another into the row."
            ).format(label=thing.label),
        )


def _compare_new(thing: StatedThing) -> None:
    row = thing.row
    for name, value in thing.identity.items():
        column = thing.column_of[name]
        if value is None and not row.states(column) and not row.refused(column):
            row.refuse(
                column,
                _("The thing is new on the shelf, and the row does not say its {column}.").format(
                    column=column
                ),
            )
    if thing.quantity is None and thing.known == Known.SEALED and thing.full:
        thing.quantity = thing.full
    unsaid = thing.quantity is None and not row.refused(thing.quantity_column)
    if unsaid and thing.known not in ("", Known.UNKNOWN):
        row.refuse(thing.quantity_column, _("The row says how the quantity is known, but not the quantity."))
    thing.finding = _finding(thing, thing.quantity)


def _compare_known(thing: StatedThing) -> None:
    row, item = thing.row, thing.item
    for name, value in thing.identity.items():
        before = getattr(item, name)
        if value is not None and not same(before, value):
            row.refuse(
                thing.column_of[name],
                _(
                    "{label} is {before} on the shelf, and the row says {stated}. Check the label code; "
                    "what a thing is does not change."
                ).format(label=item.label, before=in_words(before), stated=in_words(value)),
            )
    stated = {name: value for name, value in thing.details.items() if value not in (None, "")}
    thing.differences = differing(item, stated)
    counted = thing.quantity is not None and (
        thing.quantity != item.on_hand or (item.known == Known.UNKNOWN and thing.known != Known.UNKNOWN)
    )
    known_otherwise = thing.known not in ("", item.known)
    is_known = (thing.known or item.known) != Known.UNKNOWN
    sure_otherwise = is_known and thing.sigma is not None and not same(item.sigma, thing.sigma)
    unsaid = thing.quantity is None and not row.refused(thing.quantity_column)
    if known_otherwise and unsaid and item.known == Known.UNKNOWN:
        row.refuse(thing.quantity_column, _("The row says how the quantity is known, but not the quantity."))
    if not (counted or known_otherwise or sure_otherwise):
        return
    if not counted and not thing.known:
        thing.known = item.known
    thing.finding = _finding(thing, item.on_hand if thing.quantity is None else thing.quantity)


def _finding(thing: StatedThing, quantity: int | None) -> Finding:
    known = thing.known
    if not known:
        if quantity is None:
            known = Known.UNKNOWN
        elif thing.unit == "pieces":
            known = Known.COUNTED
        elif thing.item is None and quantity == thing.full:
            known = Known.SEALED
        else:
            known = Known.JUDGED
    if known == Known.UNKNOWN:
        return Finding(None, known)
    sigma = RELATIVE_SIGMA[known] * (quantity or 0) if thing.sigma is None else thing.sigma
    return Finding(sigma, known)


def day_in_words(moment: datetime) -> str:
    """Return the day on which a moment falls where the workshop stands."""
    return plain_day(moment)


def in_unit(quantity: int, *, unit: str) -> str:
    """Return a quantity in mm, mg or pieces as the preview shows it.

    >>> in_unit(640_000, unit="mm"), in_unit(8_000, unit="mg"), in_unit(12, unit="pieces")
    ('640 m', '8 g', '12')
    """
    shown = {"mm": "m", "mg": "g"}.get(unit)
    return f"{as_written_here(f'{quantity / 1000:.12g}')} {shown}" if shown else str(quantity)


def tell(thing: StatedThing) -> None:
    """Write into the row what it brings or changes."""
    row, item = thing.row, thing.item
    if item is None:
        row.news.append(thing.label)
        return
    for name, (before, after) in thing.differences.items():
        row.changes.append(f"{thing.column_of[name]}: {in_words(before)} → {in_words(after)}")
    if thing.finding is None:
        return
    after = Known(thing.finding.known).label
    if thing.quantity is None:
        row.changes.append(_("known: {before} → {after}").format(before=Known(item.known).label, after=after))
        return
    quantities = [in_unit(each, unit=thing.unit) for each in (item.on_hand, thing.quantity)]
    row.changes.append(f"{thing.quantity_column}: {' → '.join(quantities)}, {after}")
    if item.reserved > thing.quantity:
        row.changes.append(_("less than is set aside: the youngest reservations shrink"))


def land(
    things: Sequence[StatedThing],
    shelf: ShelfAtImport,
    *,
    at: datetime,
    by: Any,
    reference: str,
    progress: Callable[[int], None],
) -> None:
    """Put the new things on the shelf, edit the known ones, and post what was found on them."""
    new = [thing for thing in things if thing.item is None]
    # By number, the order in which every act locks items.
    known = sorted((thing for thing in things if thing.item is not None), key=lambda each: each.item.pk)
    act: dict[str, Any] = {"at": at, "by": by, "reference": reference}
    landed: list[Entry] = []
    for start in range(0, len(new), _LINES_IN_AN_ACT):
        part = new[start : start + _LINES_IN_AN_ACT]
        arrivals = [_arrival(thing) for thing in part]
        landed += receive_many(arrivals, key=f"{shelf.key}-new-{part[0].row.number}", **act)
        progress(start + len(part))
    for done, thing in enumerate(known, start=len(new) + 1):
        if thing.differences:
            changes = {name: after for name, (__, after) in thing.differences.items()}
            change(thing.item, changes=record_values(changes), at=at, by=by)
        if thing.finding is not None:
            # The count keeps a row that was taken back, and is landed again, from passing for the first time.
            times = shelf.moves.get(thing.item.pk, 0)
            act["key"] = f"{shelf.key}-row-{thing.row.number}-{times}"
            act["reason"] = Entry.Reason.WEIGH if thing.weighed else Entry.Reason.COUNT
            if thing.quantity is None:
                landed += ledger.post([Line(thing.item, 0, finding=thing.finding)], **act)
            else:
                landed.append(ledger.find(thing.item, quantity=thing.quantity, finding=thing.finding, **act))
        progress(done)
    # An entry that was there under its key already has its row.
    LandedRow.objects.bulk_create(
        [LandedRow(entry=entry, sha256=shelf.file) for entry in landed],
        batch_size=_LINES_IN_AN_ACT,
        ignore_conflicts=True,
    )


def _arrival(thing: StatedThing) -> Arrival:
    values = record_values(thing.identity | thing.details)
    given = {name: value for name, value in values.items() if value not in (None, "")}
    item = thing.model(kind=thing.kind, label=thing.label, **given)
    if item.price_paid is not None and item.quantity_paid is None:
        item.quantity_paid = thing.full or thing.quantity or None
    if thing.finding is None:
        raise ValueError(
            _("Row {number} was not compared before it was landed.").format(number=thing.row.number)
        )
    return Arrival(item, thing.quantity or 0, thing.finding)
