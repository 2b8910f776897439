"""Needle and bobbin thread of a colour block, from the points where its needle went in.

One thread run has penetrations p₀…pₙ between two cuts, stitch lengths sᵢ, unit directions dᵢ and turning
angles θⱼ. With t the thickness of fabric and layers, q the depth of the interlock in it and κ how far a
turning stitch's loop is drawn in under the work::

    back-draw       u_j = κ · min(s_j, s_{j+1}) · sin(θ_j / 2)          (0 at the two ends of a run)
    interlock       r_j = p_j + u_j · unit(d_{j+1} − d_j)
    needle thread   Σ s_i + 2 q t · (n+1) + 2 Σ u_j
    bobbin thread   Σ |r_j − r_{j−1}| + 2 (1 − q) t · (n+1)

The design keeps, block by block, the sums from which both threads follow for any t and q and for any κ on
a grid, so that a plan never reads a stitch file again.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _

# Between the points the bobbin path is taken as straight. It bends only where the loops of a satin nearly
# meet, towards κ = 1/2, so the points crowd there. 1/4 and 1/3, the usual settings, are points and thus exact.
KAPPA_GRID: tuple[float, ...] = (
    0.0, 1 / 12, 1 / 6, 1 / 4, 7 / 24, 1 / 3, 3 / 8, 5 / 12, 7 / 16, 11 / 24, 23 / 48, 47 / 96, 1 / 2,
)  # fmt: skip


KAPPA_STEP = 0.05
USUAL_THICKNESS_MM = 1.0  # of cloth and layers, where nobody says what they are


@dataclass(frozen=True)
class BlockSums:
    """What a colour block keeps of its stitches: enough for every estimate of its thread."""

    drawn_mm: float
    penetrations: int
    back_draw_mm: float  # Σ min(s_j, s_{j+1}) · sin(θ_j / 2): the back-draw at κ = 1
    bobbin_path_mm: tuple[float, ...]  # Σ |r_j − r_{j−1}| at each κ of KAPPA_GRID
    runs: int
    trims: int = 0  # trims told or inferred in the file; they cost time, the runs cost the tails
    zero_length: int = 0
    dragged_mm: float = 0.0  # travel without a trim: already a part of drawn_mm


@dataclass(frozen=True)
class ThreadSettings:
    """How a machine and its work lay thread. Every default is a starting point, to be set by a test.

    κ, thickness and depth of the interlock are fitted together, on 26 public real designs, so that needle and bobbin
    thread both meet the thread makers' rules of about 5 and 3 m per 1,000 stitches: 4.97 and 2.64 m before allowances.
    """

    # The bobbin thread shows over half of a satin column's back; equal thirds are κ = 1/3 (common practice, no source).
    kappa: float = 1 / 4
    # Fabric and layers, pressed together under the foot.
    thickness_mm: float = USUAL_THICKNESS_MM
    # 1 = at the back of the cloth; 0.5 = its centre, as a seam is.
    interlock_depth: float = 3 / 4
    # Tails: common practice, no source. A cutter under the plate leaves the long tail on the machine's side,
    # where it begins the next run, and the short one in the work.
    needle_tail_start_mm: float = 45.0
    needle_tail_trim_mm: float = 10.0
    bobbin_tail_start_mm: float = 40.0
    bobbin_tail_trim_mm: float = 10.0
    # Between spool and needle, lost when one needle is threaded anew: common practice, no source.
    threaded_path_mm: float = 600.0
    # For breaks and re-stitching, as a fraction; nothing until a workshop says so.
    allowance: float = 0.0

    def __post_init__(self) -> None:
        _check_lay(self.kappa, self.thickness_mm, self.interlock_depth)
        for name in (
            "needle_tail_start_mm",
            "needle_tail_trim_mm",
            "bobbin_tail_start_mm",
            "bobbin_tail_trim_mm",
            "threaded_path_mm",
            "allowance",
        ):
            value = getattr(self, name)
            if not (math.isfinite(value) and value >= 0):
                raise WorkshopError(
                    _("{name} is {value}; give a number that is not negative.").format(name=name, value=value)
                )


def block_sums(
    points_mm: ArrayLike,
    run_starts: Sequence[int] | NDArray[np.integer],
    *,
    trims: int = 0,
    zero_length: int = 0,
    dragged_mm: float = 0.0,
) -> BlockSums:
    """Return the sums of a colour block over all its thread runs.

    ``points_mm`` has shape (p, 2): every penetration in order. ``run_starts`` holds the index in it at which
    each run begins, the first being 0. A zero-length stitch penetrates, but has no direction and draws
    nothing back. The last three arguments are counted by the reader and kept as they are.

    >>> sums = block_sums([(0, 0), (3, 0), (3, 4)], [0])
    >>> sums.drawn_mm, sums.penetrations, sums.runs
    (7.0, 3, 1)
    >>> round(sums.back_draw_mm, 4)  # 3 mm · sin 45°
    2.1213
    """
    points, starts = _checked_path(points_mm, run_starts)
    # Nothing is laid from one run to the next: such a step counts as having no length, which also makes the
    # back-draw vanish at both ends of every run.
    steps = np.diff(points, axis=0).T.copy()
    steps[:, starts[1:] - 1] = 0.0
    lengths = _norms(steps)
    directions = np.divide(steps, lengths, out=np.zeros_like(steps), where=lengths > 0)

    # |d_{j+1} − d_j| = 2 sin(θ_j / 2), so the loop at κ = 1 is half that difference times the shorter stitch:
    # no angle is computed, and no unit vector of a difference that may vanish.
    loops = np.zeros((2, len(points)))
    if len(points) > 2:
        shorter = np.minimum(lengths[:-1], lengths[1:])
        loops[:, 1:-1] = shorter * np.diff(directions, axis=1) / 2

    return BlockSums(
        drawn_mm=float(lengths.sum()),
        penetrations=len(points),
        back_draw_mm=float(_norms(loops).sum()),
        bobbin_path_mm=_bobbin_paths_mm(steps, np.diff(loops, axis=1)),
        runs=len(starts),
        trims=trims,
        zero_length=zero_length,
        dragged_mm=dragged_mm,
    )


def needle_geometry_mm(
    sums: BlockSums, *, kappa: float, thickness_mm: float, interlock_depth: float
) -> float:
    """Return the needle thread that lies in a block, in mm, without tails or allowance.

    Ten stitches of 2 mm in a straight run, drawn through 0.5 mm to the back at each of 11 penetrations:

    >>> sums = block_sums([(2 * i, 0) for i in range(11)], [0])
    >>> needle_geometry_mm(sums, kappa=1 / 3, thickness_mm=0.5, interlock_depth=1.0)
    31.0
    """
    _check_lay(kappa, thickness_mm, interlock_depth)
    through_mm = 2 * interlock_depth * thickness_mm * sums.penetrations
    return sums.drawn_mm + through_mm + 2 * kappa * sums.back_draw_mm


def bobbin_geometry_mm(
    sums: BlockSums, *, kappa: float, thickness_mm: float, interlock_depth: float
) -> float:
    """Return the bobbin thread that lies in a block, in mm, without tails or allowance.

    Between the points of ``KAPPA_GRID`` the path is interpolated linearly; being convex in κ it is never
    underestimated by that.

    >>> sums = block_sums([(2 * i, 0) for i in range(11)], [0])
    >>> bobbin_geometry_mm(sums, kappa=1 / 3, thickness_mm=0.5, interlock_depth=1.0)
    20.0
    """
    _check_lay(kappa, thickness_mm, interlock_depth)
    through_mm = 2 * (1 - interlock_depth) * thickness_mm * sums.penetrations
    return float(np.interp(kappa, KAPPA_GRID, sums.bobbin_path_mm)) + through_mm


def needle_laid_mm(sums: BlockSums, settings: ThreadSettings) -> float:
    """Return the needle thread of a block in mm: geometry, tails and allowance, but not thread changes.

    Every run leaves a tail where it starts and one where it is cut, be it by a trim, a thread change or the
    end of the design.

    >>> sums = block_sums([(2 * i, 0) for i in range(11)], [0])
    >>> needle_laid_mm(sums, ThreadSettings(thickness_mm=0.5, interlock_depth=1.0))
    86.0
    """
    geometry_mm = needle_geometry_mm(
        sums,
        kappa=settings.kappa,
        thickness_mm=settings.thickness_mm,
        interlock_depth=settings.interlock_depth,
    )
    tails_mm = sums.runs * (settings.needle_tail_start_mm + settings.needle_tail_trim_mm)
    return (geometry_mm + tails_mm) * (1 + settings.allowance)


def bobbin_laid_mm(sums: BlockSums, settings: ThreadSettings) -> float:
    """Return the bobbin thread of a block in mm: geometry, tails and allowance.

    >>> sums = block_sums([(2 * i, 0) for i in range(11)], [0])
    >>> bobbin_laid_mm(sums, ThreadSettings(thickness_mm=0.5, interlock_depth=1.0))
    70.0
    """
    geometry_mm = bobbin_geometry_mm(
        sums,
        kappa=settings.kappa,
        thickness_mm=settings.thickness_mm,
        interlock_depth=settings.interlock_depth,
    )
    tails_mm = sums.runs * (settings.bobbin_tail_start_mm + settings.bobbin_tail_trim_mm)
    return (geometry_mm + tails_mm) * (1 + settings.allowance)


def needle_per_kappa_mm(sums: BlockSums, settings: ThreadSettings) -> float:
    """Return how the needle thread of a block grows with κ, in mm per 1 of κ.

    >>> needle_per_kappa_mm(block_sums([(0, 0), (3, 0), (3, 4)], [0]), ThreadSettings())  # 2 · 3 mm · sin 45°
    4.242640687119285
    """
    return 2 * sums.back_draw_mm * (1 + settings.allowance)


def bobbin_per_kappa_mm(sums: BlockSums, settings: ThreadSettings) -> float:
    """Return how the bobbin thread of a block changes with κ, in mm per 1 of κ: over 0.05 to either side of κ.

    It bends, and more so in satin; a step as wide as what is not known of κ serves better than the tangent.

    >>> bobbin_per_kappa_mm(block_sums([(2 * i, 0) for i in range(11)], [0]), ThreadSettings())
    0.0
    """
    low, high = max(0.0, settings.kappa - KAPPA_STEP), min(0.5, settings.kappa + KAPPA_STEP)
    below, above = np.interp([low, high], KAPPA_GRID, sums.bobbin_path_mm)
    return float(above - below) / (high - low) * (1 + settings.allowance)


def _norms(vectors: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the lengths of the columns of a (2, n) array; ``np.hypot`` would take several times as long."""
    x, y = vectors
    return np.sqrt(x * x + y * y)


def _bobbin_paths_mm(steps: NDArray[np.float64], pulls: NDArray[np.float64]) -> tuple[float, ...]:
    """Return Σ |step + κ · pull| at each κ of the grid, from two (2, n) arrays."""
    # One buffer for all κ: making new arrays would take most of the time of a large design.
    moved = np.empty_like(steps)
    paths_mm = []
    for kappa in KAPPA_GRID:
        np.multiply(pulls, kappa, out=moved)
        moved += steps
        moved *= moved
        squares = np.add(moved[0], moved[1], out=moved[0])
        paths_mm.append(float(np.sqrt(squares, out=squares).sum()))
    return tuple(paths_mm)


def _check_lay(kappa: float, thickness_mm: float, interlock_depth: float) -> None:
    """Raise unless the three numbers describe a stitch that can be made."""
    if not 0 <= kappa <= 0.5:
        raise WorkshopError(
            _(
                "κ is {kappa}; it runs from 0 (a satin column's back is all bobbin) to 0.5 (no bobbin shows)."
            ).format(kappa=kappa)
        )
    if not (math.isfinite(thickness_mm) and thickness_mm >= 0):
        raise WorkshopError(
            _("The thickness is {thickness_mm} mm; give 0 or more.").format(thickness_mm=thickness_mm)
        )
    if not 0 <= interlock_depth <= 1:
        raise WorkshopError(
            _("The depth of the interlock is {interlock_depth}; it runs from 0 (face) to 1 (back).").format(
                interlock_depth=interlock_depth
            )
        )


def _checked_path(
    points_mm: ArrayLike, run_starts: Sequence[int] | NDArray[np.integer]
) -> tuple[NDArray[np.float64], NDArray[np.intp]]:
    """Return the points as (p, 2) floats and the starts as indices, or raise if they make no path."""
    points = np.asarray(points_mm, dtype=np.float64)
    starts = np.asarray(run_starts)
    if points.size == 0 and starts.size == 0:
        return np.empty((0, 2)), np.empty(0, dtype=np.intp)
    if points.ndim != 2 or points.shape[1] != 2:
        raise WorkshopError(
            _("A stitch path is a list of x, y pairs; this one has the shape {shape}.").format(
                shape=points.shape
            )
        )
    if not np.isfinite(points).all():
        where = int(np.flatnonzero(~np.isfinite(points).all(axis=1))[0])
        raise WorkshopError(
            _("Penetration {where} of the stitch path has no position; read the file again.").format(
                where=where
            )
        )
    if starts.ndim != 1 or starts.size == 0 or not np.issubdtype(starts.dtype, np.integer):
        raise WorkshopError(_("A stitch path needs the whole-number index at which each of its runs begins."))
    if starts[0] != 0 or starts[-1] >= len(points) or (np.diff(starts) <= 0).any():
        raise WorkshopError(
            _(
                "Thread runs begin at 0 and then in rising order before {count}; these do not: {tolist}."
            ).format(count=len(points), tolist=starts[:10].tolist())
        )
    return points, starts.astype(np.intp)
