"""Whole packs that cover a need, at the least price."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _
from planning.compute.buying.in_time import order_by


@dataclass(frozen=True)
class PackOffer:
    """A pack on offer: ``holds`` is what all its spools, bobbins or rolls hold together, in the need's unit."""

    supplier: str
    put_up: str
    holds: int
    pack: int
    price: Decimal
    lead_time_days: int


@dataclass(frozen=True)
class PackPurchase:
    """So many packs of an offer; ``ways`` are all purchases that would cover the same need."""

    offer: PackOffer
    packs: int
    ways: tuple["PackPurchase", ...] = field(default=(), compare=False, repr=False)

    @property
    def total(self) -> Decimal:
        return self.packs * self.offer.price

    def order_by(self, there_by: date | None) -> date | None:
        """Return the last day to order what must be there by that day, or None where the day is open."""
        return order_by(there_by, lead_time_days=self.offer.lead_time_days) if there_by else None

    def in_time(self, there_by: date | None, *, today: date) -> "PackPurchase":
        """Return the cheapest way that brings it by that day if it is ordered ``today``, else the quickest one."""
        ways = self.ways or (self,)
        if there_by is None:
            return self
        timely = [each for each in ways if (by := each.order_by(there_by)) and by >= today]
        if timely:
            return min(timely, key=_dearness)
        return min(ways, key=lambda each: (each.offer.lead_time_days, each.total))


def packs_needed(need: int, *, holds: int) -> int:
    """Return the whole packs of ``holds`` that cover ``need``.

    4,000 pieces of 4,500 stitches of 4 mm on cones of 5,000 m (apparelscience.com, *Calculating embroidery
    thread consumption*):

    >>> packs_needed(4_000 * 4_500 * 4, holds=5_000_000)
    15
    """
    if need < 0 or holds <= 0:
        raise WorkshopError(
            _("A need of {need} in packs of {holds} makes no sense; both must be above zero.").format(
                need=need, holds=holds
            )
        )
    return -(-need // holds)


def cheapest_purchase(need: int, offers: Sequence[PackOffer]) -> PackPurchase | None:
    """Return the offer that covers ``need`` in whole packs for the least money, the soonest among equals.

    None where nothing is on offer.
    """
    purchases = [PackPurchase(offer, packs_needed(need, holds=offer.holds)) for offer in offers]
    best = min(purchases, key=_dearness, default=None)
    return replace(best, ways=tuple(purchases)) if best else None


def _dearness(purchase: PackPurchase) -> tuple[Decimal, int]:
    return purchase.total, purchase.offer.lead_time_days
