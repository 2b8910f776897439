"""How many copies of a design one hooping holds, and where each lies."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _
from inventory.compute.units import told_sides

# Between two copies, so that each can be cut out and presser foot and stabilizer do not meet the neighbour's
# stitches: common practice, no source.
COPY_SPACING_MM = 10.0
# Sizes are sums of tenths of mm: as much as this beyond the field is none.
_TRIFLE_MM = 1e-6


@dataclass(frozen=True)
class HoopField:
    """A hoop as the grid sees it: the field that the needle reaches, and its stabilizer piece."""

    name: str
    width_mm: float
    height_mm: float
    piece_mm: tuple[int, int] | None = None

    @property
    def area_mm2(self) -> float:
        return self.width_mm * self.height_mm


@dataclass(frozen=True)
class CopyGrid:
    """Copies in rows and columns; ``turned`` says that each lies a quarter round.

    ``centres_mm`` are right of and below the middle of the field, row by row.
    """

    columns: int
    rows: int
    turned: bool
    centres_mm: tuple[tuple[float, float], ...]

    @property
    def count(self) -> int:
        return self.columns * self.rows


def copy_grid(
    width_mm: float, height_mm: float, hoop: HoopField, *, spacing_mm: float = COPY_SPACING_MM
) -> CopyGrid:
    """Return the grid of most copies of a design in the hoop's field; upright where both ways hold as many.

    A design that does not fit at all gives a grid of none. Of a straight grid, all copies lying alike, no
    larger one fits.

    >>> grid = copy_grid(60, 40, HoopField("medium", 130, 180))
    >>> grid.columns, grid.rows, grid.turned
    (2, 3, False)
    >>> grid.centres_mm[0], grid.centres_mm[-1]
    ((-35.0, -50.0), (35.0, 50.0))
    """
    for size in (width_mm, height_mm):
        if not (math.isfinite(size) and size > 0):
            raise WorkshopError(
                _("A design {size} wide or high has no place in a hoop.").format(size=told_sides(size))
            )
    if not (math.isfinite(spacing_mm) and spacing_mm >= 0):
        raise WorkshopError(
            _("The spacing is {spacing}; give 0 or more.").format(spacing=told_sides(spacing_mm))
        )
    grids = [
        _grid(width_mm, height_mm, hoop, spacing_mm, turned=False),
        _grid(height_mm, width_mm, hoop, spacing_mm, turned=True),
    ]
    return max(grids, key=lambda grid: grid.count)


def fewer(grid: CopyGrid, copies: int) -> CopyGrid:
    """Return the grid with only its first ``copies``, row by row; raise where it holds fewer.

    >>> len(fewer(copy_grid(60, 40, HoopField("medium", 130, 180)), 4).centres_mm)
    4
    """
    if not 1 <= copies <= grid.count:
        raise WorkshopError(
            _("{copies} copies do not lie in a grid of {count}.").format(copies=copies, count=grid.count)
        )
    return CopyGrid(
        columns=min(grid.columns, copies),
        rows=-(-copies // grid.columns),
        turned=grid.turned,
        centres_mm=grid.centres_mm[:copies],
    )


def most_copies(
    boxes_mm: Sequence[tuple[float, float]], hoop: HoopField, *, spacing_mm: float = COPY_SPACING_MM
) -> int:
    """Return how many copies one hooping holds of every box: the field each hooping of a piece needs.

    >>> most_copies([(60, 40), (60, 80)], HoopField("medium", 130, 180))
    4
    """
    grids = (copy_grid(*box, hoop, spacing_mm=spacing_mm) for box in boxes_mm)
    return min((grid.count for grid in grids), default=0)


def smallest_hoop(
    boxes_mm: Sequence[tuple[float, float]],
    hoops: Sequence[HoopField],
    *,
    copies: int = 1,
    spacing_mm: float = COPY_SPACING_MM,
) -> HoopField | None:
    """Return the hoop of the smallest field that holds so many copies of every box, None where none does.

    >>> hoops = [HoopField("large", 200, 300), HoopField("medium", 130, 180), HoopField("small", 100, 100)]
    >>> smallest_hoop([(60, 40)], hoops).name, smallest_hoop([(60, 40)], hoops, copies=6).name
    ('small', 'medium')
    """
    fitting = [hoop for hoop in hoops if most_copies(boxes_mm, hoop, spacing_mm=spacing_mm) >= copies]
    return min(fitting, key=lambda hoop: (hoop.area_mm2, hoop.name), default=None)


def _grid(across_mm: float, along_mm: float, hoop: HoopField, spacing_mm: float, *, turned: bool) -> CopyGrid:
    columns = _in_a_line(across_mm, hoop.width_mm, spacing_mm)
    rows = _in_a_line(along_mm, hoop.height_mm, spacing_mm)
    centres = tuple(
        (
            (column - (columns - 1) / 2) * (across_mm + spacing_mm),
            (row - (rows - 1) / 2) * (along_mm + spacing_mm),
        )
        for row in range(rows)
        for column in range(columns)
    )
    return CopyGrid(columns, rows, turned, centres) if centres else CopyGrid(0, 0, turned, ())


def _in_a_line(size_mm: float, room_mm: float, spacing_mm: float) -> int:
    return max(0, math.floor((room_mm + spacing_mm + _TRIFLE_MM) / (size_mm + spacing_mm)))


def copies_size_mm(
    width_mm: float,
    height_mm: float,
    hoop: HoopField,
    *,
    copies: int,
    spacing_mm: float = COPY_SPACING_MM,
) -> tuple[int, int]:
    """Return the whole mm across and along the hoop that so many copies of a design take in it, row by row.

    >>> copies_size_mm(60, 40, HoopField("medium", 130, 180), copies=4)
    (130, 90)
    """
    grid = fewer(copy_grid(width_mm, height_mm, hoop, spacing_mm=spacing_mm), copies)
    across, along = (height_mm, width_mm) if grid.turned else (width_mm, height_mm)
    return (
        math.ceil(grid.columns * (across + spacing_mm) - spacing_mm),
        math.ceil(grid.rows * (along + spacing_mm) - spacing_mm),
    )
