"""What could be bought instead, with its packs and its price."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from planning.compute.buying.packs import PackOffer, PackPurchase, cheapest_purchase
from planning.compute.certainty.enough import missing_mm
from planning.compute.colour.choice import OwnedShade
from planning.compute.colour.instead import Instead
from planning.compute.colour.rules import Conditions

Place = tuple[int, int]


@dataclass(frozen=True)
class PricedShade:
    """A shade to buy, the (design, block number) that would be stitched with it, and the cheapest packs."""

    shade: OwnedShade
    blocks: tuple[Place, ...]
    needed_mm: int
    purchase: PackPurchase


@dataclass(frozen=True)
class PricedInstead:
    """One to three shades that together lower the mean difference most, and what they cost.

    ``verdict_after`` is that of the plan made again with them on the shelf, and ``mean_after`` is of that plan.
    """

    shades: tuple[PricedShade, ...]
    mean_before: float
    mean_after: float
    total: Decimal
    verdict_after: str = ""


def price_instead(
    found: Sequence[Instead],
    *,
    offers: Mapping[int, Sequence[PackOffer]],
    blocks: Sequence[Sequence[Place]],
    conditions: Conditions,
    owned: Sequence[OwnedShade] = (),
) -> tuple[PricedInstead, ...]:
    """Return ``found`` with packs that surely do, beside what is left of their shades among the ``owned``.

    ``blocks`` are those of each request, ``offers`` by shade.
    """
    left = {-shade.id: shade for shade in owned}
    priced = []
    for instead in found:
        shades = []
        for bought in instead.bought:
            shade = left.get(bought.shade.id, bought.shade)
            factor = conditions.factor_of(shade)
            free_mm, free_sigma_mm = shade.free
            needed_mm = math.ceil(
                missing_mm(
                    bought.geometry_mm * factor.median + bought.path_mm,
                    factor.about_one,
                    free_mm=free_mm,
                    free_sigma_mm=free_sigma_mm,
                    certainty=conditions.certainty,
                )
            )
            purchase = cheapest_purchase(max(1, needed_mm), offers[shade.id])
            assert purchase is not None  # only shades on offer are bought
            places = tuple(sorted(place for request in bought.requests for place in blocks[request]))
            shades.append(PricedShade(shade, places, needed_mm, purchase))
        total = sum((each.purchase.total for each in shades), Decimal("0.00"))
        priced.append(PricedInstead(tuple(shades), instead.mean_before, instead.mean_after, total))
    return tuple(priced)
