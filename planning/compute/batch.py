"""A batch planned as a whole: what it needs, what the shelf has, and how sure that is.

Everything here is a value: the shelf, the machine and the designs come in as frozen records and a ``BatchPlan``
goes out, so that a page, a command and a test ask the same question in the same way.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from planning.compute.asked import AskedDesign, Shelf, Terms
from planning.compute.bobbin_thread import PlannedBobbins, plan_bobbins
from planning.compute.carrying import Carried, PlannedBlock, carry
from planning.compute.costing import BatchCost, batch_cost
from planning.compute.needle_thread import PlannedThread, plan_threads
from planning.compute.pieces import PiecesToStitch, pieces_to_stitch
from planning.compute.priced_instead import PricedInstead
from planning.compute.stabilizing import LayerPlan, plan_layers
from planning.compute.timing import hands_on_minutes, machine_minutes

# From best to worst: one bad colour makes the batch bad.
VERDICTS = ("enough", "tight", "unknown", "short")


@dataclass(frozen=True)
class BatchPlan:
    """The answer to *is there enough for the whole batch?* and the reasons under it."""

    verdict: str
    pieces: PiecesToStitch
    copies_per_hooping: int
    hoopings: int
    designs: tuple[AskedDesign, ...]
    blocks: tuple[PlannedBlock, ...]
    threads: tuple[PlannedThread, ...]
    bobbins: PlannedBobbins
    stabilizer: tuple[LayerPlan, ...]
    machine_min: float
    hands_on_min: float
    thread_changes: int
    cost: BatchCost
    needed_on: date | None
    notes: tuple[str, ...]
    instead: tuple[PricedInstead, ...]
    strictness: str = "picture"
    colour_limit: float = 5.0

    @property
    def off_colour(self) -> tuple[PlannedThread, ...]:
        """The threads that are beyond the limit of the colour asked for."""
        return tuple(thread for thread in self.threads if thread.colour_verdict == "off colour")


def plan_batch(
    designs: Sequence[AskedDesign],
    *,
    pieces: int,
    shelf: Shelf,
    terms: Terms,
    lettering: Sequence[AskedDesign] = (),
    needed_on: date | None = None,
    notes: Sequence[str] = (),
) -> BatchPlan:
    """Return the plan for ``pieces`` pieces that all carry ``designs`` and one ``lettering`` each, if given."""
    to_stitch = pieces_to_stitch(pieces, test_pieces=terms.test_pieces, spoilage=terms.spoilage)
    carried = carry(designs, lettering=lettering, to_stitch=to_stitch, terms=terms)
    planned = plan_threads(carried, shelf, terms)
    threads = planned.threads
    bobbins = plan_bobbins(carried, shelf.bobbins, terms)
    hoopings = carried.hoopings()
    layers = plan_layers(terms.layers, shelf.stabilizer, piece_mm=terms.piece_mm, hoopings=hoopings)
    machine_min = _machine_minutes(carried, terms)
    hands_on_min = hands_on_minutes(
        terms.times,
        hoopings=hoopings,
        rethreads=carried.rethreads(needles=terms.times.needles),
        bobbin_changes=len(bobbins.changes) + bobbins.inside_blocks,
    )
    verdicts = (
        [thread.verdict for thread in threads] + [bobbins.verdict] + [layer.verdict for layer in layers]
    )
    # Whatever its stock, a thread of another colour is not enough; one that is pinned wants a second look.
    verdicts += ["tight" for thread in threads if thread.colour_verdict == "off colour"]
    cost = batch_cost(
        threads=[(thread.choice.shade, thread.spools, thread.needed_mm) for thread in threads],
        thread_offers=shelf.thread_offers,
        bobbins=(bobbins.count, shelf.bobbins.price_each if shelf.bobbins else None),
        layers=layers,
        pieces=pieces,
        currency=terms.currency,
        machine_min=machine_min,
        hands_on_min=hands_on_min,
        machine_rate=terms.machine_rate,
        hands_on_rate=terms.hands_on_rate,
    )
    return BatchPlan(
        verdict=max(verdicts, key=VERDICTS.index),
        pieces=to_stitch,
        copies_per_hooping=1,
        hoopings=hoopings,
        designs=carried.designs,
        blocks=carried.blocks,
        threads=threads,
        bobbins=bobbins,
        stabilizer=layers,
        machine_min=machine_min,
        hands_on_min=hands_on_min,
        thread_changes=carried.thread_changes(),
        cost=cost,
        needed_on=needed_on,
        notes=(*notes, *planned.notes),
        instead=planned.instead,
        strictness=terms.strictness,
        colour_limit=terms.colour_limit,
    )


def _machine_minutes(carried: Carried, terms: Terms) -> float:
    carriers = list(zip(carried.designs, carried.counts, strict=True))
    return machine_minutes(
        terms.times,
        stitches=sum(count * design.stitches for design, count in carriers),
        trims=sum(count * design.trims for design, count in carriers),
        stops=sum(count * design.stops for design, count in carriers),
        thread_changes=carried.thread_changes(),
    )
