"""Small workshops with a season of jobs, at random and odd on purpose, and what today's planner says of them."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from random import Random

from inventory.compute.colour.lab import Lab, hex_from_lab
from planning.compute.batch.asked import AskedBlock, AskedDesign, BobbinStock, Shelf, Terms
from planning.compute.batch.plan import BatchPlan, plan_batch
from planning.compute.batch.taking import claims, shelf_after
from planning.compute.certainty.factor import Factor
from planning.compute.certainty.learned import Taught, UseSeen, WeighedJob, learn, thread_prior
from planning.compute.colour.choice import OwnedShade, OwnedSpool
from planning.compute.colour.sources import PALETTE, RGB, SHADE
from planning.compute.hooping.timing import MachineTimes
from planning.compute.season.stand import SeasonShelf, Stood, make_ready, stand
from planning.compute.stabilizer.cutting import Roll
from planning.compute.stabilizer.layers import LayerNeed
from planning.compute.stabilizer.supply import StabilizerStock
from planning.compute.stitches.thread_length import KAPPA_GRID, BlockSums, ThreadSettings

FIBRES = ("polyester", "polyester", "rayon", "metallic")
TEAR_AWAY = LayerNeed("tear-away", 30.0, 60.0, "hooped", 1)


@dataclass(frozen=True)
class AskedBatch:
    """What one job of a season asks, as ``plan_batch`` takes it."""

    designs: tuple[AskedDesign, ...]
    lettering: tuple[AskedDesign, ...]
    pieces: int
    terms: Terms


@dataclass(frozen=True)
class SmallSeason:
    """A shelf and the batches that claim it, one after the other."""

    shelf: Shelf
    batches: tuple[AskedBatch, ...]


def a_colour(rng: Random) -> Lab:
    turn, chroma = rng.uniform(0, math.tau), 70 * math.sqrt(rng.random())
    return Lab(rng.uniform(5, 98), chroma * math.cos(turn), chroma * math.sin(turn))


def near(lab: Lab, rng: Random, *, by: float) -> Lab:
    return Lab(*(each + rng.uniform(-by, by) for each in lab))


def small_season(rng: Random, *, jobs: int = 6) -> SmallSeason:
    """Return a shelf of up to forty shades around a few colours, and jobs that ask for about those colours."""
    palette = [a_colour(rng) for _ in range(rng.randrange(2, 9))]
    shades = [_a_shade(number, palette, rng) for number in range(1, rng.randrange(2, 40))]
    offered = tuple(
        replace(_a_shade(100 + number, palette, rng), spools=()) for number in range(rng.randrange(6))
    )
    parts = tuple(
        OwnedSpool(900 + at, f"P{at}", rng.randrange(20_000, 90_000), 3_000.0)
        for at in range(rng.randrange(3))
    )
    bobbins = None
    if rng.random() < 0.9:
        bobbins = BobbinStock(
            "under", rng.randrange(0, 30), 100_000.0, range_id=3, parts=parts, style_id=1, shade_id=9
        )
    rolls = (Roll("R1", 500, rng.randrange(500, 20_000), rng.choice((0.0, 100.0))),)
    shelf = Shelf(tuple(shades), bobbins, (StabilizerStock("Tear", "tear-away", 50.0, False, rolls, product_id=4),),
                  on_offer=offered)  # fmt: skip
    taught = _taught(rng)
    designs = [_a_design(number, palette, rng) for number in range(3)]
    return SmallSeason(shelf, tuple(_a_batch(designs, shades, taught, rng) for _ in range(jobs)))


def _a_shade(number: int, palette: list[Lab], rng: Random) -> OwnedShade:
    lab = None if rng.random() < 0.05 else near(rng.choice(palette), rng, by=rng.choice((2.0, 6.0, 20.0)))
    spools = tuple(
        OwnedSpool(
            number * 10 + at,
            f"S{number:03}-{at}",
            rng.choice((0, rng.randrange(2_000, 60_000), rng.randrange(60_000, 900_000))),
            rng.choice((None, 0.0, 500.0, 5_000.0, 20_000.0)),
            lot=rng.choice(("", "L1", "L2")),
            is_open=rng.random() < 0.4,
        )
        for at in range(rng.choice((1, 1, 2, 3, 5)))
    )
    fibre = rng.choice(FIBRES)
    return OwnedShade(number, 1 + number % 3, "Skerry", fibre, f"{number}", "", "", lab, spools, fibre=fibre)


def _a_design(number: int, palette: list[Lab], rng: Random) -> AskedDesign:
    blocks = []
    for at in range(1, rng.randrange(2, 9)):
        lab = near(rng.choice(palette), rng, by=rng.choice((0.0, 1.0, 8.0)))
        uncoloured = rng.random() < 0.07
        source = "" if uncoloured else rng.choice((RGB, PALETTE, SHADE))
        drawn = rng.uniform(300.0, 9_000.0)
        path = tuple(drawn * (1 - 0.04 * step) for step in range(len(KAPPA_GRID)))
        sums = BlockSums(drawn, round(drawn / 3), drawn / 9, path,
                         rng.randrange(1, 5), 2)  # fmt: skip
        blocks.append(
            AskedBlock(
                at,
                "" if uncoloured else hex_from_lab(lab),
                None if uncoloured else lab,
                "",
                sums,
                source=source,
                fibre=rng.choice(FIBRES) if source == SHADE else "",
            )
        )
    return AskedDesign(
        f"design {number}", f"{number}", "PES", 80.0, 60.0, 6_000 + number, 12, 0, (), tuple(blocks)
    )


def _taught(rng: Random) -> Taught | None:
    if rng.random() < 0.3:
        return None
    seen = rng.randrange(6)
    jobs = tuple(WeighedJob((UseSeen(0, 1 + at % 2, rng.gauss(0.1, 0.1), 0.03),)) for at in range(seen))
    return learn(thread_prior(), jobs)


def _a_batch(
    designs: list[AskedDesign], shades: list[OwnedShade], taught: Taught | None, rng: Random
) -> AskedBatch:
    carried = tuple(rng.sample(designs, rng.choice((1, 1, 1, 2))))
    pieces = rng.randrange(1, 40)
    lettering = tuple(rng.choice(designs) for _ in range(pieces)) if rng.random() < 0.15 else ()
    pinned = {}
    if shades and rng.random() < 0.25:
        pinned[0, rng.randrange(1, 4)] = rng.choice(shades).id
    excluded = (
        frozenset(rng.sample([each.id for each in shades], min(2, len(shades))))
        if rng.random() < 0.25
        else ()
    )
    terms = Terms(
        thread=ThreadSettings(allowance=0.1),
        times=MachineTimes(needles=rng.choice((1, 6))),
        layers=(TEAR_AWAY,) if rng.random() < 0.3 else (),
        piece_mm=(180, 240),
        enough_at=rng.choice((0.95, 0.9)),
        strictness=rng.choice(("picture", "picture", "brand")),
        colour_limit=rng.choice((5.0, 2.0)),
        taught=taught,
        needle_factor=Factor(0.05, 0.1, 0.06),
        range_factors={} if taught else {2: Factor(0.1, 0.02, 0.06)},
        bobbin_range=3,
        pinned=pinned,
        excluded=frozenset(excluded),
        with_advice=False,
        one_fibre=rng.random() < 0.6,
        copies_per_hooping=rng.choice((1, 1, 2)),
    )
    return AskedBatch(carried, lettering, pieces, terms)


def planned(season: SmallSeason) -> Iterator[BatchPlan]:
    """Yield what the planner says of each batch, against what the earlier ones leave."""
    shelf = season.shelf
    for each in season.batches:
        plan = plan_batch(
            each.designs, pieces=each.pieces, shelf=shelf, terms=each.terms, lettering=each.lettering
        )
        yield plan
        shelf = shelf_after(shelf, claims(plan), bobbins=plan.bobbins.sure_count)


def stood(season: SmallSeason, *, kept: dict | None = None) -> Iterator[Stood]:
    """Yield what the season engine says of each."""
    shelf, bobbins = SeasonShelf(season.shelf), season.shelf.bobbins
    for number, each in enumerate(season.batches):
        ready = make_ready(each.designs, pieces=each.pieces, shelf=shelf, terms=each.terms, lettering=each.lettering,
                           key=None if kept is None else number)  # fmt: skip
        found = stand(ready, shelf, bobbins, kept=kept)
        yield found
        shelf.take(found.claims)
        if bobbins is not None:
            bobbins = shelf_after(
                Shelf((), bobbins, ()), found.claims, bobbins=found.bobbins.sure_count
            ).bobbins
