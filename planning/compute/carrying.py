"""Which designs each piece of a batch carries, and the thread of every block on it."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from inventory.compute.errors import WorkshopError
from planning.compute.asked import AskedBlock, AskedDesign, Terms
from planning.compute.pieces import PiecesToStitch, rethreads, thread_changes
from planning.compute.placing import scaled_sums
from planning.compute.thread_length import bobbin_mm, needle_mm


@dataclass(frozen=True)
class PlannedBlock:
    """Thread of one block for one piece that carries it, at the factors' medians."""

    design: int
    block: AskedBlock
    needle_mm: float
    bobbin_mm: float

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
    blocks: tuple[PlannedBlock, ...]

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
    def is_uniform(self) -> bool:
        return len(set(self.pieces)) == 1

    def stitched_blocks(self, piece: int) -> list[int]:
        """Return the indices of the blocks that piece ``piece`` (from 0) stitches, in order."""
        return [index for design in self.pieces[piece] for index in self.blocks_of[design]]

    def cumulative_needle_mm(self, blocks: Sequence[int]) -> NDArray[np.float64]:
        """Return the needle thread that these blocks take over the first 0, 1, … pieces: shape (pieces + 1,)."""
        per_design = np.zeros(len(self.designs))
        for index in blocks:
            per_design[self.blocks[index].design] += self.blocks[index].needle_mm
        per_piece = [sum(per_design[design] for design in piece) for piece in self.pieces]
        return np.concatenate([[0.0], np.cumsum(per_piece)])

    def bobbin_pieces(self, *, scale: float = 1.0) -> list[list[float]]:
        """Return the bobbin thread of each block of each piece, in stitching order."""
        by_kind = {
            piece: [
                self.blocks[index].bobbin_mm * scale for design in piece for index in self.blocks_of[design]
            ]
            for piece in set(self.pieces)
        }
        return [by_kind[piece] for piece in self.pieces]

    def hoopings(self) -> int:
        """Return how often a hoop is loaded: once for each group of designs that a piece stitches together."""
        by_kind = {piece: len({self.designs[each].hooping for each in piece}) for piece in set(self.pieces)}
        return sum(by_kind[piece] for piece in self.pieces)

    def thread_changes(self) -> int:
        return thread_changes(self._threads(), hoopings=len(self.pieces) if self.is_uniform else 1)

    def rethreads(self, *, needles: int) -> int:
        """Return how often a needle is threaded by hand over the batch."""
        return rethreads(
            self._threads(), hoopings=len(self.pieces) if self.is_uniform else 1, needles=needles
        )

    def _threads(self) -> list[object]:
        pieces = range(1) if self.is_uniform else range(len(self.pieces))
        return [self.blocks[index].colour for piece in pieces for index in self.stitched_blocks(piece)]


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
            f"{len(lettering)} names are listed for {to_stitch.ordered} pieces; list one design for each piece."
        )
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
    return Carried(everything, pieces, _thread_of_blocks(everything, common, terms))


def _thread_of_blocks(
    designs: Sequence[AskedDesign], common: tuple[int, ...], terms: Terms
) -> tuple[PlannedBlock, ...]:
    """Thread per block and piece. With one needle, each real change also costs the threaded path."""
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
        _planned(design, place, block, designs[design], terms, threaded_anew=(design, place) in anew)
        for design, each in enumerate(designs)
        for place, block in enumerate(each.blocks)
    )


def _planned(
    design: int, place: int, block: AskedBlock, asked: AskedDesign, terms: Terms, *, threaded_anew: bool
) -> PlannedBlock:
    sums = scaled_sums(block.sums, asked.placement)
    path_mm = terms.thread.threaded_path_mm if threaded_anew and terms.times.needles == 1 else 0.0
    return PlannedBlock(
        design=design,
        block=block,
        needle_mm=needle_mm(sums, terms.thread) * terms.needle_factor.median + path_mm,
        bobbin_mm=bobbin_mm(sums, terms.thread) * terms.bobbin_factor.median,
    )
