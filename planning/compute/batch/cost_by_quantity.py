"""What the same pieces cost in other quantities: tests and threading weigh most on small batches."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import cycle, islice

from planning.compute.batch.asked import Shelf, Terms
from planning.compute.batch.carrying import Carried
from planning.compute.batch.copies_compared import NO_SPOOLS, SpoolHands, batch_minutes
from planning.compute.batch.costing import BatchCost, CostOfPieces, money
from planning.compute.batch.needle_thread import PlannedThread
from planning.compute.batch.sentences import said_of_plan
from planning.compute.hooping.pieces import pieces_to_stitch
from planning.compute.spools.bobbins import run_of_bobbins
from planning.compute.stabilizer.supply import LayerPlan

QUANTITIES = (1, 6, 12, 24, 48)


@dataclass(frozen=True)
class QuantityCost(CostOfPieces):
    """What an order of ``pieces`` costs; its tests and spoiled pieces are in it, what is ``unpriced`` is not."""

    pieces: int
    stitched: int
    machine_min: float
    hands_on_min: float
    material: Decimal
    machine: Decimal
    hands_on: Decimal
    is_planned: bool = False
    no_price: tuple[str, ...] = ()

    @property
    def unpriced(self) -> tuple[str, ...]:
        return tuple(map(said_of_plan, self.no_price))


def cost_by_quantity(
    carried: Carried,
    cost: BatchCost,
    *,
    threads: Sequence[PlannedThread],
    layers: Sequence[LayerPlan],
    shelf: Shelf,
    terms: Terms,
    minutes: tuple[float, float],
    spools: SpoolHands = NO_SPOOLS,
    quantities: Sequence[int] = QUANTITIES,
) -> tuple[QuantityCost, ...]:
    """Return the cost at each quantity and at the one planned, fewest first.

    Thread costs by the mm what it does in this plan, stabilizer by the hooping; bobbins are whole ones, full.
    ``minutes`` are those of the plan, at the machine and hands on. Names are taken to go round,
    and spools to end as often a piece as in the plan.
    """
    index = {(block.design, block.block.number): at for at, block in enumerate(carried.blocks)}
    blocks = [[index[place] for place in thread.blocks] for thread in threads]
    stabilizer = sum(layer.cost or 0.0 for layer in layers) / carried.hoopings()
    found = []
    for pieces in sorted({*quantities, cost.pieces}):
        if pieces == cost.pieces:
            found.append(
                QuantityCost(
                    pieces,
                    cost.stitched,
                    *minutes,
                    cost.material,
                    cost.machine,
                    cost.hands_on,
                    is_planned=True,
                    no_price=cost.no_price,
                )
            )
            continue
        total = pieces_to_stitch(pieces, test_pieces=terms.test_pieces, spoilage=terms.spoilage).total
        sized = replace(carried, pieces=tuple(islice(cycle(carried.pieces), total)))
        thread = sum(
            rate * _needed_mm(sized, own, each.factor_median)
            for rate, own, each in zip(cost.thread_per_mm, blocks, threads, strict=True)
        )
        bobbins, changes = 0, 0
        if shelf.bobbins:
            run = run_of_bobbins(
                sized.bobbin_loads(median=terms.bobbin_factor.median), bobbin_mm=shelf.bobbins.length_mm
            )
            bobbins, changes = run.count, len(run.changes) + run.inside_blocks
        each = (shelf.bobbins.price_each if shelf.bobbins else None) or 0.0
        machine_min, hands_on_min = batch_minutes(
            sized, terms, bobbin_changes=changes, spools=spools.for_share(total / cost.stitched)
        )
        found.append(
            QuantityCost(
                pieces=pieces,
                stitched=total,
                machine_min=machine_min,
                hands_on_min=hands_on_min,
                material=money(thread) + money(bobbins * each) + money(stabilizer * sized.hoopings()),
                machine=money(machine_min / 60 * terms.machine_rate),
                hands_on=money(hands_on_min / 60 * terms.hands_on_rate),
                no_price=cost.no_price,
            )
        )
    return tuple(found)


def _needed_mm(carried: Carried, blocks: Sequence[int], median: float) -> float:
    geometry_mm, path_mm = (float(each[-1]) for each in carried.cumulative_needle_mm(blocks))
    return geometry_mm * median + path_mm
