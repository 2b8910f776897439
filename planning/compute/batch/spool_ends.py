"""Where in the batch the spools of its threads end, as the needles see it."""

from collections.abc import Sequence
from typing import Protocol

from planning.compute.batch.carrying import Carried
from planning.compute.spools.second_needles import SpoolEnd
from planning.compute.spools.turns import SpoolUse


class OfSpools(Protocol):
    """A thread of a batch as far as its spools tell: of a whole plan, or of a standing."""

    @property
    def spools(self) -> tuple[SpoolUse, ...]: ...


def spool_ends(carried: Carried, threads: Sequence[OfSpools]) -> list[SpoolEnd]:
    """Return every spool that ends before its thread does, with the next one; threads by their number."""
    return [
        SpoolEnd(
            hooping=(load := (use.from_piece - 1) // carried.copies) + 1,
            block=_block(carried, load, use.at_block),
            inside=use.inside,
            thread=number,
            off=before.label,
            on=use.label,
        )
        for number, thread in enumerate(threads)
        for before, use in zip(thread.spools, thread.spools[1:], strict=False)
    ]


def _block(carried: Carried, load: int, at_block: tuple[int, int] | None) -> int:
    """Return which of the blocks that a load stitches the one at (design, number) is, from 0."""
    for place, group in enumerate(carried.stitched_blocks(load)):
        block = carried.blocks[group[0]]
        if (block.design, block.block.number) == at_block:
            return place
    return 0
