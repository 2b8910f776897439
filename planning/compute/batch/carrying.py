"""Which designs each piece of a batch carries, and the thread of every block on it."""

import math
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _
from planning.compute.batch.asked import AskedBlock, AskedDesign, Terms
from planning.compute.hooping.pieces import PiecesToStitch, hoopings, rethreads, thread_changes
from planning.compute.stabilizer.layers import FabricPieces, LayerNeed
from planning.compute.stabilizer.sentences import APPLIQUE, APPLIQUE_OF_DESIGN
from planning.compute.stitches.placing import field_needed, scaled_sums
from planning.compute.stitches.thread_length import (
    ThreadSettings,
    bobbin_laid_mm,
    needle_laid_mm,
    needle_per_kappa_mm,
)


@dataclass(frozen=True)
class CarriedBlock:
    """Thread of one block for one piece that carries it, before any factor.

    ``path_mm`` is needle thread that is lost when the needle is threaded anew for it: a length that no factor scales.
    """

    design: int
    block: AskedBlock
    needle_geometry_mm: float
    path_mm: float
    bobbin_geometry_mm: float

    @property
    def colour(self) -> object:
        """What is threaded for it; an uncoloured block is a thread of its own."""
        return self.block.hex or (self.design, self.block.threaded_at)


@dataclass(frozen=True)
class Carried:
    """The pieces of a batch in stitching order, each a list of indices into ``designs``.

    Tests come first, then the ordered pieces, then those that may replace spoiled ones.
    """

    designs: tuple[AskedDesign, ...]
    pieces: tuple[tuple[int, ...], ...]
    blocks: tuple[CarriedBlock, ...]
    copies: int = 1  # pieces hooped together
    # The number of the thread chosen for each colour; without it each colour is a thread.
    thread_of: Mapping[object, int] = field(default_factory=dict)

    @cached_property
    def blocks_of(self) -> dict[int, list[int]]:
        """The indices into ``blocks`` of each design's blocks, in order."""
        found: dict[int, list[int]] = {design: [] for design in range(len(self.designs))}
        for index, block in enumerate(self.blocks):
            found[block.design].append(index)
        return found

    @cached_property
    def counts(self) -> list[int]:
        """How many pieces carry each design."""
        counts = [0] * len(self.designs)
        for piece in self.pieces:
            for design in piece:
                counts[design] += 1
        return counts

    @property
    def load_count(self) -> int:
        return -(-len(self.pieces) // self.copies)

    @property
    def loads(self) -> list[range]:
        """The pieces (from 0) that are hooped together, load by load."""
        return [self.load(number) for number in range(self.load_count)]

    def load(self, number: int) -> range:
        """Return the pieces (from 0) of load ``number`` (from 0); the last load may be part full."""
        start = number * self.copies
        return range(start, min(start + self.copies, len(self.pieces)))

    @property
    def is_uniform(self) -> bool:
        return len(set(self.pieces)) == 1

    def stitched_blocks(self, load: int) -> list[tuple[int, ...]]:
        """Return the blocks that load ``load`` (from 0) stitches, in order, one index for each copy.

        Copies are stitched colour by colour: a block of one thread on all of them, then the next. Blocks in one
        place of different designs go together where they ask for one colour.
        """
        return self._in_order(tuple(self.pieces[piece] for piece in self.load(load)))

    def _in_order(self, kind: tuple[tuple[int, ...], ...]) -> list[tuple[int, ...]]:
        if kind not in self._orders:
            self._orders[kind] = [
                block
                for designs in zip(*kind, strict=True)
                for block in _colour_by_colour([self.blocks_of[design] for design in designs], self.blocks)
            ]
        return self._orders[kind]

    def _places(self, kind: tuple[tuple[int, ...], ...]) -> dict[int, list[int]]:
        """Return where in the order of a kind of load each block comes first of those stitched together."""
        if kind not in self._places_of:
            found: dict[int, list[int]] = {}
            for place, together in enumerate(self._in_order(kind)):
                found.setdefault(together[0], []).append(place)
            self._places_of[kind] = found
        return self._places_of[kind]

    @cached_property
    def _places_of(self) -> dict[tuple[tuple[int, ...], ...], dict[int, list[int]]]:
        """The places of each kind of load, found once."""
        return {}

    @cached_property
    def _orders(self) -> dict[tuple[tuple[int, ...], ...], list[tuple[int, ...]]]:
        """The order of each kind of load, found once."""
        return {}

    def cumulative_needle_mm(self, blocks: Sequence[int]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return what these blocks take over the first 0, 1, … pieces: needle geometry and lost path.

        Each has the shape (pieces + 1,).
        """
        lengths = np.zeros((2, len(self.designs)))
        for block in (self.blocks[index] for index in blocks):
            lengths[:, block.design] += block.needle_geometry_mm, block.path_mm
        kinds, kind_of_piece = self._piece_kinds
        per_piece = np.array([lengths[:, list(piece)].sum(axis=1) for piece in kinds])[kind_of_piece]
        geometry_mm, path_mm = np.vstack([np.zeros((1, 2)), np.cumsum(per_piece, axis=0)]).T
        return geometry_mm, path_mm

    def needle_totals_mm(self, groups: Sequence[Sequence[int]]) -> NDArray[np.float64]:
        """Return what each of these groups of blocks takes over all pieces, (groups, 2): needle geometry, lost path.

        It is the last of ``cumulative_needle_mm``, to the last digit.
        """
        lengths = np.zeros((len(self.designs), len(groups), 2))
        for number, group in enumerate(groups):
            for block in (self.blocks[index] for index in group):
                lengths[block.design, number] += block.needle_geometry_mm, block.path_mm
        kinds, kind_of_piece = self._piece_kinds
        per_kind = np.array([lengths[list(piece)].sum(axis=0) for piece in kinds])
        return np.asarray(np.cumsum(per_kind[kind_of_piece], axis=0)[-1])

    def needle_slope(self, blocks: Sequence[int], settings: ThreadSettings) -> float:
        """Return ∂ ln length / ∂κ of the needle geometry of these blocks over all pieces."""
        grows = length = 0.0
        for block in (self.blocks[index] for index in blocks):
            sums = scaled_sums(block.block.sums, self.designs[block.design].placement)
            grows += self.counts[block.design] * needle_per_kappa_mm(sums, settings)
            length += self.counts[block.design] * block.needle_geometry_mm
        return grows / length if length else 0.0

    def needle_loads(self, blocks: Sequence[int], *, median: float) -> list[list[float]]:
        """Return the needle thread of these blocks on each load, in stitching order, at a factor's ``median``."""
        takes = [each.needle_geometry_mm * median + each.path_mm for each in self.blocks]
        kinds, kind_of_load = self._load_kinds
        known = []
        for kind in kinds:
            order, places = self._in_order(kind), self._places(kind)
            those = sorted(place for block in set(blocks) for place in places.get(block, ()))
            known.append([sum(takes[index] for index in order[place]) for place in those])
        return [known[kind] for kind in kind_of_load]

    def bobbin_geometry_loads(self) -> list[list[float]]:
        """Return the bobbin geometry of each block of each load, in stitching order."""
        return self._by_kind(
            lambda order: [sum(self.blocks[index].bobbin_geometry_mm for index in block) for block in order]
        )

    def bobbin_loads(self, *, median: float) -> list[list[float]]:
        """Return the bobbin thread of each block of each load, in stitching order, at a factor's ``median``."""

        def told(order: list[tuple[int, ...]]) -> list[float]:
            return [sum(self.blocks[index].bobbin_geometry_mm for index in block) * median for block in order]

        return self._by_kind(told)

    def over_loads(self, told: Callable[[list[float]], float], loads: Sequence[list[float]]) -> float:
        """Return the sum of what is ``told`` of each load, told once for loads that are alike."""
        kinds, kind_of_load = self._load_kinds
        known: list[float | None] = [None] * len(kinds)
        for kind, load in zip(kind_of_load, loads, strict=True):
            if known[kind] is None:
                known[kind] = told(load)
        return sum(known[kind] or 0.0 for kind in kind_of_load)

    def _by_kind(self, told: Callable[[list[tuple[int, ...]]], list[float]]) -> list[list[float]]:
        """Return what is told of each load's order, told once for loads that are alike."""
        kinds, kind_of_load = self._load_kinds
        known = [told(self._in_order(kind)) for kind in kinds]
        return [known[kind] for kind in kind_of_load]

    @cached_property
    def _piece_kinds(self) -> tuple[list[tuple[int, ...]], NDArray[np.intp]]:
        """What pieces carry, each way once, and which of these ways each piece has."""
        kinds = dict.fromkeys(self.pieces)
        number = {kind: at for at, kind in enumerate(kinds)}
        return list(kinds), np.array([number[piece] for piece in self.pieces], dtype=np.intp)

    @cached_property
    def _load_kinds(self) -> tuple[list[tuple[tuple[int, ...], ...]], list[int]]:
        """What loads carry, each way once, and which of these ways each load has."""
        loads = [tuple(self.pieces[piece] for piece in load) for load in self.loads]
        kinds = dict.fromkeys(loads)
        number = {kind: at for at, kind in enumerate(kinds)}
        return list(kinds), [number[load] for load in loads]

    def hoopings(self) -> int:
        """Return how often a hoop is loaded: once a load for each group of designs that is stitched together."""
        by_piece = {piece: len({self.designs[each].hooping for each in piece}) for piece in set(self.pieces)}
        kinds, kind_of_load = self._load_kinds
        of_kind = [max(by_piece[piece] for piece in kind) for kind in kinds]
        return sum(of_kind[kind] for kind in kind_of_load)

    def topping_sizes(self, *, margin_mm: int, copies: int = 1) -> tuple[tuple[tuple[int, int], int], ...]:
        """Return the sizes of pieces that cover what each hooping stitches, with how many hoopings are of each.

        ``margin_mm`` goes round on every side. Empty where several copies share a hooping: how they lie in the
        hoop is not known, so that their topping is as large as its other pieces.
        """
        if copies > 1:
            return ()
        sizes: Counter[tuple[int, int]] = Counter()
        for piece, times in Counter(self.pieces).items():
            for hooping in {self.designs[each].hooping for each in piece}:
                together = [self.designs[each] for each in piece if self.designs[each].hooping == hooping]
                sides = field_needed((each.width_mm, each.height_mm, each.placement) for each in together)
                width_mm, height_mm = (math.ceil(side) + 2 * margin_mm for side in sides)
                sizes[width_mm, height_mm] += times
        return tuple(sizes.items())

    def fabric(self) -> tuple[FabricPieces, ...]:
        """Return the fabric of every applique, as it lies on the piece, by the hoopings that take it."""
        several = len(self.designs) > 1
        return tuple(
            FabricPieces(
                LayerNeed(
                    kind="fabric",
                    weight_from_g_m2=0.0,
                    weight_to_g_m2=0.0,
                    method=f"applique {each.id}",
                    count=each.count,
                    grain_matters=True,
                    words=(APPLIQUE_OF_DESIGN if several else APPLIQUE).format(
                        name=each.name, number=number + 1
                    ),
                    product_id=each.product_id,
                ),
                each.piece_mm(design.placement),
                by_hooping,
            )
            for number, design in enumerate(self.designs)
            if design.appliques
            for by_hooping in [self._carried_by_hooping(number)]
            for each in design.appliques
        )

    def _carried_by_hooping(self, design: int) -> tuple[tuple[int, int], ...]:
        """Return how many pieces each hooping stitches a design on: the number, and how many such hoopings follow."""
        own = self.designs[design].hooping
        counts = []
        for load in self.loads:
            numbers = sorted({self.designs[each].hooping for piece in load for each in self.pieces[piece]})
            carrying = sum(self.pieces[piece].count(design) for piece in load)
            counts += [carrying if number == own else 0 for number in numbers]
        return tuple((count, len(list(group))) for count, group in groupby(counts))

    def fabric_pieces(self) -> int:
        """Return how many pieces of fabric are laid over the batch."""
        return sum(
            count * sum(each.count for each in design.appliques)
            for design, count in zip(self.designs, self.counts, strict=True)
        )

    def thread_changes(self) -> int:
        return thread_changes(self.threads(), hoopings=self.load_count if self.is_uniform else 1)

    def rethreads(self, *, needles: int) -> int:
        """Return how often a needle is threaded by hand over the batch."""
        return rethreads(self.threads(), hoopings=self.load_count if self.is_uniform else 1, needles=needles)

    def threads(self) -> list[object]:
        """Return what is threaded block by block: over one load where all pieces are alike, else over all."""
        loads = range(1) if self.is_uniform else range(self.load_count)
        return [thread for load in loads for thread in self.threads_of_load(load)]

    def threads_of_load(self, load: int) -> list[object]:
        colours = [self.blocks[block[0]].colour for block in self.stitched_blocks(load)]
        return [self.thread_of.get(colour, colour) for colour in colours]


def _colour_by_colour(
    copies: Sequence[Sequence[int]], blocks: Sequence[CarriedBlock]
) -> list[tuple[int, ...]]:
    """Return the blocks of several copies merged place by place, a colour at a time.

    A uniform load has one design on all its copies, and its blocks in their own order.
    """
    merged: list[tuple[int, ...]] = []
    for place in range(max(map(len, copies), default=0)):
        by_colour: dict[object, list[int]] = {}
        for copy in copies:
            if place < len(copy):
                by_colour.setdefault(blocks[copy[place]].colour, []).append(copy[place])
        merged += [tuple(group) for group in by_colour.values()]
    return merged


def carry(
    designs: Sequence[AskedDesign],
    *,
    lettering: Sequence[AskedDesign] = (),
    to_stitch: PiecesToStitch,
    terms: Terms,
) -> Carried:
    """Return the pieces of a batch that all carry ``designs`` and, where given, one ``lettering`` each.

    There is one lettering design for each ordered piece. Tests carry the first; pieces that replace spoiled ones
    are reckoned with the one that takes most stitches. Raises WorkshopError if the numbers do not agree.
    """
    if lettering and len(lettering) != to_stitch.ordered:
        raise WorkshopError(
            _("{count} names are listed for {ordered} pieces; list one design for each piece.").format(
                count=len(lettering), ordered=to_stitch.ordered
            )
        )
    if not designs and not lettering:
        raise WorkshopError(_("Nothing is stitched: choose a design, or list names."))
    common = tuple(range(len(designs)))
    distinct = list(dict.fromkeys(lettering))
    everything = (*designs, *distinct)
    names = [len(designs) + distinct.index(each) for each in lettering]
    if names:
        longest = max(names, key=lambda name: everything[name].stitches)
        in_order = [names[0]] * to_stitch.tests + names + [longest] * to_stitch.spoiled_allowed
        pieces = tuple((*common, name) for name in in_order)
    else:
        pieces = (common,) * to_stitch.total
    copies = terms.copies_per_hooping
    blocks = _thread_of_blocks(everything, common, terms, shared=hoopings(len(pieces), copies) / len(pieces))
    return Carried(everything, pieces, blocks, copies)


def _thread_of_blocks(
    designs: Sequence[AskedDesign], common: tuple[int, ...], terms: Terms, *, shared: float
) -> tuple[CarriedBlock, ...]:
    """Thread per block and piece. With one needle, each real change also costs the threaded path.

    Pieces that are hooped together share it: ``shared`` is the threadings of a block per piece.
    """
    # The pieces there are, by what they carry: the common designs alone, or with one lettering each.
    kinds = [(*common, name) for name in range(len(common), len(designs))] or [common]
    anew: set[tuple[int, int]] = set()
    for kind in kinds:
        sewn = [
            (design, place, block.hex or (design, block.threaded_at))
            for design in kind
            for place, block in enumerate(designs[design].blocks)
        ]
        # The thread before the first block of a piece is that of the last block of the piece before.
        anew |= {
            (design, place)
            for before, (design, place, colour) in zip([sewn[-1], *sewn], sewn, strict=False)
            if before[2] != colour
        }
    return tuple(
        _planned(design, place, block, designs[design], terms, anew=shared * ((design, place) in anew))
        for design, each in enumerate(designs)
        for place, block in enumerate(each.blocks)
    )


def _planned(
    design: int, place: int, block: AskedBlock, asked: AskedDesign, terms: Terms, *, anew: float
) -> CarriedBlock:
    sums = scaled_sums(block.sums, asked.placement)
    path_mm = anew * terms.thread.threaded_path_mm if terms.times.needles == 1 else 0.0
    return CarriedBlock(
        design=design,
        block=block,
        needle_geometry_mm=needle_laid_mm(sums, terms.thread),
        path_mm=path_mm,
        bobbin_geometry_mm=bobbin_laid_mm(sums, terms.thread),
    )
