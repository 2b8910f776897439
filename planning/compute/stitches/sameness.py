"""Whether two stitch files hold one drawing: an outline of each block that no format's habits change.

Writers differ in where they trim, in how they cut up a long stitch, and in a tie-in stitch here or there. The
way of the needle through the cloth stays: its length, its two ends, and where it is on average in each
sixteenth of that length. A mirrored drawing has another outline.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

PARTS = 16
EXTENT_WITHIN_MM = 0.3
# What writers differ by; found on one drawing written in nine formats, with room to spare.
WAY_WITHIN = 0.005
WAY_WITHIN_MM = 2.0
PENETRATIONS_WITHIN = 0.05
PENETRATIONS_WITHIN_COUNT = 5
ENDS_WITHIN_MM = 2.5
PARTS_WITHIN_MM = 0.5
PARTS_WITHIN_EXTENT = 0.02

Outline = Sequence[Sequence[float]]


def block_outline(points_mm: ArrayLike, *, corner_mm: tuple[float, float]) -> list[float]:
    """Return penetrations, length of the way, its two ends, and its mean place in each of 16 equal parts.

    ``points_mm`` has shape (p, 2); places are relative to ``corner_mm``, the least x and y of the design.
    All in mm, rounded to 0.01.

    >>> outline = block_outline(np.array([(5.0, 5.0), (21.0, 5.0)]), corner_mm=(5.0, 5.0))
    >>> outline[:8]  # two penetrations, 16 mm from (0, 0) to (16, 0); the first millimetre is at 0.5 on average
    [2.0, 16.0, 0.0, 0.0, 16.0, 0.0, 0.5, 0.0]
    """
    points = np.asarray(points_mm, dtype=np.float64) - np.asarray(corner_mm)
    steps = np.hypot(*np.diff(points, axis=0).T)
    at = np.concatenate(([0.0], np.cumsum(steps)))
    way = float(at[-1])
    if way == 0:
        means = np.repeat(points[:1], PARTS, axis=0)
    else:
        # ∫ p ds up to each penetration, then up to each boundary between two parts.
        middles = (points[:-1] + points[1:]) / 2 * steps[:, None]
        moments = np.concatenate((np.zeros((1, 2)), np.cumsum(middles, axis=0)))
        bounds = np.linspace(0.0, way, PARTS + 1)
        before = np.clip(np.searchsorted(at, bounds, side="right") - 1, 0, len(points) - 1)
        there = np.stack([np.interp(bounds, at, points[:, axis]) for axis in (0, 1)], axis=1)
        rest = (points[before] + there) / 2 * (bounds - at[before])[:, None]
        means = np.diff(moments[before] + rest, axis=0) * PARTS / way
    numbers = (float(len(points)), way, *points[0], *points[-1], *means.ravel())
    return [round(float(number), 2) for number in numbers]


def is_same_drawing(one: Outline, other: Outline, *, extent_mm: float) -> bool:
    """Tell whether two designs of ``extent_mm`` and these block outlines are one drawing.

    >>> line = block_outline(np.array([(0.0, 0.0), (30.0, 0.0), (30.0, 10.0)]), corner_mm=(0.0, 0.0))
    >>> mirrored = block_outline(np.array([(30.0, 0.0), (0.0, 0.0), (0.0, 10.0)]), corner_mm=(0.0, 0.0))
    >>> is_same_drawing([line], [line], extent_mm=30.0), is_same_drawing([line], [mirrored], extent_mm=30.0)
    (True, False)
    """
    if not one or len(one) != len(other):
        return False
    a, b = np.asarray(one, dtype=np.float64), np.asarray(other, dtype=np.float64)
    if a.shape != b.shape:
        return False
    apart = np.abs(a - b)
    penetrations = np.maximum(PENETRATIONS_WITHIN_COUNT, PENETRATIONS_WITHIN * a[:, 0])
    way = np.maximum(WAY_WITHIN_MM, WAY_WITHIN * a[:, 1])
    parts = PARTS_WITHIN_MM + PARTS_WITHIN_EXTENT * extent_mm
    return bool(
        np.all(apart[:, 0] <= penetrations)
        and np.all(apart[:, 1] <= way)
        and np.all(apart[:, 2:6] <= ENDS_WITHIN_MM)
        and np.all(apart[:, 6:] <= parts)
    )
