"""How a batch stands against a shelf, and what it claims of it, apart from the full plan.

Verdicts and claims are those of ``planning.compute.batch.plan``, which is the checker of all this in the tests; costs,
times, notes and advice are left to it. Thread, bobbins and stabilizer rest on nothing of each other, so that each is
worked out anew only where what it rests on has changed.
"""

import math
from collections import Counter
from collections.abc import Callable, Hashable, MutableMapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from typing import TypeVar, cast

from inventory.compute.colour.lab import delta_e_00
from planning.compute.batch.asked import AskedDesign, BobbinStock, Shelf, Terms
from planning.compute.batch.bobbin_thread import PlannedBobbins, plan_bobbins
from planning.compute.batch.carrying import Carried, carry
from planning.compute.batch.chosen import conditions_of, place_of, requests_of
from planning.compute.batch.needle_thread import _spools, _verdict
from planning.compute.batch.plan import layers_of, worst_verdict
from planning.compute.batch.taking import ALL_OF_IT, layer_claims, shelf_after
from planning.compute.certainty.enough import missing_mm, need, p_enough
from planning.compute.certainty.factor import Factor
from planning.compute.colour.choice import Choice, ColourRequest, OwnedShade
from planning.compute.colour.rules import Conditions
from planning.compute.hooping.pieces import PiecesToStitch, pieces_to_stitch
from planning.compute.season.fibres import FibreWay, best_way, columns_of, fibre_ways
from planning.compute.season.shades import Picked, metres_for, nearest_of, pick_shades
from planning.compute.season.wall import Wall
from planning.compute.spools.turns import SpoolUse
from planning.compute.stabilizer.cutting import Strip
from planning.compute.stabilizer.layers import JobLayers
from planning.compute.stabilizer.supply import LayerPlan, plan_layers_together

Kept = MutableMapping[Hashable, object]
Part = TypeVar("Part")


class SeasonShelf:
    """What is left of a shelf while jobs claim it: the wall of thread, the stabilizer, bobbins as they are given.

    ``on_offer`` is the thread that could be bought where nothing near is owned.
    """

    def __init__(self, shelf: Shelf) -> None:
        self.wall = Wall(shelf.shades)
        self.on_offer = Wall(shelf.on_offer)
        self.stabilizer = shelf.stabilizer

    def again(self) -> "SeasonShelf":
        """Return another shelf with the same on it, from which other jobs may take."""
        other = object.__new__(SeasonShelf)
        other.wall, other.on_offer, other.stabilizer = self.wall.again(), self.on_offer, self.stabilizer
        return other

    def take(self, claimed: dict[str, int]) -> None:
        """Take what a batch claimed off the shelf."""
        self.wall.take(claimed)
        self.stabilizer = shelf_after(Shelf((), None, self.stabilizer), claimed, bobbins=0).stabilizer


@dataclass(frozen=True)
class ReadyBatch:
    """A batch made ready to stand: all that rests on its question and on the colours of the wall, and on no metres.

    ``key`` names the question and the wall it was made ready for; without one nothing of it is kept.
    """

    carried: Carried
    terms: Terms
    members: tuple[tuple[int, ...], ...]
    requests: tuple[ColourRequest, ...]
    ways: tuple[FibreWay, ...]
    layers: JobLayers
    to_stitch: PiecesToStitch
    too_big: str = ""
    key: Hashable = None


@dataclass(frozen=True)
class StoodThread:
    """One thread of a batch: its verdict, what it takes, and of which spools; ``shade`` is None where none is near.

    ``to_buy`` is the shade that what lacks is bought of, None where there is none. ``in_doubt`` is the shade as its
    spools stood, where there may not be enough of it, and ``spread`` how far the need may stray, as a factor about one.
    """

    hex: str
    name: str
    blocks: tuple[tuple[int, int], ...]
    shade: int | None
    verdict: str
    is_off_colour: bool
    needed_mm: int
    needed_sigma_mm: int
    missing_mm: int
    to_buy: int | None
    spools: tuple[SpoolUse, ...]
    in_doubt: OwnedShade | None
    spread: Factor


@dataclass(frozen=True)
class Stood:
    """How a batch stands, and what it claims of each labelled thing: as ``planning.compute.batch.taking`` has it."""

    verdict: str
    threads: tuple[StoodThread, ...]
    bobbins: PlannedBobbins
    stabilizer: tuple[LayerPlan, ...]
    pieces: PiecesToStitch
    claims: dict[str, int]
    enough_at: float
    tight_at: float
    is_too_big: bool


def make_ready(
    designs: Sequence[AskedDesign],
    *,
    pieces: int,
    shelf: SeasonShelf,
    terms: Terms,
    lettering: Sequence[AskedDesign] = (),
    too_big: str = "",
    key: Hashable = None,
) -> ReadyBatch:
    """Return the batch of ``plan_batch``, made ready to stand against what is left of ``shelf``.

    Raises WorkshopError for numbers that make no batch.
    """
    terms = terms.for_designs([*designs, *dict.fromkeys(lettering)])
    to_stitch = pieces_to_stitch(pieces, test_pieces=terms.test_pieces, spoilage=terms.spoilage)
    carried = carry(designs, lettering=lettering, to_stitch=to_stitch, terms=terms)
    groups: dict[object, list[int]] = {}
    for index, block in enumerate(carried.blocks):
        groups.setdefault(block.colour, []).append(index)
    members = tuple(map(tuple, groups.values()))
    requests = requests_of(carried, members, terms)
    conditions = conditions_of(carried, members, terms)
    ways = fibre_ways(requests, shelf.wall, shelf.on_offer, conditions, one_fibre=terms.one_fibre)
    return ReadyBatch(
        carried,
        terms,
        members,
        requests,
        ways,
        layers_of(carried, terms),
        to_stitch,
        too_big,
        key,
    )


def stand(
    ready: ReadyBatch, shelf: SeasonShelf, bobbins: BobbinStock | None, *, kept: Kept | None = None
) -> Stood:
    """Return how a batch stands against what is left, and what it claims; the shelf stays as it is.

    What was worked out before of the same question against the same things is taken from ``kept``.
    """
    kept = None if ready.key is None else kept
    threads = _threads(ready, shelf, kept)
    planned = _kept(
        kept, ("bobbins", ready.key, bobbins), lambda: plan_bobbins(ready.carried, bobbins, ready.terms)
    )
    # How stabilizer is cut rests on little of the question: it stands whatever a rule says of colours.
    stock = shelf.stabilizer if ready.layers.layers or ready.layers.fabric else ()
    layers = _kept(
        kept,
        ("layers", ready.layers, ready.terms.losses, stock),
        lambda: without_layouts(
            plan_layers_together([ready.layers], shelf.stabilizer, losses=ready.terms.losses)[0]
        ),
    )
    verdicts = [each.verdict for each in threads] + [planned.verdict] + [layer.verdict for layer in layers]
    verdicts += ["tight" for each in threads if each.is_off_colour]
    verdicts += ["unknown"] if ready.too_big else []
    return Stood(
        worst_verdict(verdicts),
        threads,
        planned,
        layers,
        ready.to_stitch,
        _claims(threads, planned, layers),
        enough_at=ready.terms.enough_at,
        tight_at=ready.terms.tight_at,
        is_too_big=bool(ready.too_big),
    )


def without_layouts(layers: Sequence[LayerPlan]) -> tuple[LayerPlan, ...]:
    """Return the layers with what is taken of each thing, but not where each piece lies in it.

    A standing needs no more than how many strips come off, and the places of all pieces of all jobs are many times
    what else it is kept with. Layers that are cut together still are.
    """
    bare = {
        id(cut): replace(
            cut,
            sources=tuple(
                replace(
                    each,
                    strips=tuple(_bare_strip(strip.width_mm, strip.height_mm) for strip in each.strips),
                    rests=(),
                )
                for each in cut.sources
            ),
        )
        for cut in (layer.cut.product_cut for layer in layers if layer.cut)
    }
    return tuple(
        replace(layer, cut=replace(layer.cut, product_cut=bare[id(layer.cut.product_cut)]))
        if layer.cut
        else layer
        for layer in layers
    )


@lru_cache(maxsize=256)
def _bare_strip(width_mm: int, height_mm: int) -> Strip:
    """Return a strip of which only the size is told: the same one for all of that size."""
    return Strip(0, 0, width_mm, height_mm, ())


def _kept(kept: Kept | None, rests_on: Hashable, work: Callable[[], Part]) -> Part:
    """Return what ``work`` finds, kept under what it rests on; what was asked for last is forgotten last."""
    if kept is None:
        return work()
    kept[rests_on] = found = kept.pop(rests_on) if rests_on in kept else work()
    return cast(Part, found)


def _threads(ready: ReadyBatch, shelf: SeasonShelf, kept: Kept | None) -> tuple[StoodThread, ...]:
    """Return the threads of a batch, each anew only where what is left of its own shade has changed."""
    wall, way = shelf.wall, ready.ways[0]
    if len(ready.ways) > 1:
        state = wall.state_of(columns_of(ready.ways))
        way = _kept(kept, ("fibre", ready.key, state), lambda: best_way(ready.ways, ready.requests, wall))
    metres = metres_for(way.reach, ready.requests, wall, way.conditions)
    picks = _kept(
        kept,
        ("shades", ready.key, way.fibre, metres.state),
        lambda: pick_shades(way.reach, ready.requests, wall, metres),
    )
    shared: dict[object, list[int]] = {}
    for number, pick in enumerate(picks):
        shared.setdefault(pick.column if pick.near_enough else ("apart", number), []).append(number)
    threads = []
    for numbers in map(tuple, shared.values()):
        pick = picks[numbers[0]]
        left = None if pick.column is None else wall.mark_of(pick.column)
        threads.append(
            _kept(
                kept,
                ("thread", ready.key, way.fibre, numbers, pick, left),
                partial(_thread, ready, shelf, picks, numbers, way.conditions),
            )
        )
    return tuple(threads)


def _thread(
    ready: ReadyBatch,
    shelf: SeasonShelf,
    picks: Sequence[Picked],
    numbers: Sequence[int],
    conditions: Conditions,
) -> StoodThread:
    carried, terms, wall = ready.carried, ready.terms, shelf.wall
    request, pick = ready.requests[numbers[0]], picks[numbers[0]]
    blocks = sorted(index for number in numbers for index in ready.members[number])
    geometry_mm, path_mm = request.geometry_mm, request.path_mm
    if len(numbers) > 1:
        geometry_mm, path_mm = carried.needle_totals_mm([blocks])[0].tolist()
    shade = wall.shades[pick.column] if pick.column is not None and pick.near_enough else None
    factor = terms.factor_of(shade, slope=carried.needle_slope(blocks, terms.thread))
    total_mm, spread = geometry_mm * factor.median + path_mm, factor.about_one
    free_mm, free_sigma_mm = (0.0, 0.0) if shade is None else wall.free_of(wall.ids[shade.id])
    p = p_enough(total_mm, spread, free_mm=free_mm, free_sigma_mm=free_sigma_mm)
    wanted = need(total_mm, spread)
    chosen = None if pick.column is None else wall.shades[pick.column]
    # How far off it is, only words tell.
    choice = Choice(chosen, delta_e_00=0.0, near_enough=pick.near_enough)
    word, _ = _verdict(choice, p, request, terms)
    lacking = 0
    if word != "enough" and not (chosen is None and request.lab is None):
        lacking = math.ceil(
            missing_mm(
                total_mm, spread, free_mm=free_mm, free_sigma_mm=free_sigma_mm, certainty=terms.enough_at
            )
        )
    to_buy = shade or nearest_of(
        request,
        shelf.on_offer,
        colour_limit=terms.colour_limit,
        excluded=terms.excluded,
        fibre=conditions.fibres.get(numbers[0]),
    )
    return StoodThread(
        hex=request.hex,
        name=carried.blocks[blocks[0]].block.name,
        blocks=tuple(place_of(carried, index) for index in blocks),
        shade=shade.id if shade else None,
        verdict=word,
        is_off_colour=_is_off_colour(ready, wall, picks, numbers),
        needed_mm=round(wanted.median_mm),
        needed_sigma_mm=round(wanted.sigma_mm),
        missing_mm=lacking,
        to_buy=to_buy.id if to_buy else None,
        spools=_spools(carried, blocks, shade, word, terms, factor=factor) if shade else (),
        in_doubt=None if word == "enough" else shade,
        spread=spread,
    )


def _is_off_colour(ready: ReadyBatch, wall: Wall, picks: Sequence[Picked], numbers: Sequence[int]) -> bool:
    """Return whether the thread is of another colour than is asked for: as ``colour_verdict`` says of the furthest."""
    first, pick = ready.requests[numbers[0]], picks[numbers[0]]
    if pick.column is None:
        return False
    if first.wished is not None:
        return not pick.near_enough
    furthest = 0.0
    for number in numbers:
        lab = ready.requests[number].lab
        if lab is not None:
            furthest = max(
                furthest, float(delta_e_00(tuple(lab), wall.labs[pick.column : pick.column + 1])[0])
            )
    return furthest > ready.terms.colour_limit


def _claims(
    threads: Sequence[StoodThread], bobbins: PlannedBobbins, layers: Sequence[LayerPlan]
) -> dict[str, int]:
    claimed: Counter[str] = Counter()
    for thread in threads:
        for use in thread.spools:
            claimed[use.label] += min(use.sure_mm, use.needed_mm + max(use.left_mm, 0))
    claimed += layer_claims(layers)
    for label in bobbins.parts:
        claimed[label] = ALL_OF_IT
    return {label: quantity for label, quantity in claimed.items() if quantity > 0}
