"""Every stitch of a design as a strand of thread, in the samples of a picture."""

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from planning.compute.picture.frame import DrawnBlock, Frame

Floats = NDArray[np.float32]

# Nobody sees what lies under so many layers of thread; real designs have three to eight.
MOST_LAYERS = 20
CELL_MM, MOST_PIECES = 4.0, 4
SHORTEST_MM = 0.01
# Drawn tight, a thread lies a little wider than it is thick; chosen by eye, so that rows one thread apart close.
FLATTENED = 1.08


@dataclass(frozen=True, eq=False)
class Strands:
    """Strands in sewing order, one row a strand, in samples from the upper left corner of the frame.

    ``turning`` is 0 where the thread goes straight on at both ends (a fill, a running line) and 1 where it
    turns back at both (satin). ``radius`` is half the thread's width.
    """

    mid_x: Floats
    mid_y: Floats
    along_x: Floats
    along_y: Floats
    half_length: Floats
    turning: Floats
    block: NDArray[np.uint16]
    radius: float

    @property
    def count(self) -> int:
        return self.block.size

    def chosen(self, which: NDArray[np.bool_]) -> "Strands":
        """Return only the strands that ``which`` marks, still in order."""
        if which.all():
            return self
        arrays = {
            each.name: getattr(self, each.name)[which] for each in fields(self) if each.name != "radius"
        }
        return Strands(radius=self.radius, **arrays)


def strands_of(
    blocks: Sequence[DrawnBlock], *, frame: Frame, samples: int, thread_mm: float, least_radius: float
) -> Strands:
    """Return the strands that can be seen in ``frame``, which has ``samples`` samples a pixel each way."""
    scale = frame.per_mm * samples
    radius = max(FLATTENED * thread_mm / 2 * scale, least_radius)
    starts, ends, turnings, numbers = [], [], [], []
    for number, block in enumerate(blocks):
        if not len(block.points_mm):
            continue
        sewn, turning = _sewn(block)
        starts.append(block.points_mm[:-1][sewn])
        ends.append(block.points_mm[1:][sewn])
        turnings.append(turning[sewn])
        numbers.append(np.full(np.count_nonzero(sewn), number, dtype=np.uint16))
    corner = np.array([frame.left_mm, frame.top_mm])
    start = ((np.concatenate(starts) - corner) * scale).astype(np.float32)
    end = ((np.concatenate(ends) - corner) * scale).astype(np.float32)
    step, mid = end - start, (start + end) / np.float32(2)
    length = np.hypot(step[:, 0], step[:, 1])
    strands = Strands(
        mid_x=np.ascontiguousarray(mid[:, 0]),
        mid_y=np.ascontiguousarray(mid[:, 1]),
        along_x=step[:, 0] / length,
        along_y=step[:, 1] / length,
        half_length=length / np.float32(2),
        turning=np.concatenate(turnings).astype(np.float32),
        block=np.concatenate(numbers),
        radius=radius,
    )
    width, height = frame.width_px * samples, frame.height_px * samples
    strands = strands.chosen(_inside(strands, width=width, height=height))
    return strands.chosen(~_buried(strands, cell=CELL_MM * scale, width=width, height=height))


def _sewn(block: DrawnBlock) -> tuple[NDArray[np.bool_], NDArray[np.float64]]:
    """Return for each step between two penetrations whether thread lies there, and how far it turns at its ends."""
    count = len(block.points_mm)
    step = np.diff(block.points_mm, axis=0)
    length = np.hypot(step[:, 0], step[:, 1])
    starts_run = np.zeros(count, dtype=np.bool_)
    starts_run[block.run_starts] = True
    sewn = ~starts_run[1:] & (length > SHORTEST_MM)
    unit = step / np.where(sewn, length, 1.0)[:, None]
    # At the ends of a run nothing goes on: half a turn.
    turn = np.full(count, 0.5)
    if count > 2:
        inner = sewn[:-1] & sewn[1:]
        cosine = (unit[:-1] * unit[1:]).sum(axis=1)
        turn[1:-1] = np.where(inner, (1 - cosine) / 2, 0.5)
    return sewn, (turn[:-1] + turn[1:]) / 2


def _inside(strands: Strands, *, width: int, height: int) -> NDArray[np.bool_]:
    """Tell which strands lie at least in part in the frame."""
    reach = strands.half_length + np.float32(strands.radius)
    reach_x = np.abs(strands.along_x) * strands.half_length + np.float32(strands.radius)
    reach_y = np.minimum(np.abs(strands.along_y) * strands.half_length + np.float32(strands.radius), reach)
    inside: NDArray[np.bool_] = (
        (strands.mid_x + reach_x >= 0)
        & (strands.mid_x - reach_x <= width)
        & (strands.mid_y + reach_y >= 0)
        & (strands.mid_y - reach_y <= height)
    )
    return inside


def _buried(strands: Strands, *, cell: float, width: int, height: int) -> NDArray[np.bool_]:
    """Tell which strands lie under MOST_LAYERS layers, so that no file costs much more than a real one.

    The cloth is looked at in square cells, and a long strand at up to four places. Strands much longer than a
    stitch would escape that: there is no more thread than so many layers over the whole frame, either.
    """
    pieces = np.clip(np.ceil(2 * strands.half_length / cell), 1, MOST_PIECES).astype(np.intp)
    strand = np.repeat(np.arange(strands.count), pieces)
    place = np.arange(strand.size) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    along = ((2 * place + 1) / pieces[strand] - 1) * strands.half_length[strand]
    columns, rows = int(width // cell) + 1, int(height // cell) + 1
    column = np.clip((strands.mid_x[strand] + along * strands.along_x[strand]) // cell, 0, columns - 1)
    row = np.clip((strands.mid_y[strand] + along * strands.along_y[strand]) // cell, 0, rows - 1)
    length = np.minimum(2 * strands.half_length, np.hypot(width, height))
    area = 2 * strands.radius * (length + strands.radius)

    covered = _laid_later((row * columns + column).astype(np.intp), (area / pieces)[strand])
    open_pieces = np.bincount(strand[covered <= MOST_LAYERS * cell**2], minlength=strands.count)
    laid = np.cumsum(area[::-1], dtype=np.float64)[::-1]
    buried: NDArray[np.bool_] = (open_pieces == 0) | (laid - area > MOST_LAYERS * width * height)
    return buried


def _laid_later(cell: NDArray[np.intp], area: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return for each piece how much area later pieces have in its cell.

    >>> _laid_later(np.array([0, 1, 0, 0]), np.array([1.0, 2.0, 4.0, 8.0])).tolist()
    [12.0, 0.0, 8.0, 0.0]
    """
    order = np.argsort(cell, kind="stable")
    upto = np.cumsum(area[order])
    last = np.flatnonzero(np.diff(cell[order], append=-1))
    later = np.empty_like(upto)
    later[order] = np.repeat(upto[last], np.diff(last, prepend=-1)) - upto
    return later
