"""A whole cut list posted in one act: rolls, sheets and offcuts go down, useful rests go on the shelf."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.timezone import localdate
from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.compute.units import told_sides
from inventory.ledger import Line, moved_alike, once, write
from inventory.models import Entry, Offcut, SheetPack, StabilizerRoll, StockItem
from inventory.shelf.labelled import as_its_kind
from inventory.shelf.offcuts import DoesNotFit, cut_line
from inventory.shelf.receipts import COUNTED, brought, label_and_save

Reason = Entry.Reason


@dataclass(frozen=True)
class Taken:
    """What is cut from one thing: mm off a roll, sheets of a pack, 1 of an offcut; ``keep`` are the rests kept.

    What comes off a roll comes off in so many ``strips``, as long as they are each.
    """

    item: StockItem
    quantity: int
    keep: tuple[tuple[int, int], ...] = ()  # width, and height along the roll
    strips: int = 1


@dataclass(frozen=True)
class CutListed:
    """The entries of the act, and the offcuts that are now on the shelf."""

    entries: tuple[Entry, ...]
    offcuts: tuple[Offcut, ...]


def cut_list(takes: Sequence[Taken], *, key: str, at: datetime, by: Any, reference: str = "") -> CutListed:
    """Return what cutting all of ``takes`` did, in one act that is taken back as one.

    Taking it back restores every roll, sheet and offcut; the offcuts that came of it leave the shelf. Raises
    DoesNotFit, and NotEnough if the shelf no longer holds it, and then nothing is moved.
    """
    if not takes:
        raise WorkshopError(_("There is nothing to cut."))
    sources = [(_cuttable(take.item), take) for take in takes]
    taken: list[Line] = []
    offcuts: list[Offcut] = []
    for source, take in sources:
        _refuse_misfit(source, take)
        taken.append(cut_line(source, take.quantity, strips=take.strips))
        if isinstance(source, Offcut):
            # It is gone; what is left of it is another offcut.
            taken.append(Line(source, 0, reason=Reason.RETIRE))
        offcuts += [
            Offcut(
                kind=StockItem.Kind.OFFCUT,
                product_id=source.product_id,
                width_mm=width,
                height_mm=height,
                place=source.place,
                lot=source.lot,
                received_on=localdate(at),
            )
            for width, height in take.keep
        ]
    kept = [(each.product_id, each.width_mm, each.height_mm) for each in offcuts]
    cut_from = {source.pk for source, _ in sources}

    def left(entries: Sequence[Entry]) -> list[Offcut]:
        return [each for each in brought(entries, Offcut) if each.pk not in cut_from]

    def act() -> list[Entry]:
        if offcuts:
            label_and_save(offcuts)
        lines = [*taken, *(Line(offcut, 1, finding=COUNTED) for offcut in offcuts)]
        return write(lines, reason=Reason.CUT, key=key, at=at, by=by, reference=reference)

    def same(entries: Sequence[Entry]) -> bool:
        if not moved_alike(entries[: len(taken)], taken, reason=Reason.CUT):
            return False
        return [(each.product_id, each.width_mm, each.height_mm) for each in left(entries)] == kept

    entries = once(key, act, same=same)
    return CutListed(tuple(entries), tuple(left(entries)))


def _cuttable(item: StockItem) -> StabilizerRoll | SheetPack | Offcut:
    found = as_its_kind(item)
    if not isinstance(found, StabilizerRoll | SheetPack | Offcut):
        raise WorkshopError(_("{item} is no stabilizer; there is nothing to cut from it.").format(item=item))
    return found


def _refuse_misfit(source: StabilizerRoll | SheetPack | Offcut, take: Taken) -> None:
    if take.quantity <= 0 or (isinstance(source, Offcut) and take.quantity != 1):
        raise DoesNotFit(
            _("{quantity} cannot be cut of {source}; give how much comes off.").format(
                quantity=take.quantity, source=source
            )
        )
    if isinstance(source, StabilizerRoll):
        height, times = take.quantity, 1
    else:
        height, times = source.height_mm, take.quantity
    too_large = [
        size for size in take.keep if size[0] > source.width_mm or size[1] > height or min(size) <= 0
    ]
    area = sum(width * along for width, along in take.keep)
    if too_large or area > source.width_mm * height * times:
        raise DoesNotFit(
            _("The rests of {source} are larger than what is cut: {size}. Measure them again.").format(
                source=source, size=told_sides(source.width_mm, height)
            )
        )
