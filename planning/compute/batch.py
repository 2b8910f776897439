"""A batch planned as a whole: what it needs, what the shelf has, and how sure that is.

Everything here is a value: the shelf, the machine and the designs come in as frozen records and a ``BatchPlan``
goes out, so that a page, a command and a test ask the same question in the same way.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date

from inventory.compute.colour import Lab
from planning.compute.bobbins import BobbinChange, p_enough_bobbins, run_of_bobbins
from planning.compute.certainty import (
    BOBBIN_PRIOR,
    NEEDLE_PRIOR,
    Factor,
    missing_mm,
    need,
    p_enough,
    pieces_possible,
    verdict,
)
from planning.compute.choosing import Choice, ColourRequest, OwnedShade, choose_shades
from planning.compute.costing import BatchCost, batch_cost
from planning.compute.packs import PackOffer, PackPurchase, cheapest_purchase
from planning.compute.pieces import PiecesToStitch, hoopings, pieces_to_stitch, rethreads, thread_changes
from planning.compute.spools import SpoolUse, spools_for_pieces
from planning.compute.stabilizing import LayerNeed, LayerPlan, StabilizerStock, plan_layer
from planning.compute.thread_length import BlockSums, ThreadSettings, bobbin_mm, needle_mm
from planning.compute.timing import MachineTimes, hands_on_minutes, machine_minutes

# From best to worst: one bad colour makes the batch bad.
VERDICTS = ("enough", "tight", "unknown", "short")


@dataclass(frozen=True)
class AskedBlock:
    """A colour block of a design: the colour it asks for (``hex`` empty and ``lab`` None: none) and its sums."""

    number: int
    hex: str
    lab: Lab | None
    name: str
    sums: BlockSums


@dataclass(frozen=True)
class AskedDesign:
    name: str
    sha256: str
    format: str
    width_mm: float
    height_mm: float
    stitches: int
    trims: int
    stops: int
    warnings: tuple[str, ...]
    blocks: tuple[AskedBlock, ...]


@dataclass(frozen=True)
class BobbinStock:
    """Full bobbins that fit the machine, all with ``length_mm`` on them."""

    thread: str
    count: int
    length_mm: float
    offers: tuple[PackOffer, ...] = ()
    price_each: float | None = None


@dataclass(frozen=True)
class Shelf:
    """What is free to be used, and what can be bought."""

    shades: tuple[OwnedShade, ...]
    bobbins: BobbinStock | None
    stabilizer: tuple[StabilizerStock, ...]
    thread_offers: dict[int, tuple[PackOffer, ...]] = field(default_factory=dict)  # by shade
    on_offer: tuple[OwnedShade, ...] = ()  # shades that are not owned but sold by somebody


@dataclass(frozen=True)
class Terms:
    """The workshop's rules, its machine and its cloth, as far as a plan needs them."""

    thread: ThreadSettings
    times: MachineTimes
    layers: tuple[LayerNeed, ...]
    piece_mm: tuple[int, int] | None
    test_pieces: int = 1
    spoilage: float = 0.03
    enough_at: float = 0.95
    tight_at: float = 0.5
    colour_limit: float = 5.0
    currency: str = "EUR"
    machine_rate: float = 0.0
    hands_on_rate: float = 0.0
    needle_factor: Factor = NEEDLE_PRIOR
    bobbin_factor: Factor = BOBBIN_PRIOR


@dataclass(frozen=True)
class PlannedBlock:
    """Thread of one block for one piece, at the factors' medians."""

    design: int
    block: AskedBlock
    needle_mm: float
    bobbin_mm: float


@dataclass(frozen=True)
class PlannedThread:
    """One requested colour over the whole batch, and the shade chosen for it."""

    hex: str
    name: str
    blocks: tuple[tuple[int, int], ...]
    choice: Choice
    per_piece_mm: float
    needed_mm: int
    needed_sigma_mm: int
    free_mm: int
    free_sigma_mm: int
    p_enough: float
    verdict: str
    reason: str
    pieces_possible: int
    missing_mm: int
    spools: tuple[SpoolUse, ...]
    to_buy: OwnedShade | None
    purchase: PackPurchase | None


@dataclass(frozen=True)
class PlannedBobbins:
    thread: str
    needed_mm: int
    count: int
    owned: int
    p_enough: float
    verdict: str
    changes: tuple[BobbinChange, ...]
    inside_blocks: int
    purchase: PackPurchase | None


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

    @property
    def short_of(self) -> int:
        """How many colours are not enough."""
        return sum(thread.verdict != "enough" for thread in self.threads)


def plan_batch(
    designs: Sequence[AskedDesign],
    *,
    pieces: int,
    shelf: Shelf,
    terms: Terms,
    needed_on: date | None = None,
    notes: Sequence[str] = (),
) -> BatchPlan:
    """Return the plan for ``pieces`` pieces that each carry all ``designs``, one hooping a design."""
    to_stitch = pieces_to_stitch(pieces, test_pieces=terms.test_pieces, spoilage=terms.spoilage)
    total = to_stitch.total
    blocks = _thread_of_blocks(designs, terms)
    threads = _threads(blocks, total, shelf, terms)
    bobbins = _bobbins(blocks, total, shelf.bobbins, terms)
    hoops = hoopings(total, 1) * len(designs)
    layers = tuple(
        plan_layer(layer, shelf.stabilizer, piece_mm=terms.piece_mm, hoopings=hoops) for layer in terms.layers
    )
    colours = _colours_in_order(blocks)
    changes = thread_changes(colours, hoopings=total)
    threadings = rethreads(colours, hoopings=total, needles=terms.times.needles)
    machine_min = machine_minutes(
        terms.times,
        stitches=total * sum(design.stitches for design in designs),
        trims=total * sum(design.trims for design in designs),
        stops=total * sum(design.stops for design in designs),
        thread_changes=changes,
    )
    hands_on_min = hands_on_minutes(
        terms.times,
        hoopings=hoops,
        rethreads=threadings,
        bobbin_changes=len(bobbins.changes) + bobbins.inside_blocks,
    )
    verdicts = (
        [thread.verdict for thread in threads] + [bobbins.verdict] + [layer.verdict for layer in layers]
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
    )
    return BatchPlan(
        verdict=max(verdicts, key=VERDICTS.index),
        pieces=to_stitch,
        copies_per_hooping=1,
        hoopings=hoops,
        designs=tuple(designs),
        blocks=blocks,
        threads=threads,
        bobbins=bobbins,
        stabilizer=layers,
        machine_min=machine_min,
        hands_on_min=hands_on_min,
        thread_changes=changes,
        cost=cost,
        needed_on=needed_on,
        notes=tuple(notes),
    )


def _colours_in_order(blocks: Sequence[PlannedBlock]) -> list[object]:
    """What is threaded block after block; an uncoloured block is a thread of its own."""
    return [each.block.hex or (each.design, each.block.number) for each in blocks]


def _thread_of_blocks(designs: Sequence[AskedDesign], terms: Terms) -> tuple[PlannedBlock, ...]:
    """Thread per block and piece. With one needle, each real change also costs the threaded path."""
    asked = [(number, block) for number, design in enumerate(designs) for block in design.blocks]
    colours = [block.hex or (design, block.number) for design, block in asked]
    loses_path = terms.times.needles == 1 and len(set(colours)) > 1
    planned = []
    for index, (design, block) in enumerate(asked):
        # The thread before the first block of a piece is that of the last block of the piece before.
        threaded_anew = loses_path and colours[index] != colours[index - 1]
        path_mm = terms.thread.threaded_path_mm if threaded_anew else 0.0
        planned.append(
            PlannedBlock(
                design=design,
                block=block,
                needle_mm=needle_mm(block.sums, terms.thread) * terms.needle_factor.median + path_mm,
                bobbin_mm=bobbin_mm(block.sums, terms.thread) * terms.bobbin_factor.median,
            )
        )
    return tuple(planned)


def _threads(
    blocks: Sequence[PlannedBlock], total: int, shelf: Shelf, terms: Terms
) -> tuple[PlannedThread, ...]:
    groups: dict[object, list[PlannedBlock]] = {}
    for colour, block in zip(_colours_in_order(blocks), blocks, strict=True):
        groups.setdefault(colour, []).append(block)
    members = list(groups.values())
    requests = [
        ColourRequest(
            hex=group[0].block.hex,
            lab=group[0].block.lab,
            geometry_mm=total * sum(each.needle_mm for each in group) / terms.needle_factor.median,
        )
        for group in members
    ]
    choices = choose_shades(
        requests,
        shelf.shades,
        factor=terms.needle_factor,
        certainty=terms.enough_at,
        colour_limit=terms.colour_limit,
    )
    # Requests that share a shade share its metres: the earlier ones come off what the later ones find free.
    spoken_for: dict[int, float] = {}
    threads = []
    for group, request, choice in zip(members, requests, choices, strict=True):
        before_mm = spoken_for.get(choice.shade.id, 0.0) if choice.shade else 0.0
        threads.append(_thread(group, request, choice, total, shelf, terms, before_mm))
        if choice.shade:
            spoken_for[choice.shade.id] = before_mm + threads[-1].needed_mm
    return tuple(threads)


def _thread(
    group: Sequence[PlannedBlock],
    request: ColourRequest,
    choice: Choice,
    total: int,
    shelf: Shelf,
    terms: Terms,
    before_mm: float,
) -> PlannedThread:
    factor = terms.needle_factor
    wanted = need(request.geometry_mm, factor)
    per_piece_mm = sum(each.needle_mm for each in group)
    shade = choice.shade if choice.near_enough else None
    free_mm, free_sigma_mm = shade.free if shade else (0.0, 0.0)
    free_mm = max(0.0, free_mm - before_mm)
    p = p_enough(request.geometry_mm, factor, free_mm=free_mm, free_sigma_mm=free_sigma_mm)
    lacking = math.ceil(
        missing_mm(
            request.geometry_mm,
            factor,
            free_mm=free_mm,
            free_sigma_mm=free_sigma_mm,
            certainty=terms.enough_at,
        )
    )
    word, reason = _thread_verdict(choice, p, request, terms)
    possible = (
        pieces_possible(
            request.geometry_mm / total,
            factor,
            free_mm=free_mm,
            free_sigma_mm=free_sigma_mm,
            certainty=terms.enough_at,
            at_most=total,
        )
        if total
        else 0
    )
    to_buy = shade or _nearest_on_offer(request, shelf, terms)
    offers = shelf.thread_offers.get(to_buy.id, ()) if to_buy else ()
    return PlannedThread(
        hex=request.hex,
        name=group[0].block.name,
        blocks=tuple((each.design, each.block.number) for each in group),
        choice=choice,
        per_piece_mm=per_piece_mm,
        needed_mm=round(wanted.median_mm),
        needed_sigma_mm=round(wanted.sigma_mm),
        free_mm=round(free_mm),
        free_sigma_mm=round(free_sigma_mm),
        p_enough=p,
        verdict=word,
        reason=reason,
        pieces_possible=possible,
        missing_mm=lacking,
        spools=_spools(shade, request.geometry_mm / total, total, word, terms) if shade else (),
        to_buy=to_buy,
        purchase=cheapest_purchase(lacking, offers) if lacking else None,
    )


def _spools(
    shade: OwnedShade, per_piece_mm: float, total: int, word: str, terms: Terms
) -> tuple[SpoolUse, ...]:
    """Spools changed early enough to be sure; where all together are enough but each with its margin is not,
    changed at even odds, for then the margins of some must serve the others."""
    for certainty in (terms.enough_at, 0.5) if word == "enough" else (terms.enough_at,):
        uses = spools_for_pieces(
            shade.spools,
            per_piece_mm=per_piece_mm,
            pieces=total,
            factor=terms.needle_factor,
            certainty=certainty,
        )
        if uses and uses[-1].to_piece == total:
            break
    return uses


def _nearest_on_offer(request: ColourRequest, shelf: Shelf, terms: Terms) -> OwnedShade | None:
    """The nearest shade that could be bought for a colour of which nothing near is owned."""
    (choice,) = choose_shades(
        [request],
        shelf.on_offer,
        factor=terms.needle_factor,
        certainty=terms.enough_at,
        colour_limit=terms.colour_limit,
    )
    return choice.shade if choice.near_enough else None


def _thread_verdict(choice: Choice, p: float, request: ColourRequest, terms: Terms) -> tuple[str, str]:
    if request.lab is None:
        return "unknown", "The file names no colour for this block; choose one."
    if choice.shade is None:
        return "short", "No thread of a known colour is on the shelf."
    if not choice.near_enough:
        return "short", (
            f"Nothing on the shelf is near: the nearest differs by ΔE00 {choice.delta_e_00:.2f}, "
            f"and the limit is {terms.colour_limit:g}."
        )
    if not choice.shade.is_known:
        return "unknown", "Nobody knows how much is on these spools; weigh them."
    return verdict(p, enough_at=terms.enough_at, tight_at=terms.tight_at), ""


def _bobbins(
    blocks: Sequence[PlannedBlock], total: int, stock: BobbinStock | None, terms: Terms
) -> PlannedBobbins:
    per_piece = [each.bobbin_mm for each in blocks]
    needed = round(total * sum(per_piece))
    if stock is None:
        return PlannedBobbins("", needed, 0, 0, 0.0, "unknown", (), 0, None)
    run = run_of_bobbins(per_piece, pieces=total, bobbin_mm=stock.length_mm)
    p = p_enough_bobbins(
        [mm / terms.bobbin_factor.median for mm in per_piece],
        pieces=total,
        bobbin_mm=stock.length_mm,
        bobbins=stock.count,
        factor=terms.bobbin_factor,
    )
    word = verdict(p, enough_at=terms.enough_at, tight_at=terms.tight_at)
    lacking = 0 if word == "enough" else _bobbins_to_buy(per_piece, total, stock, terms)
    return PlannedBobbins(
        thread=stock.thread,
        needed_mm=needed,
        count=run.count,
        owned=stock.count,
        p_enough=p,
        verdict=word,
        changes=run.changes,
        inside_blocks=run.inside_blocks,
        purchase=cheapest_purchase(lacking, stock.offers) if lacking else None,
    )


def _bobbins_to_buy(per_piece: Sequence[float], total: int, stock: BobbinStock, terms: Terms) -> int:
    """Return the bobbins beyond those owned that make the batch sure."""
    geometry = [mm / terms.bobbin_factor.median for mm in per_piece]
    extra = 1
    while (
        p_enough_bobbins(
            geometry,
            pieces=total,
            bobbin_mm=stock.length_mm,
            bobbins=stock.count + extra,
            factor=terms.bobbin_factor,
        )
        < terms.enough_at
    ):
        extra *= 2
    low, high = extra // 2, extra
    while high - low > 1:
        middle = (low + high) // 2
        sure = p_enough_bobbins(
            geometry,
            pieces=total,
            bobbin_mm=stock.length_mm,
            bobbins=stock.count + middle,
            factor=terms.bobbin_factor,
        )
        low, high = (low, middle) if sure >= terms.enough_at else (middle, high)
    return high
