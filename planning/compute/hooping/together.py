"""Designs laid together in one hooping: where every stitch of each comes to lie, block by block."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planning.compute.stitches.placing import Placement

Points = NDArray[np.float64]  # shape (penetrations, 2), in mm
# A penetration this far beyond what was laid is still that of its copy: formats keep tenths.
SLACK_MM = 0.25


@dataclass(frozen=True, eq=False)
class DesignPath:
    """The runs of thread of a design's blocks by their number, and the middle of the rectangle round them."""

    blocks: Mapping[int, tuple[Points, ...]]
    middle_mm: tuple[float, float]


@dataclass(frozen=True, eq=False)
class CopyLaid:
    """One piece in a hooping: its edges in mm (left, top, right, bottom), its penetrations and drawn length."""

    edges_mm: tuple[float, float, float, float]
    stitches: int
    drawn_mm: float


def runs_of(points_mm: Points, run_starts: NDArray[np.intp]) -> tuple[Points, ...]:
    """Return the penetrations of a block run by run.

    >>> [run.tolist() for run in runs_of(np.array([[0., 0.], [1., 0.], [9., 9.]]), np.array([0, 2]))]
    [[[0.0, 0.0], [1.0, 0.0]], [[9.0, 9.0]]]
    """
    return tuple(run for run in np.split(points_mm, run_starts[1:]) if len(run))


def laid_at(
    points_mm: Points,
    *,
    middle_mm: tuple[float, float],
    placement: Placement,
    at_mm: tuple[float, float],
    turned: bool = False,
) -> Points:
    """Return the points of a design as it lies by ``placement`` on a piece whose middle is ``at_mm``.

    A ``turned`` piece lies a quarter round. Whole tenths of mm stay whole: only the turning of a placement and its
    scale bring points between them.
    """
    scaled = points_mm * (-1 if placement.mirrored else 1, 1) * placement.scale
    middle = np.array(middle_mm) * (-1 if placement.mirrored else 1, 1) * placement.scale
    angle = math.radians(placement.turned_deg + 90 * turned)
    turning = np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])
    on_piece = np.array([placement.x_mm, placement.y_mm])
    if turned:
        on_piece = np.array([-on_piece[1], on_piece[0]])
    offset = np.round(np.array(at_mm) + on_piece - middle @ turning, 1)
    return scaled @ turning + offset


def drawn_mm(runs: Sequence[Points]) -> float:
    """Return the length of thread that these runs draw on the cloth."""
    return float(sum(np.hypot(*np.diff(run, axis=0).T).sum() for run in runs))


def copy_laid(runs: Sequence[Points]) -> CopyLaid:
    """Return what one piece of a hooping is known by again."""
    points = np.concatenate(runs)
    (left, top), (right, bottom) = points.min(axis=0), points.max(axis=0)
    return CopyLaid((left, top, right, bottom), len(points), drawn_mm(runs))


def read_back(
    copies: Sequence[CopyLaid], runs: Sequence[Points], *, shift_mm: tuple[float, float]
) -> tuple[list[CopyLaid], int]:
    """Return what was read of each copy, and the penetrations that belong to none.

    ``shift_mm`` is added to the points that were read: formats keep the middle of a design, not of a hoop.
    """
    found = []
    own_runs = [run + np.array(shift_mm) for run in runs]
    strays = sum(map(len, own_runs))
    for copy in copies:
        left, top, right, bottom = copy.edges_mm
        stitches, length = 0, 0.0
        for run in own_runs:
            inside = (run >= (left - SLACK_MM, top - SLACK_MM)).all(axis=1)
            inside &= (run <= (right + SLACK_MM, bottom + SLACK_MM)).all(axis=1)
            stitches += int(inside.sum())
            steps = np.hypot(*np.diff(run, axis=0).T)
            length += float(steps[inside[1:] & inside[:-1]].sum())
        strays -= stitches
        found.append(CopyLaid(copy.edges_mm, stitches, length))
    return found, strays
