"""Both threads of three parts of a test strip: from them come t, q and κ, each with its error.

A satin column, a fill and a running line are stitched apart from one another. Of each part needle and bobbin thread
are unravelled and measured, or weighed. With sums as of any block, one part takes

    needle  drawn + 2 q t · penetrations + 2 κ · back-draw,    bobbin  path(κ) + 2 (1 − q) t · penetrations

(see ``thread_length``). Six readings tell three numbers; where thread was weighed, its tex is off by an error of its
own, one for all parts, which is solved for as well. Weighted least squares, errors from the curvature at the best.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from inventory.compute.errors import WorkshopError
from inventory.compute.later import later
from inventory.compute.spoken import N_, _, plainly
from inventory.compute.units import told_sides
from planning.compute.stitches.thread_length import (
    KAPPA_GRID,
    BlockSums,
    ThreadSettings,
    block_sums,
    bobbin_laid_mm,
    needle_laid_mm,
)
from planning.compute.stitches.weighed_strip import (
    LEAST_ERROR,
    MOST_ERROR,
    MOST_STITCHES,
    RUNNING_STITCH_MM,
    Scale,
    advice,
    fill_points,
    line_points,
    points_between,
    satin_points,
    turned_points,
)

if TYPE_CHECKING:
    from scipy.optimize import least_squares
    from scipy.special import ndtri
else:
    least_squares = later("scipy.optimize", "least_squares")
    ndtri = later("scipy.special", "ndtri")

Floats = NDArray[np.float64]

PARTS = (N_("satin column"), N_("fill"), N_("running line"))
SATIN_MM = 5.0
PART_APART_MM = 5.0  # so that each can be picked out alone
LEAST_PART_MM = 40.0  # across
# How unevenly a machine draws its thread in from part to part, and what unravelled thread stretches by: judgement.
UNEVEN = 0.01
# One sigma of a length laid along a ruler, in mm: both ends, and a crimped thread pulled straight. Judgement.
RULER_SIGMA_MM = 2.0


@dataclass(frozen=True, eq=False)
class ThreePartStrip:
    """Three parts, each sewn in one run and cut from the next; shapes (penetrations, 2) in mm, and their sums."""

    points_mm: tuple[Floats, Floats, Floats]
    sums: tuple[BlockSums, BlockSums, BlockSums]

    @property
    def size_mm(self) -> tuple[float, float]:
        every = np.concatenate(self.points_mm)
        low, high = every.min(axis=0), every.max(axis=0)
        return float(high[0] - low[0]), float(high[1] - low[1])

    @property
    def stitches(self) -> int:
        return sum(map(len, self.points_mm))


@dataclass(frozen=True)
class WeighingErrors:
    """What weighing errs by beyond the scale's step: repeated weighings scatter, and tex has a tolerance."""

    repeatability_mg: float
    needle_tex_sigma: float
    bobbin_tex_sigma: float

    def sigma_mg(self, scale: Scale) -> float:
        """One sigma of a difference of two weighings."""
        return math.hypot(scale.sigma_mg, math.sqrt(2) * self.repeatability_mg)


def strip_to_measure() -> ThreePartStrip:
    """Return a strip small enough to be unravelled: some decimetres of each thread in every part."""
    return _three_parts(LEAST_PART_MM, (1, 8, 3))


def strip_to_weigh(
    scale: Scale,
    errors: WeighingErrors,
    *,
    wanted_error: float,
    field_mm: tuple[float, float] = (100.0, 100.0),
    settings: ThreadSettings | None = None,
) -> ThreePartStrip:
    """Return the smallest strip of which both threads of every part are weighed to the relative ``wanted_error``.

    The error is that of weighing alone. Raises WorkshopError, with what would do, where it does not fit.
    """
    if not LEAST_ERROR <= wanted_error <= MOST_ERROR:
        raise WorkshopError(
            _("A relative error of {wanted_error} is no aim; give a share such as 0.03 (3 %).").format(
                wanted_error=wanted_error
            )
        )
    settings = settings or ThreadSettings()
    width_mm = math.floor(field_mm[0] / 4.0) * 4.0
    if width_mm < LEAST_PART_MM or _height_mm((1, 2, 1)) > field_mm[1]:
        raise WorkshopError(
            _(
                "A field of {size} is too small for the strip; it needs {across} across and {along} along."
            ).format(
                size=told_sides(*field_mm),
                across=told_sides(LEAST_PART_MM),
                along=told_sides(round(_height_mm((1, 2, 1)))),
            )
        )
    sigma_mg = errors.sigma_mg(scale)
    counts = [1, 2, 1]
    while True:
        strip = _three_parts(width_mm, (counts[0], counts[1], counts[2]))
        reached = [_weighing_error(sums, scale, sigma_mg, settings) for sums in strip.sums]
        worst = int(np.argmax(reached))
        if reached[worst] <= wanted_error:
            return strip
        # Thread grows with the count, so that this many would do; the part that is weighed worst grows.
        more = max(counts[worst] + 1, math.floor(counts[worst] * reached[worst] / wanted_error))
        grown = counts.copy()
        grown[worst] = more + more % 2 if worst == 1 else more
        while not _fits((grown[0], grown[1], grown[2]), width_mm, field_mm):
            grown[worst] -= 2 if worst == 1 else 1
            if grown[worst] <= counts[worst]:
                raise WorkshopError(
                    _(
                        "On a scale of {step} mg steps that repeats to {repeat} mg the parts would not "
                        "fit {size}. {advice} Or unravel a small strip and measure its threads."
                    ).format(
                        step=plainly(scale.step_mg),
                        repeat=plainly(errors.repeatability_mg),
                        size=told_sides(*field_mm),
                        advice=advice(max(reached)),
                    )
                )
        counts = grown


def _weighing_error(sums: BlockSums, scale: Scale, sigma_mg: float, settings: ThreadSettings) -> float:
    return sigma_mg / min(
        needle_laid_mm(sums, settings) / 1000 * scale.needle_tex,
        bobbin_laid_mm(sums, settings) / 1000 * scale.bobbin_tex,
    )


def _height_mm(counts: tuple[int, int, int]) -> float:
    columns, rows, lines = counts
    return columns * (SATIN_MM + 1) + rows * 0.4 + lines * 1.0 + 2 * PART_APART_MM


def _fits(counts: tuple[int, int, int], width_mm: float, field_mm: tuple[float, float]) -> bool:
    columns, rows, lines = counts
    stitches = width_mm * (columns / 0.4 + rows / 4.0 + lines / RUNNING_STITCH_MM)
    return _height_mm(counts) <= field_mm[1] and stitches <= MOST_STITCHES


def _three_parts(width_mm: float, counts: tuple[int, int, int]) -> ThreePartStrip:
    """Return so many satin columns, rows of fill and running lines, one part below the other."""
    columns, rows, lines = counts
    satin = _stacked([satin_points(width_mm, SATIN_MM)] * columns, SATIN_MM + 1, 0.0, width_mm)
    top = columns * (SATIN_MM + 1) + PART_APART_MM
    fill = turned_points(fill_points(width_mm, rows), top, width_mm, True)
    top += rows * 0.4 + PART_APART_MM
    line = _stacked([line_points(width_mm, RUNNING_STITCH_MM)] * lines, 1.0, top, width_mm)
    parts = (satin, fill, line)
    return ThreePartStrip(parts, tuple(block_sums(each, [0], trims=1) for each in parts))  # type: ignore[arg-type]


def _stacked(rows: Sequence[Floats], apart_mm: float, top_mm: float, width_mm: float) -> Floats:
    path: list[Floats] = []
    for number, row in enumerate(rows):
        placed = turned_points(row, top_mm + number * apart_mm, width_mm, number % 2 == 0)
        if path:
            path.append(points_between(path[-1][-1], placed[0]))
        path.append(placed)
    return np.concatenate(path)


class ThreadReading(NamedTuple):
    """The thread of one part as read, in mm (of weighed thread: by its stated tex), and one sigma of reading it."""

    length_mm: float
    sigma_mm: float


@dataclass(frozen=True)
class PartReadings:
    """Needle and bobbin thread of one part."""

    needle: ThreadReading
    bobbin: ThreadReading


def measured_reading(length_mm: float) -> ThreadReading:
    """Return a thread that was unravelled, its tails cut off, and laid along a ruler."""
    return ThreadReading(length_mm, math.hypot(RULER_SIGMA_MM, UNEVEN * length_mm))


def weighed_reading(
    weight_mg: float, *, tex: float, scale: Scale, errors: WeighingErrors, tails_mm: float
) -> ThreadReading:
    """Return a thread that spool or bobbin became lighter by, its ``tails_mm`` taken off."""
    length_mm = weight_mg / tex * 1000 - tails_mm
    return ThreadReading(length_mm, math.hypot(errors.sigma_mg(scale) / tex * 1000, UNEVEN * length_mm))


@dataclass(frozen=True)
class LaySolved:
    """t, q and κ with one sigma each, and how badly the six readings agree with them.

    ``misfit`` is the sum of squares of the readings' errors in sigmas, over ``freedom`` readings more than needed.
    """

    thickness_mm: tuple[float, float]
    interlock_depth: tuple[float, float]
    kappa: tuple[float, float]
    misfit: float
    freedom: int

    @property
    def is_odd(self) -> bool:
        """Whether the readings disagree more than one in a hundred times: one of them is likely wrong.

        By Wilson and Hilferty's approximation of chi-squared (1931, from memory).
        """
        part = 2 / (9 * self.freedom)
        return self.misfit > self.freedom * (1 - part + float(ndtri(0.99)) * math.sqrt(part)) ** 3


def lay_from_threads(
    sums: Sequence[BlockSums],
    readings: Sequence[PartReadings],
    *,
    needle_tex_sigma: float = 0.0,
    bobbin_tex_sigma: float = 0.0,
) -> LaySolved:
    """Return t, q and κ that the threads of these parts tell; of thread that was measured the tex does not matter.

    >>> strip = strip_to_measure()
    >>> readings = [
    ...     PartReadings(
    ...         measured_reading(each.drawn_mm + 2 * 0.7 * each.penetrations + 2 * 0.3 * each.back_draw_mm),
    ...         measured_reading(float(np.interp(0.3, KAPPA_GRID, each.bobbin_path_mm)) + 2 * 0.3 * each.penetrations),
    ...     )
    ...     for each in strip.sums
    ... ]
    >>> solved = lay_from_threads(strip.sums, readings)
    >>> [round(value, 3) for value, _ in (solved.thickness_mm, solved.interlock_depth, solved.kappa)]
    [1.0, 0.7, 0.3]
    """
    for name, each in zip(PARTS, readings, strict=True):
        for nothing, one in (
            (N_("The needle thread of the {part} comes to nothing; measure or weigh it again."), each.needle),
            (N_("The bobbin thread of the {part} comes to nothing; measure or weigh it again."), each.bobbin),
        ):
            if not (math.isfinite(one.length_mm) and one.length_mm > 0):
                raise WorkshopError(_(nothing).format(part=_(name)))
    drawn = np.array([each.drawn_mm for each in sums])
    through = 2.0 * np.array([each.penetrations for each in sums])
    back_draw = 2.0 * np.array([each.back_draw_mm for each in sums])
    paths = np.array([each.bobbin_path_mm for each in sums])
    read = np.array(
        [[each.needle.length_mm for each in readings], [each.bobbin.length_mm for each in readings]]
    )
    sigma = np.array(
        [[each.needle.sigma_mm for each in readings], [each.bobbin.sigma_mm for each in readings]]
    )
    tex_sigma = np.array([needle_tex_sigma, bobbin_tex_sigma])
    is_weighed = tex_sigma > 0

    def off(x: Floats) -> Floats:
        """How far readings and tex are from what x = (q t, (1 − q) t, κ, ln of both tex errors) says, in sigmas."""
        path = np.array([np.interp(x[2], KAPPA_GRID, each) for each in paths])
        told = np.stack([drawn + through * x[0] + back_draw * x[2], path + through * x[1]])
        told *= np.exp(np.where(is_weighed, x[3:], 0.0))[:, None]
        return np.concatenate([((told - read) / sigma).ravel(), x[3:] / np.where(is_weighed, tex_sigma, 1.0)])

    start = np.array([0.75, 0.25, 0.25, 0.0, 0.0])
    bounds = ([0.0, 0.0, 0.0, -0.7, -0.7], [20.0, 20.0, 0.5, 0.7, 0.7])
    found = least_squares(off, start, bounds=bounds, x_scale=[0.5, 0.5, 0.1, 0.05, 0.05], diff_step=1e-4)
    # Between the points of the grid the bobbin's path is straight: a step over them tells how it bends.
    slopes = _slopes(off, found.x)
    covariance = np.linalg.inv(slopes.T @ slopes)
    behind, before, kappa = found.x[:3]
    thickness = behind + before
    if thickness <= 0:
        raise WorkshopError(_("By these readings the cloth is of no thickness; measure or weigh again."))
    depth = behind / thickness
    of_depth = np.array([before, -behind]) / thickness**2
    return LaySolved(
        thickness_mm=(float(thickness), math.sqrt(float(covariance[:2, :2].sum()))),
        interlock_depth=(float(depth), math.sqrt(float(of_depth @ covariance[:2, :2] @ of_depth))),
        kappa=(float(kappa), math.sqrt(float(covariance[2, 2]))),
        misfit=float(2 * found.cost),
        freedom=3,
    )


def _slopes(off, at: Floats) -> Floats:  # type: ignore[no-untyped-def]
    """Return ∂ off / ∂ x by central differences: shape (readings, unknowns)."""
    columns = []
    for place, step in enumerate((1e-3, 1e-3, 0.02, 1e-3, 1e-3)):
        low, high = at.copy(), at.copy()
        low[place] -= step
        high[place] += step
        if place == 2:
            low[2], high[2] = max(0.0, low[2]), min(0.5, high[2])
        columns.append((off(high) - off(low)) / (high[place] - low[place]))
    return np.column_stack(columns)
