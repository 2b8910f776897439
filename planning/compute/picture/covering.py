"""Which strand lies on top at every sample of a band of rows."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planning.compute.picture.strands import CAP_INSET, CAP_REACH, Floats, Strands

# So many row pieces, or samples, are held at once.
CHUNK = 1 << 17
FLATTEST = 1e-4


@dataclass(frozen=True, eq=False)
class Outlines:
    """The outline of each strand, as lines over the rows of the picture.

    Between its rounded ends a strand is where two slabs meet: one along it, one across. In a row ``y`` from
    its middle they reach from ``slope·y − half`` to ``slope·y + half``.
    """

    first_y: Floats
    last_y: Floats
    slope_along: Floats
    half_along: Floats
    slope_across: Floats
    half_across: Floats
    cap_x: Floats
    cap_y: Floats


def outlines_of(strands: Strands) -> Outlines:
    radius = np.float32(strands.radius)
    x, y = _not_flat(strands.along_x), _not_flat(strands.along_y)
    body = np.maximum(strands.half_length - np.float32(CAP_INSET) * radius, np.float32(0))
    cap_y = body * strands.along_y
    reach = np.abs(cap_y) + radius
    return Outlines(
        first_y=strands.mid_y - reach,
        last_y=strands.mid_y + reach,
        slope_along=-y / x,
        half_along=body / np.abs(x),
        slope_across=x / y,
        half_across=radius / np.abs(y),
        cap_x=body * strands.along_x,
        cap_y=cap_y,
    )


def _not_flat(direction: Floats) -> Floats:
    return np.where(np.abs(direction) < FLATTEST, np.float32(FLATTEST), direction)


def topmost(
    strands: Strands, outlines: Outlines, *, first_row: int, rows: int, width: int
) -> NDArray[np.intp]:
    """Return for every sample of a band the number of the strand on top, from 1; 0 is bare cloth.

    The band has ``rows`` rows of ``width`` samples from ``first_row``; the answer is flat. Later strands cover
    earlier ones.
    """
    top = np.zeros(rows * width, dtype=np.intp)
    crossing = np.flatnonzero((outlines.last_y >= first_row) & (outlines.first_y <= first_row + rows))
    begin = np.maximum(np.ceil(outlines.first_y[crossing] - 0.5).astype(np.intp), first_row)
    end = np.minimum(np.floor(outlines.last_y[crossing] - 0.5).astype(np.intp) + 1, first_row + rows)
    height = np.maximum(end - begin, 0)
    upto = np.cumsum(height)
    cuts = np.searchsorted(upto, np.arange(0, upto[-1] if upto.size else 0, CHUNK), side="left")
    for a, b in zip(cuts, [*cuts[1:], crossing.size], strict=True):
        _lay(
            top,
            strands,
            outlines,
            which=crossing[a:b],
            begin=begin[a:b],
            height=height[a:b],
            first_row=first_row,
            width=width,
        )
    return top


def _lay(
    top: NDArray[np.intp],
    strands: Strands,
    outlines: Outlines,
    *,
    which: NDArray[np.intp],
    begin: NDArray[np.intp],
    height: NDArray[np.intp],
    first_row: int,
    width: int,
) -> None:
    """Write the numbers of the strands ``which``, each over ``height`` rows from ``begin``, into ``top``."""

    def each_row(values: NDArray[np.generic]) -> NDArray[np.generic]:
        return np.repeat(values, height)

    total = int(height.sum())
    row = np.arange(total) + np.repeat(begin - (np.cumsum(height) - height), height)
    y = row.astype(np.float32) + np.repeat(np.float32(0.5) - strands.mid_y[which], height)

    along = y * np.repeat(outlines.slope_along[which], height)
    half_along = np.repeat(outlines.half_along[which], height)
    across = y * np.repeat(outlines.slope_across[which], height)
    half_across = np.repeat(outlines.half_across[which], height)
    low = np.maximum(along - half_along, across - half_across)
    high = np.minimum(along + half_along, across + half_across)
    bare = low > high
    low[bare], high[bare] = np.inf, -np.inf

    cap_x, cap_y = np.repeat(outlines.cap_x[which], height), np.repeat(outlines.cap_y[which], height)
    for side in (np.float32(-1), np.float32(1)):
        reach = np.float32(strands.radius**2) - np.square(y - side * cap_y)
        touched = reach > 0
        reach = np.sqrt(np.where(touched, reach, 0))
        np.minimum(low, side * cap_x - reach, out=low, where=touched)
        np.maximum(high, side * cap_x + reach, out=high, where=touched)

    middle = np.repeat(strands.mid_x[which] - np.float32(0.5), height)
    low = np.clip(np.ceil(low + middle), 0, width)
    high = np.clip(np.floor(high + middle), -1, width - 1)
    count = np.maximum(high - low + 1, 0).astype(np.intp)
    start = (row - first_row) * width + low.astype(np.intp)
    number = np.repeat(which + 1, height)

    upto = np.cumsum(count)
    cuts = np.searchsorted(upto, np.arange(0, upto[-1] if upto.size else 0, CHUNK), side="left")
    for a, b in zip(cuts, [*cuts[1:], count.size], strict=True):
        lengths = count[a:b]
        offset = upto[a:b] - lengths - (upto[a] - count[a])
        sample = np.repeat(start[a:b] - offset, lengths)
        sample += np.arange(sample.size)
        # NumPy writes one after the other, so that of two strands in one sample the later one stays.
        top[sample] = np.repeat(number[a:b], lengths)
