"""Stabilizer cut from rolls, sheets and offcuts, and what of the rest goes back on the shelf."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.timezone import localdate
from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.compute.knowing import NOTHING_CUT, StripsCut, strips_of
from inventory.compute.units import told_area, told_sides
from inventory.ledger import Line, cut_since_looked, moved_alike, once, write
from inventory.models import Entry, Offcut, Place, SheetPack, StabilizerRoll, StockItem
from inventory.shelf.labelled import as_its_kind
from inventory.shelf.receipts import COUNTED, brought, label_and_save

# An offcut with a side shorter than this holds no hoop that is in use: common practice, no source.
LEAST_USEFUL_MM = 100

Size = tuple[int, int]
Cuttable = StabilizerRoll | SheetPack | Offcut

Reason = Entry.Reason


class DoesNotFit(WorkshopError):
    """The piece, or what is said to be left of it, is larger than what it is cut from."""


@dataclass(frozen=True)
class Cut:
    """What a cut did: the entries, the offcuts now on the shelf, and the rests too small to keep."""

    entries: tuple[Entry, ...]
    offcuts: tuple[Offcut, ...]
    too_small: tuple[Size, ...]


def cut_piece(
    item: StockItem,
    *,
    width_mm: int,
    height_mm: int,
    key: str,
    at: datetime,
    by: Any,
    keep: Sequence[Size] = (),
    least_useful_mm: int = LEAST_USEFUL_MM,
    place: Place | None = None,
    reference: str = "",
) -> Cut:
    """Return what cutting a piece out of ``item`` took and left, in one act.

    ``height_mm`` runs along the roll. A roll loses that much of its length over its whole width, a pack one
    sheet, an offcut itself. Of ``keep``, the rests (width, height) that the person keeps, those with both sides
    of ``least_useful_mm`` or more go on the shelf as offcuts with labels. Raises DoesNotFit.

    Taking the act back restores the roll, sheet or offcut; the offcuts that came of it leave the shelf.
    """
    source = _cuttable(item)
    width_of, height_of = _cut_from(source, height_mm=height_mm)
    _refuse_misfit(source, (width_mm, height_mm), keep, of=(width_of, height_of))
    useful = [size for size in keep if min(size) >= least_useful_mm]
    offcuts = [
        Offcut(
            kind=StockItem.Kind.OFFCUT,
            product_id=source.product_id,
            width_mm=width,
            height_mm=height,
            place=place or source.place,
            lot=source.lot,
            received_on=localdate(at),
        )
        for width, height in useful
    ]
    taken = [cut_line(source, height_mm if isinstance(source, StabilizerRoll) else 1)]
    if isinstance(source, Offcut):
        # It is gone; what is left of it is another offcut.
        taken.append(Line(source, 0, reason=Reason.RETIRE))

    def act() -> list[Entry]:
        if offcuts:
            label_and_save(offcuts)
        left = [Line(offcut, 1, finding=COUNTED) for offcut in offcuts]
        return write([*taken, *left], reason=Reason.CUT, key=key, at=at, by=by, reference=reference)

    def same(entries: Sequence[Entry]) -> bool:
        if not moved_alike(entries[: len(taken)], taken, reason=Reason.CUT):
            return False
        return [(each.width_mm, each.height_mm) for each in _left(entries, source)] == useful

    entries = once(key, act, same=same)
    too_small = tuple(size for size in keep if size not in useful)
    return Cut(tuple(entries), tuple(_left(entries, source)), too_small)


def cut_line(source: Cuttable, quantity: int, *, strips: int = 1) -> Line:
    """Return the line that takes ``quantity`` of ``source``: mm of a roll in so many strips, or pieces."""
    if not isinstance(source, StabilizerRoll):
        return Line(source, -quantity)
    before = cut_since_looked([source.pk]).get(source.pk, NOTHING_CUT)
    after = before + strips_of(quantity, strips=strips)
    added = math.sqrt(after.sigma_mm**2 - before.sigma_mm**2)
    return Line(source, -quantity, added_sigma=added, strips=strips)


def cut_of_open(rolls: Iterable[StabilizerRoll]) -> dict[int, StripsCut]:
    """Return what was cut of each open roll, by its id, since it was measured."""
    return cut_since_looked(roll.pk for roll in rolls if roll.opened_on is not None)


def _cuttable(item: StockItem) -> Cuttable:
    found = as_its_kind(item)
    if not isinstance(found, Cuttable):
        raise WorkshopError(_("{item} is no stabilizer; there is nothing to cut from it.").format(item=item))
    return found


def _cut_from(source: Cuttable, *, height_mm: int) -> Size:
    """Return the rectangle that the piece is cut out of: of a roll, a strip just long enough."""
    if isinstance(source, StabilizerRoll):
        return source.width_mm, height_mm
    return source.width_mm, source.height_mm


def _refuse_misfit(source: Cuttable, piece: Size, keep: Sequence[Size], *, of: Size) -> None:
    for width, height in [piece, *keep]:
        if width <= 0 or height <= 0:
            raise DoesNotFit(
                _("A piece of {size} is nothing; give its width and height.").format(
                    size=told_sides(width, height)
                )
            )
        if width > of[0] or height > of[1]:
            raise DoesNotFit(
                _(
                    "{size} cannot come out of {of_size} of {source}. The width runs across the roll; measure again, "
                    "or cut from another."
                ).format(size=told_sides(width, height), of_size=told_sides(*of), source=source)
            )
    area = sum(width * height for width, height in [piece, *keep])
    if area > of[0] * of[1]:
        raise DoesNotFit(
            _(
                "The piece and what is kept cover {area}, more than the {whole} of {of_size} of {source}. Measure "
                "the rests again."
            ).format(
                area=told_area(area), whole=told_area(of[0] * of[1]), of_size=told_sides(*of), source=source
            )
        )


def _left(entries: Sequence[Entry], source: Cuttable) -> list[Offcut]:
    return [offcut for offcut in brought(entries, Offcut) if offcut.pk != source.pk]
