"""A list that is understood comes onto the shelf: all of it, once, as one act that is taken back as one."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.utils.timezone import localdate

from inventory.acting import planned_act
from inventory.catalogue.in_own_words import SpoolInWords, catalogued, how_much
from inventory.compute.errors import WorkshopError
from inventory.compute.knowing import RELATIVE_SIGMA
from inventory.compute.spoken import _, figure, ngettext
from inventory.files.listening.meanings import LEFT_OUT, MEANINGS
from inventory.files.listening.reading import KeptList
from inventory.files.listening.rows import ListedRow, Reading
from inventory.ledger import Finding
from inventory.models import Entry, ListShape, Place, PutUp, Shade, Spool, StockItem
from inventory.shelf.labelled import next_labels
from inventory.shelf.receipts import Arrival, LabelTaken, receive_many

MOST_SPOOLS = 5_000


class StillAsked(WorkshopError):
    """Some rows of the list are not understood yet, so nothing of it came onto the shelf."""


@dataclass(frozen=True)
class Landed:
    """What a list brought: its spools, by the key of the act, and whether they came with it now or had come before."""

    key: str
    spools: int
    before: bool


@planned_act
def land_list(
    kept: KeptList, rows: Sequence[ListedRow], *, reading: Reading, at: datetime, by: Any, reference: str = ""
) -> Landed:
    """Return what ``rows`` brought onto the shelf; the same sheet of the same list brings it once.

    A list that was taken back as a whole may come again. How it was read is remembered for lists of its shape.
    Raises StillAsked where a row is not understood, and LabelTaken.
    """
    asked = sum(bool(row.asked) for row in rows)
    if asked:
        raise StillAsked(
            ngettext(
                "Nothing came onto the shelf yet: {asked} row needs an answer, or to be left out.",
                "Nothing came onto the shelf yet: {asked} rows need an answer, or to be left out.",
                asked,
            ).format(asked=asked)
        )
    key, there = _key_of(kept)
    if there:
        return Landed(key, there, before=True)
    said = [(row, spool) for row in rows for spool in row.spools]
    if not said:
        raise StillAsked(_("There is no spool in the list that could come onto the shelf."))
    if len(said) > MOST_SPOOLS:
        raise StillAsked(
            _("The list tells of {count} spools, and {most} is the most. Split it.").format(
                count=figure(len(said)), most=figure(MOST_SPOOLS)
            )
        )
    _refuse_taken([row.label for row in rows if row.label])
    places = _places(rows)
    free = iter(next_labels(StockItem.Kind.SPOOL, sum(not row.label for row, __ in said)))
    known: dict[SpoolInWords, tuple[Shade, PutUp | None]] = {}
    arrivals = []
    for line, (row, spool) in enumerate(said):
        if spool not in known:
            known[spool] = catalogued(spool, key=f"{key}-{line}", at=at, by=by)
        arrivals.append(
            _arrival(row, spool, *known[spool], label=row.label or next(free), places=places, at=at)
        )
    receive_many(arrivals, key=key, at=at, by=by, reference=reference[:120])
    ListShape.objects.update_or_create(
        shape=kept.shape,
        defaults={
            "meanings": list(reading.meanings),
            "unit": reading.unit,
            "maker": reading.maker,
            "weight_label": reading.weight_label,
            "full_mm": reading.full_mm,
            "unsaid_is_full": reading.unsaid_is_full,
        },
    )
    return Landed(key, len(arrivals), before=False)


def usual_reading(kept: KeptList, *, unit: str) -> tuple[Reading, bool]:
    """Return how a list is read until a person says otherwise, and whether one of its shape came before."""
    known = ListShape.objects.filter(shape=kept.shape).first()
    if known is None or len(known.meanings) != len(kept.headings):
        return Reading(kept.guessed, unit=unit), False
    meanings = tuple(each if each in MEANINGS else LEFT_OUT for each in known.meanings)
    return (
        Reading(
            meanings,
            unit=known.unit,
            maker=known.maker,
            weight_label=known.weight_label,
            full_mm=known.full_mm,
            unsaid_is_full=known.unsaid_is_full,
        ),
        True,
    )


def _key_of(kept: KeptList) -> tuple[str, int]:
    """Return the key of the act that lands the list, and how many spools it has brought if it stands."""
    sheet = f"-{kept.sheets.index(kept.sheet)}" if kept.sheet else ""
    times = 0
    while True:
        key = f"list-{kept.sha256[:32]}{sheet}-{times}"
        entries = list(Entry.objects.filter(key=key).select_related("reversed_by"))
        if not entries:
            return key, 0
        if not any(hasattr(entry, "reversed_by") for entry in entries):
            return key, len(entries)
        times += 1


def _refuse_taken(labels: Sequence[str]) -> None:
    taken = list(
        StockItem.objects.filter(label__in=labels).order_by("label").values_list("label", flat=True)[:5]
    )
    if taken:
        raise LabelTaken(
            _(
                "On the shelf already: {names}. No label code is on two things; leave those rows out, or "
                "take the label column out of the list, and every spool gets a new code."
            ).format(names=", ".join(taken))
        )


def _places(rows: Sequence[ListedRow]) -> dict[str, Place]:
    """Return the places that the rows name, by their names in small letters; new names make new places."""
    wanted: dict[str, str] = {}
    for row in rows:
        if row.place and row.spools:
            wanted.setdefault(row.place.casefold(), row.place)
    places = {place.name.casefold(): place for place in Place.objects.all()}
    for folded, name in wanted.items():
        if folded not in places:
            places[folded] = Place.objects.create(name=name)
    return places


def _arrival(
    row: ListedRow,
    said: SpoolInWords,
    shade: Shade,
    put_up: PutUp | None,
    *,
    label: str,
    places: dict[str, Place],
    at: datetime,
) -> Arrival:
    length_mm, sigma_mm, known = how_much(said, shade.range, put_up)
    price: dict[str, Any] = {}
    if row.price is not None:
        bought = put_up.length_mm if put_up else length_mm
        price = {"price_paid": Decimal(row.price), "quantity_paid": bought or None}
    spool = Spool(
        kind=StockItem.Kind.SPOOL,
        label=label,
        shade=shade,
        put_up=put_up,
        tare_mg=said.empty_mg,
        place=places.get(row.place.casefold()),
        lot=row.lot,
        note=row.note,
        received_on=localdate(at),
        opened_on=None if known == StockItem.Known.SEALED else localdate(at),
        **price,
    )
    if length_mm is None:
        return Arrival(spool, 0, Finding(None, StockItem.Known.UNKNOWN))
    sigma = RELATIVE_SIGMA[known] * length_mm if sigma_mm is None else sigma_mm
    return Arrival(spool, length_mm, Finding(sigma, known))
