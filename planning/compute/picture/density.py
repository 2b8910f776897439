"""How closely a design is pierced, as a map."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planning.compute.picture.frame import DrawnBlock, Frame, Rgb, frame_of

Picture = NDArray[np.uint8]

PAPER: Rgb = (255, 255, 255)
CELL_MM = 0.5
# Averaged over 2.5 mm each way, the middle weighing most: less would show single stitches, more hide a hard spot.
WINDOW = np.array([1, 2, 3, 2, 1]) / 9
MOST_CELLS = 4_000_000
BARE = 0.05


@dataclass(frozen=True)
class DensityStep:
    """A step of the map: from how many stitches per mm², its word, and its colour."""

    from_per_mm2: float
    words: str
    rgb: Rgb


# Each step doubles the one before. The words only order the steps: how much a cloth bears, a test shows. The
# colours darken evenly, so that the map is read on a grey print as well.
STEPS = (
    DensityStep(0.0, "hardly pierced", (231, 233, 222)),
    DensityStep(0.5, "open", (186, 213, 200)),
    DensityStep(1.0, "light", (128, 183, 178)),
    DensityStep(2.0, "medium", (66, 142, 152)),
    DensityStep(4.0, "close", (27, 93, 117)),
    DensityStep(8.0, "very close", (28, 46, 84)),
    DensityStep(16.0, "crowded", (34, 8, 38)),
)


@dataclass(frozen=True, eq=False)
class DensityMap:
    """The map as a picture, the greatest density, and which share of the pierced cloth each step has."""

    picture: Picture
    most_per_mm2: float
    shares: tuple[float, ...]


def density(blocks: Sequence[DrawnBlock], *, width_px: int) -> DensityMap:
    """Return the map of stitches per mm², over all blocks, in the frame that ``draw`` uses.

    Cloth with no penetration about it stays white. Raises NothingToDraw and NoSuchPicture.

    >>> spot = DrawnBlock(np.tile([[0.0, 0.0], [0.1, 0.1]], (10, 1)), np.array([0]), (0, 0, 0))
    >>> round(density([spot], width_px=50).most_per_mm2, 3)  # 20 stitches in a cell of 1/4 mm², weighed 1/9
    8.889
    """
    frame = frame_of(blocks, width_px=width_px)
    pierced = per_mm2(np.concatenate([block.points_mm for block in blocks]), frame)
    step = np.searchsorted([each.from_per_mm2 for each in STEPS], pierced, side="right") - 1
    counted = np.bincount(step[pierced > 0], minlength=len(STEPS)).astype(np.float64)

    colours = np.array([PAPER, *(each.rgb for each in STEPS)], dtype=np.uint8)
    smooth = _at_pixels(pierced, frame)
    drawn = np.searchsorted([each.from_per_mm2 for each in STEPS], smooth, side="right")
    drawn[smooth < BARE] = 0
    return DensityMap(
        picture=colours.take(drawn, axis=0),
        most_per_mm2=float(pierced.max()),
        shares=tuple((counted / counted.sum()).tolist()),
    )


def cell_mm(frame: Frame) -> float:
    """Return the side of a cell; larger than usual only where a frame would have millions of them."""
    area_mm2 = frame.width_px * frame.height_px / frame.per_mm**2
    return max(CELL_MM, float(np.sqrt(area_mm2 / MOST_CELLS)))


def per_mm2(points_mm: NDArray[np.float64], frame: Frame) -> NDArray[np.float64]:
    """Return the penetrations per mm² round each cell of the frame, shape (rows, columns)."""
    cell = cell_mm(frame)
    columns = int(np.ceil(frame.width_px / frame.per_mm / cell)) + 1
    rows = int(np.ceil(frame.height_px / frame.per_mm / cell)) + 1
    column, row = cells_of(points_mm, frame, shape=(rows, columns))
    counted = np.bincount(row * columns + column, minlength=rows * columns).reshape(rows, columns)
    wide = np.pad(counted / cell**2, WINDOW.size // 2)
    wide = sum(weight * wide[each : each + rows] for each, weight in enumerate(WINDOW))
    around: NDArray[np.float64] = sum(
        weight * wide[:, each : each + columns] for each, weight in enumerate(WINDOW)
    )
    return around


def cells_of(
    points_mm: NDArray[np.float64], frame: Frame, *, shape: tuple[int, int]
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return column and row of the cell that each point lies in."""
    cell = cell_mm(frame)
    # A hair's breadth more, so that points on whole tenths of a millimetre never fall between two cells.
    column = np.floor((points_mm[:, 0] - frame.left_mm) / cell + 1e-9).astype(np.intp)
    row = np.floor((points_mm[:, 1] - frame.top_mm) / cell + 1e-9).astype(np.intp)
    return np.clip(column, 0, shape[1] - 1), np.clip(row, 0, shape[0] - 1)


def _at_pixels(pierced: NDArray[np.float64], frame: Frame) -> NDArray[np.float64]:
    """Return the density at every pixel, straight between the values of its four neighbours."""
    cell_px = cell_mm(frame) * frame.per_mm
    y = np.clip((np.arange(frame.height_px) + 0.5) / cell_px - 0.5, 0, pierced.shape[0] - 1)
    x = np.clip((np.arange(frame.width_px) + 0.5) / cell_px - 0.5, 0, pierced.shape[1] - 1)
    by_row = _between(pierced, y)
    return _between(by_row.T, x).T


def _between(values: NDArray[np.float64], place: NDArray[np.float64]) -> NDArray[np.float64]:
    before = np.floor(place).astype(np.intp)
    after = np.minimum(before + 1, len(values) - 1)
    part = (place - before)[:, None]
    between: NDArray[np.float64] = values[before] * (1 - part) + values[after] * part
    return between
