"""Which strand lies on top at every sample of a band of rows."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from planning.compute.picture.strands import Floats, Strands

# So many row pieces, or samples, are held at once.
CHUNK = 1 << 14
FLATTEST = 1e-4
TILE = 4  # samples; what is covered is counted in squares of so many
# Below so many samples of radius nobody sees whether an end is round.
ROUNDED_FROM = 4.0
# The middle of its round end lies on the penetration, or, where it turns back, so many radii before it. An end
# that is drawn square reaches as far beyond as a round one would on the whole.
CAP_INSET, FLAT_REACH = 0.65, 0.8


@dataclass(frozen=True, eq=False)
class Outlines:
    """The outline of each strand, as lines over the rows of the picture.

    Between its rounded ends a strand is where two slabs meet: one along it, one across. In a row ``y`` from
    its middle they reach from ``slope·y − half`` to ``slope·y + half``.
    """

    first_y: Floats
    last_y: Floats
    reach_x: Floats
    slope_along: Floats
    half_along: Floats
    slope_across: Floats
    half_across: Floats
    cap_x: Floats
    cap_y: Floats
    rounded: bool


def outlines_of(strands: Strands) -> Outlines:
    radius = np.float32(strands.radius)
    x, y = _not_flat(strands.along_x), _not_flat(strands.along_y)
    rounded = strands.radius >= ROUNDED_FROM
    # A strand that turns back dips into its hole; one that goes straight on runs into the next.
    inset = np.float32(CAP_INSET) * strands.turning
    reach = -inset if rounded else np.float32(FLAT_REACH) - inset
    body = np.maximum(strands.half_length + reach * radius, np.float32(0))
    cap_y = body * strands.along_y
    cap_x = body * strands.along_x
    reach = np.abs(cap_y) + radius
    return Outlines(
        first_y=strands.mid_y - reach,
        last_y=strands.mid_y + reach,
        reach_x=np.abs(cap_x) + radius,
        slope_along=-y / x,
        half_along=(body / np.abs(x)).astype(np.float32),
        slope_across=x / y,
        half_across=(radius / np.abs(y)).astype(np.float32),
        cap_x=cap_x,
        cap_y=cap_y,
        rounded=rounded,
    )


def _not_flat(direction: Floats) -> Floats:
    return np.where(np.abs(direction) < FLATTEST, np.float32(FLATTEST), direction)


def topmost(
    strands: Strands, outlines: Outlines, *, first_row: int, rows: int, width: int
) -> NDArray[np.int32]:
    """Return for every sample of a band the number of the strand on top, from 1; 0 is bare cloth.

    The band has ``rows`` rows from ``first_row``, each ``width`` places wide. Of these every other one is a
    sample, as the white squares of a chessboard: half the work, and edges of every direction stay smooth. The
    answer is flat, ``width // 2`` samples a row. Later strands cover earlier ones.
    """
    columns = width // 2
    crossing = np.flatnonzero((outlines.last_y >= first_row) & (outlines.first_y <= first_row + rows))
    begin = np.maximum(np.ceil(outlines.first_y[crossing] - 0.5).astype(np.intp), first_row)
    end = np.minimum(np.floor(outlines.last_y[crossing] - 0.5).astype(np.intp) + 1, first_row + rows)
    height = np.maximum(end - begin, 0)

    def lay(some: NDArray[np.intp]) -> NDArray[np.int32]:
        laid = np.zeros(rows * columns, dtype=np.int32)
        for a, b in _chunks(np.cumsum(height[some])):
            part = some[a:b]
            _lay(
                laid,
                strands,
                outlines,
                which=crossing[part],
                begin=begin[part],
                height=height[part],
                first_row=first_row,
                columns=columns,
            )
        return laid

    # The later half first: much of the other half lies under it and need not be looked at sample by sample.
    half = int(np.searchsorted(np.cumsum(height), height.sum() / 2))
    top = lay(np.arange(half, crossing.size))
    earlier = crossing[:half]
    open_to_view = _open_to_view(
        top.reshape(rows, columns),
        low_x=strands.mid_x[earlier] - outlines.reach_x[earlier],
        high_x=strands.mid_x[earlier] + outlines.reach_x[earlier],
        begin=begin[:half] - first_row,
        end=end[:half] - first_row,
    )
    np.copyto(top, lay(np.flatnonzero(open_to_view)), where=top == 0)
    return top


def _open_to_view(
    top: NDArray[np.int32], *, low_x: Floats, high_x: Floats, begin: NDArray[np.intp], end: NDArray[np.intp]
) -> NDArray[np.bool_]:
    """Tell for each box of rows and places whether some of it may still be bare; true more often than it is."""
    rows, columns = top.shape
    down, across = -(-rows // TILE), -(-columns // TILE)
    bare = np.zeros((down * TILE, across * TILE), dtype=np.bool_)
    np.equal(top, 0, out=bare[:rows, :columns])
    by_row = np.logical_or.reduce(bare.reshape(down, TILE, -1), 1)
    tiles = np.logical_or.reduce(by_row.reshape(down, across, TILE), 2)
    upto = np.zeros((down + 1, across + 1), dtype=np.intp)
    upto[1:, 1:] = tiles.cumsum(axis=0).cumsum(axis=1)
    # A hair more on either side, as a sample on the very edge may fall to the strand.
    left = np.clip((low_x - 1) // (2 * TILE), 0, across).astype(np.intp)
    right = np.clip((high_x + 1) // (2 * TILE) + 1, 0, across).astype(np.intp)
    high, low = begin // TILE, np.maximum(-(-end // TILE), begin // TILE)
    found: NDArray[np.bool_] = upto[low, right] - upto[high, right] - upto[low, left] + upto[high, left] > 0
    return found


def _chunks(upto: NDArray[np.intp]) -> list[tuple[int, int]]:
    """Return where to cut so that every part has about CHUNK of what ``upto`` adds up.

    >>> _chunks(np.array([10_000, 20_000, 30_000, 35_000]))
    [(0, 1), (1, 3), (3, 4)]
    """
    if not upto.size:
        return []
    cuts = np.searchsorted(upto, np.arange(CHUNK, upto[-1], CHUNK), side="left").tolist()
    edges = [0, *sorted({cut for cut in cuts if cut}), upto.size]
    return list(pairwise(edges))


def _lay(
    top: NDArray[np.int32],
    strands: Strands,
    outlines: Outlines,
    *,
    which: NDArray[np.intp],
    begin: NDArray[np.intp],
    height: NDArray[np.intp],
    first_row: int,
    columns: int,
) -> None:
    """Write the numbers of the strands ``which``, each over ``height`` rows from ``begin``, into ``top``."""
    total = int(height.sum())
    row = np.arange(total) + np.repeat(begin - (np.cumsum(height) - height), height)
    y = row.astype(np.float32) + np.repeat(np.float32(0.5) - strands.mid_y[which], height)

    along = y * np.repeat(outlines.slope_along[which], height)
    half_along = np.repeat(outlines.half_along[which], height)
    across = y * np.repeat(outlines.slope_across[which], height)
    half_across = np.repeat(outlines.half_across[which], height)
    low = np.maximum(along - half_along, across - half_across)
    high = np.minimum(along + half_along, across + half_across)
    if outlines.rounded:
        _round(low, high, y, outlines, which=which, height=height, radius=strands.radius)

    # In an even row the samples lie at 0.5, 2.5, …, in an odd one at 1.5, 3.5, …
    middle = np.repeat(strands.mid_x[which] - np.float32(0.5), height) - (row & 1).astype(np.float32)
    half = np.float32(0.5)
    low = np.clip(np.ceil((low + middle) * half), 0, columns)
    high = np.clip(np.floor((high + middle) * half), -1, columns - 1)
    count = np.maximum(high - low + 1, 0).astype(np.intp)
    start = (row - first_row) * columns + low.astype(np.intp)
    number = np.repeat((which + 1).astype(np.int32), height)

    upto = np.cumsum(count)
    for a, b in _chunks(upto):
        lengths = count[a:b]
        offset = upto[a:b] - lengths - (upto[a] - count[a])
        sample = np.repeat(start[a:b] - offset, lengths)
        sample += np.arange(sample.size)
        # NumPy writes one after the other, so that of two strands in one sample the later one stays.
        top[sample] = np.repeat(number[a:b], lengths)


def _round(
    low: Floats,
    high: Floats,
    y: Floats,
    outlines: Outlines,
    *,
    which: NDArray[np.intp],
    height: NDArray[np.intp],
    radius: float,
) -> None:
    """Widen each row piece from ``low`` to ``high`` by the discs at both ends of its strand."""
    bare = low > high
    low[bare], high[bare] = np.inf, -np.inf
    cap_x, cap_y = np.repeat(outlines.cap_x[which], height), np.repeat(outlines.cap_y[which], height)
    for side in (np.float32(-1), np.float32(1)):
        reach = np.float32(radius**2) - np.square(y - side * cap_y)
        reach = np.where(reach > 0, np.sqrt(np.abs(reach)), np.float32(-np.inf))
        np.minimum(low, side * cap_x - reach, out=low)
        np.maximum(high, side * cap_x + reach, out=high)
