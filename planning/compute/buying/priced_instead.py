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
    """One to three shades that together lower the mean difference most, and what they cost."""

    shades: tuple[PricedShade, ...]
    mean_before: float
    mean_after: float
    total: Decimal


def price_instead(
    found: Sequence[Instead],
    *,
    offers: Mapping[int, Sequence[PackOffer]],
    blocks: Sequence[Sequence[Place]],
    conditions: Conditions,
) -> tuple[PricedInstead, ...]:
    """Return ``found`` with packs that surely do; ``blocks`` are those of each request, ``offers`` by shade."""
    priced = []
    for instead in found:
        shades = []
        for bought in instead.bought:
            factor = conditions.factor_of(bought.shade)
            needed_mm = math.ceil(
                missing_mm(
                    bought.geometry_mm * factor.median + bought.path_mm,
                    factor.about_one,
                    free_mm=0.0,
                    free_sigma_mm=0.0,
                    certainty=conditions.certainty,
                )
            )
            purchase = cheapest_purchase(needed_mm, offers[bought.shade.id])
            assert purchase is not None  # only shades on offer are bought
            places = tuple(sorted(place for request in bought.requests for place in blocks[request]))
            shades.append(PricedShade(bought.shade, places, needed_mm, purchase))
        total = sum((shade.purchase.total for shade in shades), Decimal("0.00"))
        priced.append(PricedInstead(tuple(shades), instead.mean_before, instead.mean_after, total))
    return tuple(priced)
