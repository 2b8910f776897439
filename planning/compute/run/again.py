"""Which part of which thread was stitched again: told by a block, or by the stitch numbers that machines show."""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class RunBlock:
    """A colour block in its design's stitching order: its number from 1, its stitches, and its thread's order."""

    number: int
    stitches: int
    thread: int


def shares_between(blocks: Sequence[RunBlock], *, start: int, stop: int) -> dict[int, float]:
    """Return for each thread which share of its stitches in the design lies after stitch ``start`` up to ``stop``.

    Machines count stitches from 1, through all blocks of a design.

    >>> two = [RunBlock(1, 100, 1), RunBlock(2, 300, 2), RunBlock(3, 100, 1)]
    >>> shares_between(two, start=50, stop=250)
    {1: 0.25, 2: 0.5}
    >>> shares_between(two, start=450, stop=9_999)
    {1: 0.25}
    """
    again: dict[int, int] = {}
    whole: dict[int, int] = {}
    begun = 0
    for block in blocks:
        inside = min(stop, begun + block.stitches) - max(start, begun)
        whole[block.thread] = whole.get(block.thread, 0) + block.stitches
        if inside > 0:
            again[block.thread] = again.get(block.thread, 0) + inside
        begun += block.stitches
    return {thread: stitches / whole[thread] for thread, stitches in again.items()}


def span_of(blocks: Sequence[RunBlock], *, block: int, share: float) -> tuple[int, int] | None:
    """Return the stitches from the beginning of a block to about ``share`` of it; None where there is no such block.

    >>> span_of([RunBlock(1, 100, 1), RunBlock(2, 300, 2)], block=2, share=0.5)
    (100, 250)
    """
    begun = 0
    for each in blocks:
        if each.number == block:
            return begun, begun + round(each.stitches * share)
        begun += each.stitches
    return None
