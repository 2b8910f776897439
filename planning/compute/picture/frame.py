"""The piece of cloth that a picture shows, and how large the picture of it is."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _, figure

Rgb = tuple[int, int, int]
View = tuple[float, float, float, float]

LEAST_WIDTH_PX, MOST_WIDTH_PX = 16, 2000
# A picture is never taller than this many widths: a long narrow design stands in the middle of its cloth.
TALLEST = 2.0
MARGIN_SHARE, LEAST_MARGIN_MM = 0.03, 1.0


class NothingToDraw(WorkshopError):
    """There is no stitch to be drawn."""


class NoSuchPicture(WorkshopError):
    """A picture is asked for that cannot be made; the text says which values can."""


@dataclass(frozen=True, eq=False)
class DrawnBlock:
    """One colour block: its penetrations in mm (y grows downwards), where its runs start, and its colour.

    ``rgb`` is None where nobody has said which colour.
    """

    points_mm: NDArray[np.float64]
    run_starts: NDArray[np.intp]
    rgb: Rgb | None


@dataclass(frozen=True)
class Frame:
    """A window on the cloth: its upper left corner in mm, pixels per mm, and the size of its picture."""

    left_mm: float
    top_mm: float
    per_mm: float
    width_px: int
    height_px: int


def frame_of(blocks: Sequence[DrawnBlock], *, width_px: int, view: View | None = None) -> Frame:
    """Return the frame round all ``blocks`` with a margin, or round ``view`` (left, top, right, bottom in mm).

    Raises NothingToDraw and NoSuchPicture.
    """
    if not any(len(block.points_mm) for block in blocks):
        raise NothingToDraw(_("There is no stitch to draw."))
    if view is None:
        low = np.min([block.points_mm.min(axis=0) for block in blocks if len(block.points_mm)], axis=0)
        high = np.max([block.points_mm.max(axis=0) for block in blocks if len(block.points_mm)], axis=0)
        view = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
        return _frame(view, width_px=width_px, margin_mm=_margin_mm(view[2] - view[0], view[3] - view[1]))
    if not (all(map(math.isfinite, view)) and view[2] > view[0] and view[3] > view[1]):
        raise NoSuchPicture(_("The window on the cloth must have a width and a height above zero."))
    return _frame(view, width_px=width_px, margin_mm=0.0)


def picture_size(width_mm: float, height_mm: float, *, width_px: int) -> tuple[int, int]:
    """Return width and height in pixels of the picture of a design of that size.

    >>> picture_size(71.0, 71.0, width_px=300), picture_size(10.0, 300.0, width_px=300)
    ((300, 300), (300, 600))
    """
    frame = _frame(
        (0.0, 0.0, width_mm, height_mm), width_px=width_px, margin_mm=_margin_mm(width_mm, height_mm)
    )
    return frame.width_px, frame.height_px


def _margin_mm(width_mm: float, height_mm: float) -> float:
    return max(LEAST_MARGIN_MM, MARGIN_SHARE * max(width_mm, height_mm))


def _frame(view: View, *, width_px: int, margin_mm: float) -> Frame:
    if not LEAST_WIDTH_PX <= width_px <= MOST_WIDTH_PX:
        raise NoSuchPicture(
            _(
                "A picture is {least_width_px} to {most_width_px} pixels wide, not {width_px}. Ask for such "
                "a width."
            ).format(
                least_width_px=LEAST_WIDTH_PX, most_width_px=figure(MOST_WIDTH_PX), width_px=figure(width_px)
            )
        )
    left_mm, top_mm = view[0] - margin_mm, view[1] - margin_mm
    width_mm, height_mm = view[2] - view[0] + 2 * margin_mm, view[3] - view[1] + 2 * margin_mm
    per_mm = width_px / width_mm
    height_px = max(1, round(height_mm * per_mm))
    if height_px > TALLEST * width_px:
        height_px = int(TALLEST * width_px)
        per_mm = height_px / height_mm
        left_mm -= (width_px / per_mm - width_mm) / 2
    return Frame(left_mm, top_mm, per_mm, width_px, height_px)
