"""What a person finds on the shelf, however it is known: by the scale, by count, by eye, or not at all."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.compute.lengths import (
    ScaleReading,
    UnknownUnit,
    parse_count,
    parse_length,
    parse_weight,
    read_scale,
)
from inventory.compute.spoken import figure
from inventory.compute.units import METRIC, Units, told_mass, told_thread
from inventory.compute.weighing import FILL_LEVELS
from inventory.ledger import Finding, find
from inventory.models import Entry, Spool, SprayCan, StockItem
from inventory.shelf.weights import OVERLONG, MoreThanFull, judge_spool, mark_unknown, weigh_spool
from inventory.shelf.words import word_meant

# How well a person reads a length off a ruler or a counter: common practice, no source.
MEASURED_SIGMA = 0.02
# So many pieces are believed of anything, and of what is kept in larger numbers so many times as many as there were:
# a gross, and ten times; common practice, no source.
MOST_PIECES, PIECES_AGAIN = 144, 10
NOT_KNOWN = frozenset({"?", "unknown", "not known"})


class NotAFinding(WorkshopError):
    """A finding says one thing: a quantity, a weight, a level, or that nobody knows."""


@dataclass(frozen=True)
class Found:
    """What was found of an item: its quantity, what the scale shows, what it looks like, or (all None) nothing.

    ``quantity`` in mm, mg or pieces, the item's unit; ``gross`` with the spool and its thread on the scale.
    """

    quantity: int | None = None
    gross: ScaleReading | None = None
    level: str | None = None
    sure: bool = False

    def __post_init__(self) -> None:
        if sum(each is not None for each in (self.quantity, self.gross, self.level)) > 1:
            raise NotAFinding(_("Say what was found in one way: a quantity, a weight, or how full it looks."))


def found_as_typed(
    text: str,
    *,
    item: StockItem,
    units: Units = METRIC,
    scale_resolution_mg: int | None = None,
    sure: bool = False,
) -> Found:
    """Return what a person means who types ``text`` for ``item``: 350 m, 52.4 g, half, 18 or ?.

    A number alone is a length for what is measured by length, the weight of what is left for a can, and a count for
    what is counted. A weight was read as
    finely as its figures say, unless ``scale_resolution_mg`` states the scale's step.
    """
    word = word_meant(text)
    if word in NOT_KNOWN:
        return Found()
    if word in FILL_LEVELS:
        return Found(level=word)
    if item.is_in_mg:
        return Found(quantity=parse_weight(text, unit=units.weight), sure=sure)
    if not item.is_measured:
        return Found(quantity=parse_count(text), sure=sure)
    try:
        return Found(quantity=parse_length(text, unit=units.length), sure=sure)
    except UnknownUnit:
        if item.kind != StockItem.Kind.SPOOL:
            raise
        gross = read_scale(text, unit=units.weight, resolution_mg=scale_resolution_mg)
        return Found(gross=gross, sure=sure)


def note_found(
    item: StockItem, found: Found, *, key: str, at: datetime, by: Any, reference: str = ""
) -> Entry:
    """Return the entry that sets ``item`` to what was found of it, by the act that suits the way it is known."""
    if found.gross is not None:
        return weigh_spool(
            item,
            gross_mg=found.gross.mg,
            scale_resolution_mg=found.gross.resolution_mg,
            sure=found.sure,
            key=key,
            at=at,
            by=by,
            reference=reference,
        )
    if found.level is not None:
        return judge_spool(item, level=found.level, key=key, at=at, by=by, reference=reference)
    if found.quantity is None:
        return mark_unknown(item, key=key, at=at, by=by, reference=reference)
    return count_item(
        item, quantity=found.quantity, sure=found.sure, key=key, at=at, by=by, reference=reference
    )


def count_item(
    item: StockItem,
    *,
    quantity: int,
    key: str,
    at: datetime,
    by: Any,
    sure: bool = False,
    reference: str = "",
) -> Entry:
    """Return the entry that sets ``item`` to ``quantity``, counted or measured, in its own unit.

    What cannot well be raises MoreThanFull unless the person is ``sure``: more than a full spool or a new roll
    holds, or many times the pieces there ever were.
    """
    if not sure:
        _refuse_unlikely(item, quantity)
    sigma = 0.0 if item.unit == "pieces" else MEASURED_SIGMA * quantity
    finding = Finding(sigma, StockItem.Known.COUNTED)
    return find(item, quantity=quantity, finding=finding, key=key, at=at, by=by, reference=reference)


def _refuse_unlikely(item: StockItem, quantity: int) -> None:
    held = StockItem.objects.get(pk=item.pk)
    came = held.quantity_paid or 0
    if held.unit == "pieces":
        most = max(MOST_PIECES, PIECES_AGAIN * max(held.on_hand, came))
        if quantity > most:
            raise MoreThanFull(
                _(
                    "{quantity} pieces of {held}? The books have {on_hand}. If there are really so many, say "
                    "that you are sure."
                ).format(quantity=figure(quantity), held=held, on_hand=figure(held.on_hand))
            )
        return
    spool = Spool.objects.select_related("put_up").filter(pk=item.pk).first()
    full = max(came, spool.put_up.length_mm if spool and spool.put_up else 0)
    can = SprayCan.objects.filter(pk=item.pk).first()
    if can is not None:
        full = max(full, can.full_mg)
    if full and quantity > full * (1 + OVERLONG):
        asked = (
            _(
                "{quantity} in {held}? Full it holds {full}. Is it the right thing, and the right unit? If it is, "
                "say that you are sure."
            )
            if can
            else _(
                "{quantity} on {held}? Full it holds {full}. Is it the right thing, and the right unit? If it is, "
                "say that you are sure."
            )
        )
        told = told_mass if can else told_thread
        raise MoreThanFull(asked.format(quantity=told(quantity), held=held, full=told(full)))
