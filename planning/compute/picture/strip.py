"""A design stitch by stitch, in sewing order, along one line."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planning.compute.picture.density import STEPS, cells_of, per_mm2
from planning.compute.picture.frame import DrawnBlock, frame_of

Picture = NDArray[np.uint8]

# The ground is grey, so that white thread stands out from it.
INK, GROUND, FAINT = (23, 33, 31), (226, 229, 223), (190, 196, 189)
UNCOLOURED = (104, 108, 112), (160, 163, 162)
# Longer stitches are cut off at the top: hardly any machine sews one; common practice, no source.
TALLEST_MM = 12.0
RULE_MM = 4.0
HEIGHT_SHARE, LEAST_HEIGHT_PX, MOST_HEIGHT_PX = 0.12, 32, 160


@dataclass(frozen=True, eq=False)
class SequenceStrip:
    """The strip as a picture, the pixel at which each block begins, and the longest stitch."""

    picture: Picture
    starts_px: tuple[int, ...]
    longest_mm: float


def strip(blocks: Sequence[DrawnBlock], *, width_px: int) -> SequenceStrip:
    """Return the strip: a bar for the stitches of each pixel, block after block, on a pale ground for screen and print.

    The bar has the block's colour and the mean length of its stitches; above it a line in ink marks the
    longest of them. Faint rules lie 4 mm apart. Under the bars runs the density of the cloth at that place, in
    the colours of the map. An inked line stands where a block begins; blocks without a colour are striped.
    Raises NothingToDraw and NoSuchPicture.

    >>> row = DrawnBlock(np.array([[0.0, 0.0], [3.0, 0.0], [6.0, 0.0]]), np.array([0]), (200, 30, 40))
    >>> drawn = strip([row, row], width_px=60)
    >>> drawn.picture.shape, drawn.starts_px, drawn.longest_mm
    ((32, 60, 3), (0, 30), 3.0)
    """
    frame = frame_of(blocks, width_px=width_px)
    sewn = [block for block in blocks if len(block.points_mm)]
    sizes = [len(block.points_mm) for block in sewn]
    length = np.concatenate([_lengths(block) for block in sewn])
    pierced = per_mm2(np.concatenate([block.points_mm for block in sewn]), frame)
    column, row = cells_of(np.concatenate([block.points_mm for block in sewn]), frame, shape=pierced.shape)

    total = length.size
    first = np.arange(width_px) * total // width_px
    count = np.maximum(np.diff([*first, total]), 1)
    mean = np.add.reduceat(length, first) / np.maximum(np.add.reduceat(length > 0, first, dtype=np.intp), 1)
    most = np.maximum.reduceat(length, first)
    closeness = np.add.reduceat(pierced[row, column], first) / count
    block_starts = np.cumsum([0, *sizes[:-1]])
    owner = np.searchsorted(block_starts, first, side="right") - 1
    starts_px = -(-block_starts * width_px // total)

    height = strip_height(width_px)
    foot = height // 6
    bars = _bars(sewn, owner, mean=mean, most=most, height=height - foot - 1)
    picture = np.empty((height, width_px, 3), dtype=np.uint8)
    picture[: height - foot - 1] = bars
    picture[height - foot - 1] = INK
    step = np.searchsorted([each.from_per_mm2 for each in STEPS], closeness, side="right") - 1
    picture[height - foot :] = np.array([each.rgb for each in STEPS], dtype=np.uint8)[step]
    picture[:, starts_px[1:][starts_px[1:] < width_px]] = INK
    return SequenceStrip(picture, tuple(starts_px.tolist()), float(length.max()))


def strip_height(width_px: int) -> int:
    """Return how high the strip is that is so wide.

    >>> strip_height(640)
    76
    """
    return int(min(max(HEIGHT_SHARE * width_px, LEAST_HEIGHT_PX), MOST_HEIGHT_PX))


def _lengths(block: DrawnBlock) -> NDArray[np.float64]:
    """Return the length of the stitch that ends in each penetration; 0 where a run starts."""
    step = np.diff(block.points_mm, axis=0, prepend=block.points_mm[:1])
    length = np.hypot(step[:, 0], step[:, 1])
    length[block.run_starts] = 0.0
    return length


def _bars(
    blocks: Sequence[DrawnBlock],
    owner: NDArray[np.intp],
    *,
    mean: NDArray[np.float64],
    most: NDArray[np.float64],
    height: int,
) -> Picture:
    """Return the bars of one pixel each, shaped (height, pixels, 3), standing on the last row."""
    bars = np.full((height, owner.size, 3), GROUND, dtype=np.uint8)
    per_mm = height / TALLEST_MM
    for rule in np.arange(RULE_MM, TALLEST_MM, RULE_MM):
        bars[height - round(rule * per_mm)] = FAINT
    above = height - 1 - np.arange(height)[:, None]  # pixels from the foot
    colours = np.array([block.rgb or UNCOLOURED[0] for block in blocks], dtype=np.uint8)[owner]
    filled = above < np.rint(np.minimum(mean, TALLEST_MM) * per_mm)
    bars[filled] = np.broadcast_to(colours, bars.shape)[filled]
    striped = np.array([block.rgb is None for block in blocks])[owner]
    paler = filled & striped & ((above + np.arange(owner.size)) % 6 < 3)
    bars[paler] = UNCOLOURED[1]
    reach = np.rint(np.minimum(most, TALLEST_MM) * per_mm)
    bars[(above == np.maximum(reach - 1, 0)) & (reach > 0)] = INK
    return bars
