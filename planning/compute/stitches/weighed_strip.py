"""A strip to stitch and weigh: from its back comes κ, from its weight the two use factors.

It has satin columns of known widths, a running line and a fill, one after the other in one thread without a cut,
so that the tails weigh little. The fill is made as large as the scale needs it. On the back of a satin column the
bobbin thread shows over the share b = 1 − 2κ of the width; equal thirds (κ = 1/3) are common practice, no source.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import N_, _, as_written_here, figure, plainly
from inventory.compute.units import told_sides
from planning.compute.certainty.enough import Factor, WeighBack, posterior
from planning.compute.stitches.thread_length import (
    BlockSums,
    ThreadSettings,
    block_sums,
    bobbin_laid_mm,
    needle_laid_mm,
)

SATIN_WIDTHS_MM = (3.0, 5.0, 7.0)
SATIN_ADVANCE_MM = 0.4  # per penetration, so the thread of one side lies every 0.8 mm
RUNNING_STITCH_MM = 2.5
FILL_STITCH_MM = 4.0
FILL_SPACING_MM = 0.4
APART_MM = 3.0  # between two parts
MOST_STITCHES = 50_000
LEAST_ERROR, MOST_ERROR = 0.001, 0.5  # a relative error that may be asked for


@dataclass(frozen=True)
class StripPart:
    """A part of the strip: its penetrations ``first``…``last`` (both included), and the path drawn from the former
    to the latter. ``width_mm`` is that of a satin column, 0 elsewhere."""

    name: str
    first: int
    last: int
    drawn_mm: float
    width_mm: float = 0.0


@dataclass(frozen=True, eq=False)
class WeighedStrip:
    """The strip: penetrations in mm on a grid of 0.1 mm (y downwards), its parts, and the sums of its thread."""

    points_mm: NDArray[np.float64]
    parts: tuple[StripPart, ...]
    sums: BlockSums

    @property
    def size_mm(self) -> tuple[float, float]:
        low, high = self.points_mm.min(axis=0), self.points_mm.max(axis=0)
        return float(high[0] - low[0]), float(high[1] - low[1])

    @property
    def stitches(self) -> int:
        return len(self.points_mm)

    @staticmethod
    def stitches_a_row(width_mm: float) -> int:
        """Return how many stitches a row of fill takes."""
        return len(line_points(width_mm, FILL_STITCH_MM))


@dataclass(frozen=True)
class Scale:
    """A scale that shows whole steps, and the linear densities of what is weighed on it."""

    step_mg: float
    needle_tex: float
    bobbin_tex: float

    def __post_init__(self) -> None:
        for name in ("step_mg", "needle_tex", "bobbin_tex"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value > 0):
                raise WorkshopError(
                    _("{name} is {value}; give a number above 0.").format(name=name, value=value)
                )

    @property
    def sigma_mg(self) -> float:
        """The one-sigma error of a difference of two weighings, each rounded to the step.

        A rounding error is uniform over a step: step / √12 (JCGM 100:2008, 4.3.7).
        """
        return self.step_mg / math.sqrt(6)


def draw_strip(
    scale: Scale,
    *,
    wanted_error: float = 0.03,
    field_mm: tuple[float, float] = (100.0, 100.0),
    settings: ThreadSettings | None = None,
) -> WeighedStrip:
    """Return the smallest strip of which both threads are weighed to the relative ``wanted_error``.

    Its lengths are reckoned with ``settings``. Raises WorkshopError, with what would do, where the strip would not
    fit the ``field_mm`` or takes more than 50,000 stitches.

    >>> strip = draw_strip(Scale(step_mg=10, needle_tex=27.0, bobbin_tex=16.7), wanted_error=0.05)
    >>> [part.name for part in strip.parts]
    ['satin 3 mm', 'satin 5 mm', 'satin 7 mm', 'running line', 'fill']
    """
    if not LEAST_ERROR <= wanted_error <= MOST_ERROR:
        raise WorkshopError(
            _("A relative error of {wanted_error} is no aim; give a share such as 0.03 (3 %).").format(
                wanted_error=wanted_error
            )
        )
    settings = settings or ThreadSettings()
    width_mm = math.floor(field_mm[0] / FILL_STITCH_MM) * FILL_STITCH_MM
    least = _strip(width_mm, rows=2)
    if width_mm < 40 or least.size_mm[1] > field_mm[1]:
        raise WorkshopError(
            _(
                "A field of {size} is too small for the strip; it needs {across} across and {along} along."
            ).format(
                size=told_sides(*field_mm), across=told_sides(40), along=told_sides(round(least.size_mm[1]))
            )
        )
    most_rows = 2 + math.floor((field_mm[1] - least.size_mm[1]) / FILL_SPACING_MM)
    # A row takes as many stitches as the first, so that no more than these are sewn in time.
    in_time = 2 + (MOST_STITCHES - least.stitches) // (least.stitches_a_row(width_mm) + 1)
    most_rows = min(most_rows, in_time) // 2 * 2
    rows = _rows_needed(scale, least, width_mm, wanted_error, settings)
    if rows > most_rows:
        best = weighing_errors(scale, _strip(width_mm, rows=most_rows), settings)
        raise WorkshopError(
            _("On a scale of {step} mg steps the strip would not fit {size}. {advice}").format(
                step=plainly(scale.step_mg),
                size=told_sides(*field_mm),
                advice=advice(max(best)),
            )
        )
    return _strip(width_mm, rows=rows)


def advice(least_error: float) -> str:
    """Return what would do where a strip is too small: an error is named only if it would be taken.

    >>> advice(0.0412)
    'There the error comes to 4.2 %: accept that, take a larger hoop, or a finer scale.'
    >>> advice(0.7)
    'Take a larger hoop, or a finer scale.'
    """
    reached = math.ceil(least_error * 1000 * (1 + 1e-9)) / 1000
    if reached > MOST_ERROR:
        return _("Take a larger hoop, or a finer scale.")
    return _(
        "There the error comes to {percent} %: accept that, take a larger hoop, or a finer scale."
    ).format(percent=figure(reached * 100, 1))


def weighing_errors(scale: Scale, strip: WeighedStrip, settings: ThreadSettings) -> tuple[float, float]:
    """Return the relative one-sigma errors with which needle and bobbin thread of the strip are weighed."""
    return (
        scale.sigma_mg / (needle_laid_mm(strip.sums, settings) / 1000 * scale.needle_tex),
        scale.sigma_mg / (bobbin_laid_mm(strip.sums, settings) / 1000 * scale.bobbin_tex),
    )


def _rows_needed(
    scale: Scale, least: WeighedStrip, width_mm: float, wanted_error: float, settings: ThreadSettings
) -> int:
    """Return the rows of fill at which both threads weigh enough. Each two rows add the same."""
    more = _strip(width_mm, rows=102)
    rows = 2
    for mm, tex in ((needle_laid_mm, scale.needle_tex), (bobbin_laid_mm, scale.bobbin_tex)):
        wanted_mm = scale.sigma_mg / wanted_error / tex * 1000
        there_mm = mm(least.sums, settings)
        a_row_mm = (mm(more.sums, settings) - there_mm) / 100
        rows = max(rows, 2 + math.ceil((wanted_mm - there_mm) / a_row_mm))
    return rows + rows % 2


def _strip(width_mm: float, *, rows: int) -> WeighedStrip:
    """Return the strip of this width with so many rows of fill, drawn from the top without a cut."""
    points: list[NDArray[np.float64]] = []
    parts: list[tuple[str, float]] = []
    top, from_left = 0.0, True
    for satin_mm in SATIN_WIDTHS_MM:
        points.append(turned_points(satin_points(width_mm, satin_mm), top, width_mm, from_left))
        parts.append((f"satin {satin_mm:g} mm", satin_mm))
        top, from_left = top + satin_mm + APART_MM, not from_left
    points.append(turned_points(line_points(width_mm, RUNNING_STITCH_MM), top, width_mm, from_left))
    parts.append(("running line", 0.0))
    top, from_left = top + APART_MM, not from_left
    points.append(turned_points(fill_points(width_mm, rows), top, width_mm, from_left))
    parts.append(("fill", 0.0))

    path, told = [points[0]], [(0, len(points[0]) - 1)]
    for before, after in pairwise(points):
        between = points_between(before[-1], after[0])
        first = told[-1][1] + 1 + len(between)
        told.append((first, first + len(after) - 1))
        path += [between, after]
    all_points = np.concatenate(path)
    lengths = np.hypot(*np.diff(all_points, axis=0).T)
    return WeighedStrip(
        points_mm=all_points,
        parts=tuple(
            StripPart(name, first, last, float(lengths[first:last].sum()), satin_mm)
            for (name, satin_mm), (first, last) in zip(parts, told, strict=True)
        ),
        sums=block_sums(all_points, [0], trims=1),
    )


def turned_points(
    part: NDArray[np.float64], top_mm: float, width_mm: float, from_left: bool
) -> NDArray[np.float64]:
    """Return a part moved to its place, mirrored where it starts from the right."""
    x = part[:, 0] if from_left else width_mm - part[:, 0]
    return np.column_stack([x, part[:, 1] + top_mm]).round(1)


def satin_points(length_mm: float, width_mm: float) -> NDArray[np.float64]:
    along = np.arange(0, length_mm + 1e-9, SATIN_ADVANCE_MM)
    return np.column_stack([along, np.arange(len(along)) % 2 * width_mm])


def line_points(length_mm: float, stitch_mm: float) -> NDArray[np.float64]:
    along = np.arange(0, length_mm + 1e-9, stitch_mm)
    return np.column_stack([along, np.zeros(len(along))])


def fill_points(width_mm: float, rows: int) -> NDArray[np.float64]:
    row = line_points(width_mm, FILL_STITCH_MM)
    return np.concatenate(
        [
            np.column_stack(
                [(row[:, 0] if number % 2 == 0 else row[::-1, 0]), row[:, 1] + number * FILL_SPACING_MM]
            )
            for number in range(rows)
        ]
    )


def points_between(start: NDArray[np.float64], end: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return running stitches that lead from one part to the next, both ends left out."""
    steps = math.ceil(float(np.hypot(*(end - start))) / RUNNING_STITCH_MM)
    shares = np.arange(1, steps)[:, None] / steps
    return (start + shares * (end - start)).round(1)


@dataclass(frozen=True)
class StripMeasured:
    """What a person reads and weighs. ``light_share`` is b, the width that the bobbin thread shows over.

    ``needle_mg`` is what spool and ``bobbin_mg`` what bobbin became lighter. ``path_mm`` of needle thread went with
    them that is not in the strip: between spool and needle.
    """

    light_share: float
    light_sigma: float
    needle_mg: float
    bobbin_mg: float
    path_mm: float = 0.0


@dataclass(frozen=True)
class StripResult:
    """κ and the two factors, each with its one-sigma error; the observations are what they teach."""

    kappa: float
    kappa_sigma: float
    needle: WeighBack
    bobbin: WeighBack

    @property
    def needle_factor(self) -> tuple[float, float]:
        return _with_error(self.needle)

    @property
    def bobbin_factor(self) -> tuple[float, float]:
        return _with_error(self.bobbin)


def kappa_from_light_strip(share: float) -> float:
    """Return κ of a satin column on whose back the bobbin thread shows over this share of the width.

    >>> round(kappa_from_light_strip(1 / 3), 4), kappa_from_light_strip(1.0), kappa_from_light_strip(0.0)
    (0.3333, 0.0, 0.5)
    """
    if not 0 <= share <= 1:
        raise WorkshopError(
            _("A light strip over {share} of the width cannot be; measure it again, 0 to 100 %.").format(
                share=as_written_here(f"{share:.0%}")
            )
        )
    return (1 - share) / 2


def strip_result(
    sums: BlockSums, measured: StripMeasured, *, scale: Scale, settings: ThreadSettings
) -> StripResult:
    """Return κ and the factors that the measurements of a strip with these ``sums`` give.

    The error of κ is half that of the share. That of a factor has two parts, taken together as squares: weighing,
    and what the error of κ does to the length that is reckoned. Tails count by ``settings``, its allowance not.
    """
    kappa = kappa_from_light_strip(measured.light_share)
    if not (math.isfinite(measured.light_sigma) and measured.light_sigma >= 0):
        raise WorkshopError(
            _("The error of the light strip is {light_sigma}; give 0 or more.").format(
                light_sigma=measured.light_sigma
            )
        )
    kappa_sigma = measured.light_sigma / 2
    needle_used_mm = measured.needle_mg / scale.needle_tex * 1000 - measured.path_mm
    bobbin_used_mm = measured.bobbin_mg / scale.bobbin_tex * 1000
    observations = []
    for no_lighter, used_mm, mm, tex in (
        (
            N_("The needle thread became no lighter by the strip; weigh it again, before and after."),
            needle_used_mm,
            needle_laid_mm,
            scale.needle_tex,
        ),
        (
            N_("The bobbin thread became no lighter by the strip; weigh it again, before and after."),
            bobbin_used_mm,
            bobbin_laid_mm,
            scale.bobbin_tex,
        ),
    ):
        if not (math.isfinite(used_mm) and used_mm > 0):
            raise WorkshopError(_(no_lighter))
        reckoned, slope = _log_length(mm, sums, settings, kappa)
        weighing = scale.sigma_mg / tex * 1000 / used_mm
        observations.append(
            WeighBack(math.log(used_mm) - reckoned, math.hypot(weighing, slope * kappa_sigma))
        )
    return StripResult(kappa, kappa_sigma, *observations)


def factor_after_strip(prior: Factor, observation: WeighBack) -> Factor:
    """Return what is believed of a factor after the strip, which counts as one job.

    >>> after = factor_after_strip(Factor(0.0, 0.12, 0.06), WeighBack(0.1, 0.03))
    >>> round(after.mean_log, 3), round(after.sigma, 3)
    (0.076, 0.059)
    """
    return posterior(prior, [observation])


def _log_length(
    mm: Callable[[BlockSums, ThreadSettings], float],
    sums: BlockSums,
    settings: ThreadSettings,
    kappa: float,
) -> tuple[float, float]:
    """Return ln of the length reckoned at κ, and how it changes with κ."""

    def log_at(at: float) -> float:
        return math.log(mm(sums, replace(settings, kappa=at, allowance=0.0)))

    low, high = max(0.0, kappa - 0.02), min(0.5, kappa + 0.02)
    return log_at(kappa), (log_at(high) - log_at(low)) / (high - low)


def _with_error(observation: WeighBack) -> tuple[float, float]:
    factor = math.exp(observation.log_ratio)
    return factor, factor * observation.sigma
