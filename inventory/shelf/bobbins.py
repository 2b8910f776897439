"""Bobbins: wound from a spool, opened from a batch, put back part-used."""

import math
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.utils.timezone import localdate
from django.utils.translation import gettext as _

from inventory.compute.bobbins import FIBRE_DENSITY_G_CM3, BobbinGeometry, bobbin_capacity
from inventory.compute.errors import WorkshopError, require_positive
from inventory.compute.knowing import RELATIVE_SIGMA, sealed_sigma
from inventory.compute.units import told_sides, told_thread
from inventory.ledger import (
    Finding,
    Line,
    NotEnough,
    added_sigma,
    held_after,
    lock,
    moved_alike,
    once,
    reckoned_since_looked,
    write,
)
from inventory.ledger.changes import change
from inventory.models import BobbinBatch, BobbinStyle, Entry, PartBobbin, Place, Spool, StockItem, ThreadRange
from inventory.shelf.receipts import COUNTED, brought, label_and_save, price_share

# How far bobbins from a winder differ from the length asked for, as one sigma. All bobbins of one winder are
# off together, as far as its stop is. Common practice, no source.
WOUND_SIGMA = 0.05
# The densest that equal round threads can lie side by side (Thue's theorem).
DENSEST_FILL = math.pi / (2 * math.sqrt(3))

Reason = Entry.Reason


class MoreThanABobbinHolds(WorkshopError):
    """The length does not fit on a bobbin of the style."""


def wind_bobbins(
    spool: StockItem,
    *,
    style: BobbinStyle,
    count: int,
    key: str,
    at: datetime,
    by: Any,
    length_mm: int | None = None,
    place: Place | None = None,
    reference: str = "",
) -> BobbinBatch:
    """Return a batch of ``count`` bobbins just wound from ``spool``, whose thread left it in the same act.

    ``length_mm`` on each is what a bobbin of the style holds, as people wind it, where it is not given.
    """
    _refuse_count(count)
    source = Spool.objects.select_related("shade__range").filter(pk=spool.pk).first()
    if source is None:
        raise WorkshopError(_("{spool} is no spool, so nothing can be wound from it.").format(spool=spool))
    range = source.shade.range
    length_mm = wound_length(style.geometry, range=range) if length_mm is None else length_mm
    _refuse_overfull(style, range=range, length_mm=length_mm)
    batch = BobbinBatch(
        kind=StockItem.Kind.BOBBINS,
        style=style,
        shade=source.shade,
        length_mm=length_mm,
        self_wound=True,
        place=place or source.place,
        lot=source.lot,
        received_on=localdate(at),
        **price_share(source, length_mm * count, becomes=count),
    )
    before = reckoned_since_looked([source.pk]).get(source.pk, 0)
    widened = added_sigma(WOUND_SIGMA, length_mm * count, before=before)
    taken = Line(source, -length_mm * count, added_sigma=widened)

    def act() -> list[Entry]:
        label_and_save([batch])
        wound = Line(batch, count, finding=COUNTED)
        return write([taken, wound], reason=Reason.WIND, key=key, at=at, by=by, reference=reference)

    def same(entries: Sequence[Entry]) -> bool:
        return moved_alike(entries[:1], [taken], reason=Reason.WIND) and _is_batch(batch, entries)

    return brought(once(key, act, same=same), BobbinBatch)[0]


def open_bobbin(batch: StockItem, *, key: str, at: datetime, by: Any, reference: str = "") -> PartBobbin:
    """Return one bobbin of ``batch`` as a part bobbin of its own, still with all its thread on it."""
    source = BobbinBatch.objects.filter(pk=batch.pk).first()
    if source is None:
        raise WorkshopError(
            _("{batch} is no batch of bobbins, so none can be opened from it.").format(batch=batch)
        )
    part = PartBobbin(
        kind=StockItem.Kind.PART_BOBBIN,
        style_id=source.style_id,
        shade_id=source.shade_id,
        place=source.place,
        lot=source.lot,
        opened_on=localdate(at),
        received_on=source.received_on,
        **price_share(source, 1, becomes=source.length_mm),
    )
    if source.self_wound:
        finding = Finding(WOUND_SIGMA * source.length_mm, StockItem.Known.JUDGED)
    else:
        finding = Finding(sealed_sigma(source.length_mm), StockItem.Known.SEALED)
    taken = Line(source, -1)

    def act() -> list[Entry]:
        label_and_save([part])
        opened = Line(part, source.length_mm, finding=finding)
        return write([taken, opened], reason=Reason.SPLIT, key=key, at=at, by=by, reference=reference)

    def same(entries: Sequence[Entry]) -> bool:
        return moved_alike(entries[:1], [taken], reason=Reason.SPLIT) and bool(brought(entries, PartBobbin))

    return brought(once(key, act, same=same), PartBobbin)[0]


def put_back_part_bobbin(
    part: StockItem,
    *,
    left_mm: int,
    key: str,
    at: datetime,
    by: Any,
    sigma_mm: float | None = None,
    place: Place | None = None,
    reference: str = "",
) -> list[Entry]:
    """Return the entries of a part bobbin that comes back with ``left_mm`` on it: the rest was used.

    What is left is judged by eye; ``sigma_mm`` may say how well. An empty one leaves the shelf.
    """
    if left_mm < 0:
        raise WorkshopError(
            _("{left} is below zero; say how much is left, or 0 for an empty bobbin.").format(
                left=told_sides(left_mm)
            )
        )
    if not PartBobbin.objects.filter(pk=part.pk).exists():
        raise WorkshopError(_("{part} is no part bobbin. Open one from its batch first.").format(part=part))
    sigma = RELATIVE_SIGMA[StockItem.Known.JUDGED] * left_mm if sigma_mm is None else sigma_mm
    finding = Finding(sigma, StockItem.Known.JUDGED) if left_mm else COUNTED

    def act() -> list[Entry]:
        held = lock(part.pk)
        used = held.on_hand - left_mm
        if used < 0:
            raise NotEnough(
                _(
                    "{held} holds {held_length} by the books, so {left} cannot be left of it. Check that it is "
                    "this bobbin; if there is really more on it, count it instead."
                ).format(held=held, held_length=told_thread(held.on_hand), left=told_thread(left_mm))
            )
        lines = [Line(held, -used, finding=finding)]
        if left_mm == 0:
            lines.append(Line(held, 0, reason=Reason.RETIRE))
        entries = write(lines, reason=Reason.USE, key=key, at=at, by=by, reference=reference)
        if place is not None:
            change(held, changes={"place": place}, at=at, by=by)
        return entries

    def same(entries: Sequence[Entry]) -> bool:
        first = entries[0]
        return (first.item_id, first.reason) == (part.pk, Reason.USE) and held_after(first) == left_mm

    return once(key, act, same=same)


def wound_length(geometry: BobbinGeometry, *, range: ThreadRange) -> int:
    """Return the length in mm that people wind on a bobbin of ``geometry``."""
    return round(bobbin_capacity(geometry, tex=range.tex, density_g_cm3=FIBRE_DENSITY_G_CM3[range.fibre]))


def _refuse_overfull(style: BobbinStyle, *, range: ThreadRange, length_mm: int) -> None:
    require_positive(length_mm, what=_("length on a bobbin in mm"))
    density = FIBRE_DENSITY_G_CM3[range.fibre]
    most_mm = bobbin_capacity(style.geometry, tex=range.tex, density_g_cm3=density, fill=DENSEST_FILL)
    if length_mm > most_mm:
        raise MoreThanABobbinHolds(
            _(
                "{length} do not fit on a {style} bobbin: {most} of {range} fill it to the rim "
                "without a gap, and wound by hand it holds about {wound}."
            ).format(
                length=told_thread(length_mm),
                style=style,
                most=told_thread(most_mm),
                range=range,
                wound=told_thread(wound_length(style.geometry, range=range)),
            )
        )


def _refuse_count(count: int) -> None:
    if not 1 <= count <= 1000:
        raise WorkshopError(
            _("{count} bobbins cannot be wound at once; give a count from 1 to 1,000.").format(count=count)
        )


def _is_batch(batch: BobbinBatch, entries: Sequence[Entry]) -> bool:
    """Return whether the act brought just this batch."""
    there = brought(entries, BobbinBatch)
    return [(each.style_id, each.length_mm) for each in there] == [(batch.style_id, batch.length_mm)]
