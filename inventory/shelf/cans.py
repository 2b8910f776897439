"""Cans of spray, weighed as they stand."""

from datetime import datetime
from typing import Any

from inventory.acting import whole_act
from inventory.compute.errors import WorkshopError
from inventory.compute.lengths import ScaleReading
from inventory.ledger import Finding, find
from inventory.ledger.changes import change
from inventory.models import Entry, SprayCan, StockItem
from inventory.shelf.counts import OVERLONG
from inventory.shelf.weights import MoreThanFull

# How far the empty weight of a can may be off that was reckoned from what is printed: common practice, no source.
EMPTY_SIGMA = 0.02


@whole_act
def weigh_can(
    item: StockItem,
    *,
    gross: ScaleReading,
    key: str,
    at: datetime,
    by: Any,
    empty_mg: int | None = None,
    sure: bool = False,
    reference: str = "",
) -> Entry:
    """Return the entry that sets a can to what is left in it: what the scale shows less the empty can.

    ``empty_mg`` is kept with the can; None uses what is kept. Raises MoreThanFull for more than it holds full,
    unless the person is ``sure``.
    """
    can = SprayCan.objects.get(pk=item.pk)
    if empty_mg is not None and empty_mg != can.empty_mg:
        change(can, changes={"empty_mg": empty_mg}, at=at, by=by, what=f"{can} when empty")
        can.empty_mg = empty_mg
    if can.empty_mg is None:
        raise WorkshopError(
            f"What {can} weighs empty is not known. Give it: a full can's weight less what is printed as its content."
        )
    left_mg = gross.mg - can.empty_mg
    if left_mg < 0:
        raise WorkshopError(
            f"{gross.mg / 1000:g} g is less than the empty can, {can.empty_mg / 1000:g} g. Weigh it again."
        )
    if not sure and left_mg > can.full_mg * (1 + OVERLONG):
        raise MoreThanFull(
            f"{left_mg / 1000:,.1f} g in {can}? Full it holds {can.full_mg / 1000:,.1f} g. "
            "Is it the right can, and the right unit? If it is, say that you are sure."
        )
    sigma_mg = (gross.resolution_mg**2 / 12 + (EMPTY_SIGMA * can.empty_mg) ** 2) ** 0.5
    finding = Finding(sigma_mg, StockItem.Known.WEIGHED)
    return find(item, quantity=left_mg, finding=finding, key=key, at=at, by=by, reference=reference,
                reason=Entry.Reason.WEIGH)  # fmt: skip
