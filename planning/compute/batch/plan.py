"""A batch planned as a whole: what it needs, what the shelf has, and how sure that is.

Everything here is a value: the shelf, the machine and the designs come in as frozen records and a ``BatchPlan``
goes out, so that a page, a command and a test ask the same question in the same way.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date

from inventory.compute.left_out import LeftOut, also_left_out
from inventory.compute.on_the_way import OnTheWay
from planning.compute.batch.asked import AskedBlock, AskedDesign, Shelf, Terms
from planning.compute.batch.bobbin_thread import PlannedBobbins, cost_of_parts, plan_bobbins
from planning.compute.batch.carrying import Carried, carry
from planning.compute.batch.copies_compared import CopiesOption, SpoolHands, batch_minutes, compare_copies
from planning.compute.batch.cost_by_quantity import QuantityCost, cost_by_quantity
from planning.compute.batch.costing import BatchCost, batch_cost
from planning.compute.batch.needle_thread import PlannedThread, plan_threads
from planning.compute.batch.spool_ends import spool_ends
from planning.compute.buying.in_time import material_day
from planning.compute.buying.priced_instead import PricedInstead
from planning.compute.certainty.settling import LookFirst
from planning.compute.hooping.pieces import PiecesToStitch, pieces_to_stitch
from planning.compute.hooping.timing import machine_minutes, start_by
from planning.compute.spools.needle_places import NeedlePlan, needle_places
from planning.compute.spools.second_needles import SpoolChange, spool_changes
from planning.compute.stabilizer.layers import JobLayers
from planning.compute.stabilizer.supply import LayerPlan, plan_layers_together

# From best to worst: one bad colour makes the batch bad.
VERDICTS = ("enough", "tight", "unknown", "short")


@dataclass(frozen=True)
class PlannedBlock:
    """Thread of one block for one piece that carries it: in the thread chosen for it, its changes included."""

    design: int
    block: AskedBlock
    needle_mm: float
    bobbin_mm: float


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
    waiting_min: float  # of these, for trims, stops and thread changes
    hands_on_min: float
    thread_changes: int
    cost: BatchCost
    needed_on: date | None  # the day it is to be done
    notes: tuple[str, ...]
    instead: tuple[PricedInstead, ...]
    stitches: int  # over all pieces to stitch
    bobbin_median: float  # the factor that bobbin thread is planned with
    quantities: tuple[QuantityCost, ...]
    start_by: date | None  # the day to start on, to be done by ``needed_on``
    needles: NeedlePlan  # threads are told by their number in ``threads``, hoopings by load
    spool_changes: tuple[SpoolChange, ...]  # in the order in which spools end
    copies: tuple[CopiesOption, ...]  # one copy a hooping beside many
    strictness: str = "picture"
    colour_limit: float = 5.0
    too_big: str = ""  # that no hoop of the machine holds it, and what would; empty where one does
    left_out: tuple[LeftOut, ...] = ()  # what of the shelf was not considered, and why
    look_first: tuple[LookFirst, ...] = ()  # what to look at before buying
    mean_delta_e: float = 0.0  # over the thread that is stitched; of wishes, from the gamut
    enough_at: float = 0.95
    tight_at: float = 0.5
    on_order: tuple[OnTheWay, ...] = ()  # of what is lacking, what orders and drafts bring
    counted: tuple[tuple[str, int], ...] = ()  # how much of that comes in time, by material

    @property
    def material_day(self) -> date | None:
        """The day by which what is bought must be there; None where the batch has no day."""
        return material_day(self.start_by) if self.start_by else None

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
    too_big: str = "",
) -> BatchPlan:
    """Return the plan for ``pieces`` pieces that all carry ``designs`` and one ``lettering`` each, if given.

    What is ``too_big`` for every hoop is not enough of anything: how it is split, or hooped, is not known.
    """
    to_stitch, carried, terms = carried_so(designs, pieces=pieces, terms=terms, lettering=lettering)
    planned = plan_threads(carried, shelf, terms)
    threads = planned.threads
    terms = terms.at_speed_of(thread.choice.shade for thread in threads if thread.choice.near_enough)
    carried = _threaded(carried, threads)
    bobbins = plan_bobbins(carried, shelf.bobbins, terms)
    hoopings = carried.hoopings()
    wanted = layers_of(carried, terms)
    layers = plan_layers_together([wanted], shelf.stabilizer, losses=terms.losses)[0]
    stitches = sum(
        count * design.stitches for design, count in zip(carried.designs, carried.counts, strict=True)
    )
    needles = needle_places(
        [carried.threads_of_load(load) for load in range(carried.load_count)], needles=terms.times.needles
    )
    changes = spool_changes(needles, spool_ends(carried, threads))
    spools = SpoolHands(sum(not each.is_anyway for each in changes), sum(each.stops for each in changes))
    machine_min, hands_on_min = batch_minutes(
        carried, terms, bobbin_changes=len(bobbins.changes) + bobbins.inside_blocks, spools=spools
    )
    verdict = batch_verdict(
        [(thread.verdict, thread.colour_verdict) for thread in threads],
        bobbins.verdict,
        [layer.verdict for layer in layers],
        is_too_big=bool(too_big),
    )
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
        stitched=to_stitch.total,
        part_bobbins=cost_of_parts(bobbins, shelf.bobbins),
    )
    return BatchPlan(
        verdict=verdict,
        pieces=to_stitch,
        copies_per_hooping=terms.copies_per_hooping,
        hoopings=hoopings,
        designs=carried.designs,
        blocks=_in_chosen_thread(carried, threads, terms),
        threads=threads,
        bobbins=bobbins,
        stabilizer=layers,
        machine_min=machine_min,
        waiting_min=machine_min - machine_minutes(terms.times, stitches=stitches),
        hands_on_min=hands_on_min,
        thread_changes=carried.thread_changes(),
        cost=cost,
        needed_on=needed_on,
        notes=(*notes, *planned.notes),
        instead=planned.instead,
        strictness=terms.strictness,
        mean_delta_e=planned.mean_delta_e,
        enough_at=terms.enough_at,
        tight_at=terms.tight_at,
        colour_limit=terms.colour_limit,
        too_big=too_big,
        left_out=also_left_out(shelf.left_out, planned.of_other_fibres, why="fibre"),
        stitches=stitches,
        bobbin_median=terms.bobbin_factor.median,
        quantities=cost_by_quantity(
            carried,
            cost,
            threads=threads,
            layers=layers,
            shelf=shelf,
            terms=terms,
            minutes=(machine_min, hands_on_min),
            spools=spools,
        )
        if terms.with_advice
        else (),
        start_by=start_by(
            needed_on,
            minutes=machine_min + hands_on_min,
            working_minutes_a_day=terms.working_minutes_a_day,
        )
        if needed_on
        else None,
        needles=needles,
        spool_changes=changes,
        copies=compare_copies(
            carried, terms, bobbin_mm=shelf.bobbins.length_mm if shelf.bobbins else None, spools=spools
        )
        if terms.with_advice
        else (),
    )


def carried_so(
    designs: Sequence[AskedDesign], *, pieces: int, terms: Terms, lettering: Sequence[AskedDesign] = ()
) -> tuple[PiecesToStitch, Carried, Terms]:
    """Return what a batch stitches and carries, and the terms with the factors of its stitches: whatever is owned.

    Raises WorkshopError for numbers that make no batch.
    """
    terms = terms.for_designs([*designs, *dict.fromkeys(lettering)])
    to_stitch = pieces_to_stitch(pieces, test_pieces=terms.test_pieces, spoilage=terms.spoilage)
    return to_stitch, carry(designs, lettering=lettering, to_stitch=to_stitch, terms=terms), terms


def layers_of(carried: Carried, terms: Terms, *, job: str = "") -> JobLayers:
    """Return what a batch asks of stabilizer; ``job`` is what it is called among others that are cut with it."""
    return JobLayers(
        layers=terms.layers,
        piece_mm=terms.piece_mm,
        hoopings=carried.hoopings(),
        extents=carried.topping_sizes(margin_mm=terms.topping_margin_mm, copies=terms.copies_per_hooping),
        job=job,
        cut_before=terms.cut_before,
        fabric=carried.fabric(),
    )


def worst_verdict(verdicts: Iterable[str]) -> str:
    """Return the worst of the verdicts; of none, there is enough.

    >>> worst_verdict(["tight", "unknown", "enough"]), worst_verdict([])
    ('unknown', 'enough')
    """
    return max(verdicts, key=VERDICTS.index, default="enough")


def batch_verdict(
    threads: Sequence[tuple[str, str]], bobbins: str, layers: Sequence[str], *, is_too_big: bool
) -> str:
    """Return the verdict of a batch from those of its ``threads``, (stock, colour), bobbins and stabilizer.

    >>> batch_verdict([("enough", "off colour")], "enough", [], is_too_big=False)
    'tight'
    """
    # Whatever its stock, a thread of another colour is not enough; one that is pinned wants a second look.
    off_colour = ["tight" for _, colour in threads if colour == "off colour"]
    too_big = ["unknown"] if is_too_big else []
    return worst_verdict([stock for stock, _ in threads] + [bobbins, *layers] + off_colour + too_big)


def is_worse(verdict: str, than: str) -> bool:
    """Return whether one verdict is worse than another.

    >>> is_worse("short", "tight"), is_worse("enough", "enough")
    (True, False)
    """
    return VERDICTS.index(verdict) > VERDICTS.index(than)


def _in_chosen_thread(
    carried: Carried, threads: Sequence[PlannedThread], terms: Terms
) -> tuple[PlannedBlock, ...]:
    """The blocks with what is known of the thread each is stitched with, so that they add up to the threads."""
    median = {place: thread.factor_median for thread in threads for place in thread.blocks}
    return tuple(
        PlannedBlock(
            each.design,
            each.block,
            needle_mm=each.needle_geometry_mm * median[each.design, each.block.number] + each.path_mm,
            bobbin_mm=each.bobbin_geometry_mm * terms.bobbin_factor.median,
        )
        for each in carried.blocks
    )


def _threaded(carried: Carried, threads: Sequence[PlannedThread]) -> Carried:
    """Return the batch with colours that share a shade threaded as one."""
    chosen = {place: number for number, thread in enumerate(threads) for place in thread.blocks}
    return replace(
        carried,
        thread_of={block.colour: chosen[block.design, block.block.number] for block in carried.blocks},
    )
