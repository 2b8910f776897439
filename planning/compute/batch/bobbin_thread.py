"""The bobbins of a batch: how many, changed where, and how sure that those owned do."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, TypeVar

from inventory.compute.later import later
from planning.compute.batch.asked import BobbinStock, Terms, kappa_slopes
from planning.compute.batch.carrying import Carried
from planning.compute.buying.packs import PackPurchase, cheapest_purchase
from planning.compute.certainty.enough import verdict
from planning.compute.colour.choice import OwnedSpool
from planning.compute.spools.bobbins import (
    BobbinChange,
    Interruption,
    PartBobbinLeft,
    bobbins_for_sure,
    p_enough_bobbins,
    run_of_bobbins,
)
from planning.compute.stitches.placing import scaled_sums

if TYPE_CHECKING:
    from scipy.special import ndtri
else:
    ndtri = later("scipy.special", "ndtri")


@dataclass(frozen=True)
class WindingJob:
    """So many bobbins to wind from this spool."""

    label: str
    bobbins: int


@dataclass(frozen=True)
class PlannedBobbins:
    """``thread`` is empty and the verdict unknown where no bobbin of the machine's style is known.

    ``count`` are full bobbins, of which ``owned`` are on the shelf; ``first`` and the changes name part bobbins by
    their labels. ``wind`` says what spools of the same thread could make up of those lacking.
    """

    thread: str
    needed_mm: int
    count: int
    owned: int
    p_enough: float
    verdict: str
    changes: tuple[BobbinChange, ...]
    interruptions: tuple[Interruption, ...]
    purchase: PackPurchase | None
    # How many full ones make it as sure as the rules ask, owned or not; what each piece takes before the factor.
    sure_count: int = 0
    # How many make it tight at least; worked out where there are not enough.
    tight_count: int = 0
    wind_from: tuple[OwnedSpool, ...] = ()
    geometry_mm: tuple[float, ...] = ()
    length_mm: float = 0.0
    kappa_slope: float = 0.0  # ∂ ln length / ∂κ of what the batch takes
    first: str = ""
    parts: tuple[str, ...] = ()
    wind: tuple[WindingJob, ...] = ()
    style_id: int = 0
    shade_id: int = 0
    # How far one job strays from what is reckoned, as a share, and of that what every job is off by alike.
    relative_sigma: float = 0.0
    level_sigma: float = 0.0

    @property
    def inside_blocks(self) -> int:
        return len(self.interruptions)

    @property
    def to_wind(self) -> int:
        return sum(each.bobbins for each in self.wind)


def plan_bobbins(carried: Carried, stock: BobbinStock | None, terms: Terms) -> PlannedBobbins:
    """Return the bobbins for all pieces, changed at block boundaries.

    Bobbins that can be wound from spools of the same thread count as there: that many more are enough.
    """
    geometry_mm = carried.bobbin_geometry_loads()
    loads_mm = carried.bobbin_loads(median=terms.bobbin_factor.median)
    needed = round(carried.over_loads(sum, loads_mm))
    by_piece = _by_piece(carried)
    slope = terms.bobbin_slope
    if slope is None:
        slope = kappa_slopes(
            [scaled_sums(each.block.sums, carried.designs[each.design].placement) for each in carried.blocks],
            terms.thread,
        )[1]
    if stock is None:
        return PlannedBobbins(
            "", needed, 0, 0, 0.0, "unknown", (), (), None, geometry_mm=by_piece, kappa_slope=slope
        )
    parts = [
        PartBobbinLeft(part.label, holds)
        for part in stock.parts
        if (holds := sure_length(part, certainty=terms.enough_at)) > 0
    ]
    run = run_of_bobbins(loads_mm, bobbin_mm=stock.length_mm, parts=parts)
    factor = terms.bobbin_factor
    given: dict[str, Any] = {
        "bobbin_mm": stock.length_mm,
        "factor": factor,
        "parts": parts,
    }
    wanted = bobbins_for_sure(geometry_mm, certainty=terms.enough_at, **given)
    wind = windings(
        max(wanted, run.count) - stock.count,
        stock.wind_from,
        bobbin_mm=stock.length_mm,
        certainty=terms.enough_at,
    )
    there = stock.count + sum(each.bobbins for each in wind)
    # How well they are counted adds to how far they go.
    counted = factor.widened(stock.sigma / there) if stock.sigma and there else factor
    p = p_enough_bobbins(geometry_mm, bobbins=there, **given | {"factor": counted})
    word = verdict(p, enough_at=terms.enough_at, tight_at=terms.tight_at)
    return PlannedBobbins(
        thread=stock.thread,
        needed_mm=needed,
        count=run.count,
        owned=stock.count,
        p_enough=p,
        verdict=word,
        changes=tuple(_on_piece(carried, change) for change in run.changes),
        interruptions=tuple(_on_piece(carried, each) for each in run.interruptions),
        purchase=None if word == "enough" else cheapest_purchase(max(1, wanted - there), stock.offers),
        first=run.first,
        parts=run.parts,
        wind=wind,
        sure_count=wanted,
        tight_count=0
        if word == "enough"
        else bobbins_for_sure(geometry_mm, certainty=terms.tight_at, **given),
        wind_from=stock.wind_from,
        geometry_mm=by_piece,
        length_mm=stock.length_mm,
        style_id=stock.style_id,
        shade_id=stock.shade_id,
        kappa_slope=slope,
        relative_sigma=factor.predictive_sigma,
        level_sigma=min(factor.sigma, factor.predictive_sigma),
    )


def cost_of_parts(bobbins: PlannedBobbins, stock: BobbinStock | None) -> list[float | None]:
    """Return what the thread on each part bobbin cost that is used up; None where no price is known.

    At the price paid for it, or else its share of a full one.
    """
    if stock is None:
        return []
    a_mm = None if stock.price_each is None else stock.price_each / stock.length_mm
    prices = {part.label: a_mm if part.price_per_mm is None else part.price_per_mm for part in stock.parts}
    lengths = {part.label: part.free_mm for part in stock.parts}
    return [None if (price := prices[label]) is None else price * lengths[label] for label in bobbins.parts]


Placed = TypeVar("Placed", BobbinChange, Interruption)


def _on_piece(carried: Carried, placed: Placed) -> Placed:
    """Return what was placed in a load on the first piece of that load, with the block's own name."""
    block = carried.blocks[carried.stitched_blocks(placed.piece - 1)[placed.block][0]]
    return replace(
        placed,
        piece=carried.load(placed.piece - 1)[0] + 1,
        at_block=(block.design, block.block.number),
    )


def _by_piece(carried: Carried) -> tuple[float, ...]:
    """What each piece takes before the factor, in mm."""
    per_design = {
        design: sum(carried.blocks[index].bobbin_geometry_mm for index in blocks)
        for design, blocks in carried.blocks_of.items()
    }
    per_kind = {kind: sum(per_design[design] for design in kind) for kind in set(carried.pieces)}
    return tuple(per_kind[piece] for piece in carried.pieces)


def windings(
    lacking: int, spools: Sequence[OwnedSpool], *, bobbin_mm: float, certainty: float
) -> tuple[WindingJob, ...]:
    """Return from which spools to wind so many bobbins, in shelf order; fewer where the spools do not hold them.

    >>> spools = [OwnedSpool(1, "S1", 250_000, 0.0), OwnedSpool(2, "S2", 900_000, 0.0)]
    >>> windings(4, spools, bobbin_mm=100_000.0, certainty=0.95)
    (WindingJob(label='S1', bobbins=2), WindingJob(label='S2', bobbins=2))
    """
    found = []
    for spool in spools:
        count = min(lacking, int(sure_length(spool, certainty=certainty) / bobbin_mm))
        if count > 0:
            found.append(WindingJob(spool.label, count))
            lacking -= count
    return tuple(found)


def sure_length(spool: OwnedSpool, *, certainty: float) -> float:
    """Return the length in mm that is there at this certainty; 0 where nobody knows what is on it.

    >>> round(sure_length(OwnedSpool(1, "S1", 100_000, 10_000.0), certainty=0.95))
    83551
    """
    if spool.sigma_mm is None:
        return 0.0
    return max(0.0, spool.free_mm - float(ndtri(certainty)) * spool.sigma_mm)
