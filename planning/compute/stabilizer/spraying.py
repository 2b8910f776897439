"""Spray adhesive out of cans: what coats take, which cans give it, and how sure that is."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from inventory.compute.later import later
from inventory.compute.spraying import coat_mg

if TYPE_CHECKING:
    from scipy.special import ndtr
else:
    ndtr = later("scipy.special", "ndtr")

# How far the spray that a batch takes may be off, as a share: a hand sprays as it sprays. Common practice, no source.
COAT_SIGMA = 0.3


@dataclass(frozen=True)
class Can:
    """A can with what is free in it, and what a mg cost; None where nobody knows."""

    label: str
    free_mg: int
    sigma_mg: float = 0.0
    price_per_mg: float | None = None


@dataclass(frozen=True)
class SprayUse:
    """What the coats of one layer take: of which can how much, and what no can has."""

    needed_mg: int
    takes: tuple[tuple[str, int], ...]
    missing_mg: int
    free_mg: int
    p_enough: float
    cost: float | None


def coats_mg(piece_mm: tuple[int, int], count: int, *, coat_g_m2: float | None) -> int:
    """Return the spray for ``count`` coats on pieces of one size, in whole mg.

    >>> coats_mg((200, 250), 12, coat_g_m2=20.0)
    12000
    """
    # A thousandth of a mg is noise of the arithmetic.
    return math.ceil(round(coat_mg(piece_mm[0] * piece_mm[1], coat_g_m2=coat_g_m2) * count, 3))


def share_cans(cans: Sequence[Can], needs_mg: Sequence[int]) -> list[SprayUse]:
    """Return what each of the needs takes of the cans, in the order of both: a can is emptied before the next.

    The chance of enough is that of all needs together, whose use strays by ``COAT_SIGMA``.

    >>> [(each.takes, each.missing_mg) for each in share_cans([Can("A1", 900), Can("A2", 500)], [600, 1000])]
    [((('A1', 600),), 0), ((('A1', 300), ('A2', 500)), 200)]
    """
    needed, free = sum(needs_mg), sum(can.free_mg for can in cans)
    sigma = math.hypot(COAT_SIGMA * needed, *(can.sigma_mg for can in cans))
    p = float(ndtr((free - needed) / sigma)) if sigma else float(free >= needed)
    left = [can.free_mg for can in cans]
    found = []
    for need in needs_mg:
        takes, wanted, cost = [], need, 0.0
        priced = True
        for at, can in enumerate(cans):
            taken = min(wanted, left[at])
            if taken > 0:
                takes.append((can.label, taken))
                left[at] -= taken
                wanted -= taken
                priced = priced and can.price_per_mg is not None
                cost += taken * (can.price_per_mg or 0.0)
        dearest = max((can.price_per_mg for can in cans if can.price_per_mg is not None), default=None)
        if wanted:
            priced = priced and dearest is not None
            cost += wanted * (dearest or 0.0)
        found.append(SprayUse(need, tuple(takes), wanted, free, p, cost if priced else None))
    return found
