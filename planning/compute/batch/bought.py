"""What is bought for a plan: in time, and the shelf as it would be with it, so that the plan can be made again."""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from inventory.compute.knowing import sealed_sigma
from planning.compute.batch.asked import Shelf
from planning.compute.batch.plan import BatchPlan
from planning.compute.batch.sentences import NEW_SPOOL
from planning.compute.buying.packs import PackPurchase
from planning.compute.buying.priced_instead import PricedInstead
from planning.compute.colour.choice import OwnedShade, OwnedSpool


def shelf_with(shelf: Shelf, bought: PricedInstead) -> Shelf:
    """Return ``shelf`` with the packs of a purchase on it, sealed, behind what is left of their shades."""
    shades, on_offer = list(shelf.shades), list(shelf.on_offer)
    for each in bought.shades:
        owned = next((place for place, shade in enumerate(shades) if shade.id == each.shade.id), None)
        if owned is None:
            on_offer = [shade for shade in on_offer if shade.id != each.shade.id]
            shades = _put_in(shades, replace(each.shade, spools=_sealed(each.purchase)))
        else:
            shade = shades[owned]
            shades[owned] = replace(shade, spools=(*shade.spools, *_sealed(each.purchase)))
    return replace(shelf, shades=tuple(shades), on_offer=tuple(on_offer))


def _put_in(shades: Sequence[OwnedShade], new: OwnedShade) -> list[OwnedShade]:
    """Return the shades with one more, in the catalogue's order: of two that are as near the first is taken."""
    place = bisect_left([_order(shade) for shade in shades], _order(new))
    return [*shades[:place], new, *shades[place:]]


def _order(shade: OwnedShade) -> tuple[str, str, str]:
    return shade.maker, shade.range, shade.code


def _sealed(purchase: PackPurchase) -> tuple[OwnedSpool, ...]:
    offer = purchase.offer
    holds = offer.holds // offer.pack
    return tuple(
        OwnedSpool(-number, NEW_SPOOL.format(number=number), holds, sealed_sigma(holds))
        for number in range(1, purchase.packs * offer.pack + 1)
    )


def bought_in_time(plan: BatchPlan, *, today: date) -> BatchPlan:
    """Return the plan with each purchase the cheapest one that comes in time, where any does; else the quickest."""
    there_by = plan.material_day

    def timely(purchase: PackPurchase | None) -> PackPurchase | None:
        return purchase and purchase.in_time(there_by, today=today)

    return replace(
        plan,
        threads=tuple(replace(each, purchase=timely(each.purchase)) for each in plan.threads),
        bobbins=replace(plan.bobbins, purchase=timely(plan.bobbins.purchase)),
        stabilizer=tuple(replace(each, purchase=timely(each.purchase)) for each in plan.stabilizer),
    )
