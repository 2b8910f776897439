"""What is believed of a use factor: of Z in actual use = geometry × e^Z, as a normal or a mixture of normals.

A single normal is a mixture of one. A mixture is what the weigh-backs of a machine leave when neither its scatter
nor whether it changed is known for certain; it answers by a table of its cumulative, made once.
"""

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from inventory.compute.errors import WorkshopError
from inventory.compute.later import later
from inventory.compute.spoken import N_, _

if TYPE_CHECKING:
    from scipy.special import ndtr, ndtri
else:
    ndtr, ndtri = later("scipy.special", "ndtr", "ndtri")

Floats = NDArray[np.float64]

SCATTER = 0.06  # from job to job, as a standard deviation of the logarithm

# The table of a mixture: close points about the median, far ones in the tails; the cumulative read between two of
# them is off by less than 2e-4 while no part is narrower than 0.02.
_TABLE_CORE, _TABLE_REACH, _TABLE_POINTS = 0.05, 8.0, 1025
_TABLE = _TABLE_CORE * np.sinh(np.linspace(-1, 1, _TABLE_POINTS) * math.asinh(_TABLE_REACH / _TABLE_CORE))

# Parts whose means and widths lie closer than this are told as one, with their moments kept.
_MEAN_STEP, _WIDTH_STEP = 0.01, 0.08


class NormalPart(NamedTuple):
    """One normal of a mixture: its weight, and the mean and standard deviation of Z under it."""

    weight: float
    mean: float
    sd: float


@dataclass(frozen=True)
class Factor:
    """What is believed of ln(actual use / geometry), and how far one job strays from it.

    ``mean_log`` is the logarithm of the median, ``sigma`` how well that is known, ``scatter`` how far one job strays
    from it. Without ``parts`` Z is normal; with them it is their mixture, and the two are a summary of it.
    """

    mean_log: float
    sigma: float
    scatter: float = SCATTER
    parts: tuple[NormalPart, ...] = ()

    def __post_init__(self) -> None:
        if not math.isfinite(self.mean_log):
            raise WorkshopError(
                _("The mean of a use factor is {mean_log}; give a number.").format(mean_log=self.mean_log)
            )
        for value, what in ((self.sigma, N_("sigma")), (self.scatter, N_("scatter"))):
            if not (math.isfinite(value) and value >= 0):
                raise WorkshopError(
                    _("The {what} of a use factor is {value}; give 0 or more.").format(
                        what=_(what), value=value
                    )
                )

    def __hash__(self) -> int:
        # Plans look factors up by the thousand; hashing every part each time would take most of their time.
        return hash((self.mean_log, self.sigma, self.scatter, len(self.parts)))

    @property
    def median(self) -> float:
        """The factor that actual use is as likely to exceed as not."""
        return math.exp(self.mean_log)

    @cached_property
    def about_one(self) -> "Factor":
        """The same spread about a median of one: for lengths that were scaled by the median already."""
        moved = tuple(NormalPart(part.weight, part.mean - self.mean_log, part.sd) for part in self.parts)
        return Factor(mean_log=0.0, sigma=self.sigma, scatter=self.scatter, parts=moved)

    @cached_property
    def predictive_sigma(self) -> float:
        """The sigma of Z for the next job: what is not known of the factor, and the scatter on top.

        Of a mixture it is that of the normal with the same median and the same 95 % point, where plans look.
        """
        if self.parts:
            return (self.quantile(0.95) - self.mean_log) / float(ndtri(0.95))
        return math.hypot(self.sigma, self.scatter)

    @cached_property
    def made(self) -> dict[float, object]:
        """What was worked out of this factor, by certainty: its curves."""
        return {}

    @cached_property
    def table(self) -> tuple[Floats, Floats]:
        """Points of Z and its cumulative at them, both rising: shape (points,)."""
        weights, means, sds = (np.array(column) for column in zip(*self._told_parts, strict=True))
        z = self.mean_log + _TABLE
        return z, np.asarray(weights @ ndtr((z - means[:, None]) / sds[:, None]))

    @property
    def _told_parts(self) -> tuple[NormalPart, ...]:
        return self.parts or (NormalPart(1.0, self.mean_log, self.predictive_sigma),)

    def cumulative(self, z: ArrayLike) -> Floats:
        """Return P(Z ≤ z), of the shape of ``z``."""
        if self.parts:
            return np.asarray(np.interp(np.asarray(z, dtype=np.float64), *self.table))
        return np.asarray(ndtr((np.asarray(z) - self.mean_log) / self.predictive_sigma))

    def quantile(self, p: float) -> float:
        """Return the z that Z stays below with probability ``p``.

        >>> round(Factor(0.0, 0.08, 0.06).quantile(0.95), 4)
        0.1645
        """
        if self.parts:
            z, cumulative = self.table
            at = int(np.searchsorted(cumulative, p))
            # Far out the table is flat to the last digit; the nearest point is as good as any.
            low, high = max(0, at - 1), min(at, len(z) - 1)
            step = cumulative[high] - cumulative[low]
            share = (p - cumulative[low]) / step if step > 0 else 0.0
            return float(z[low] + share * (z[high] - z[low]))
        return self.mean_log + float(ndtri(p)) * self.predictive_sigma

    def mean_of_exp(self) -> float:
        """Return the mean of e^Z."""
        return math.fsum(part.weight * math.exp(part.mean + part.sd**2 / 2) for part in self._told_parts)

    def widened(self, sigma: float) -> "Factor":
        """Return the factor with an independent normal error of ``sigma`` on top.

        >>> Factor(0.0, 0.03, 0.0).widened(0.04).predictive_sigma
        0.05
        """
        if not self.parts:
            return Factor(self.mean_log, self.sigma, math.hypot(self.scatter, sigma))
        if sigma not in self._wider:
            self._wider[sigma] = mixture(
                [part.weight for part in self.parts],
                [part.mean for part in self.parts],
                [math.hypot(part.sd, sigma) for part in self.parts],
                sigma=self.sigma,
                scatter=math.hypot(self.scatter, sigma),
            )
        return self._wider[sigma]

    @cached_property
    def _wider(self) -> dict[float, "Factor"]:
        """The factor with more error on top, by that error: made once each."""
        return {}


def mixture(
    weights: ArrayLike, means: ArrayLike, sds: ArrayLike, *, sigma: float, scatter: float = SCATTER
) -> Factor:
    """Return the factor whose Z is a mixture of normals, shapes (n,) each; weights need not add up to one.

    Parts that can hardly be told apart are put together with their moments kept. ``sigma`` and ``scatter`` say how
    well the level is known and how far one job strays from it.

    >>> one = mixture([2.0], [0.1], [0.05], sigma=0.04, scatter=0.03)
    >>> round(one.mean_log, 6), round(one.predictive_sigma, 4)
    (0.1, 0.05)
    """
    weight, mean, sd = (np.ravel(np.asarray(each, dtype=np.float64)) for each in (weights, means, sds))
    kept = weight > 1e-9 * weight.sum()
    weight, mean, sd = weight[kept] / weight[kept].sum(), mean[kept], sd[kept]
    if not (len(weight) and np.isfinite(mean).all() and (sd > 0).all()):
        raise WorkshopError(_("A use factor needs at least one normal with a width above 0."))
    keys = np.round(np.log(sd) / _WIDTH_STEP) * 1_000_000 + np.round(mean / _MEAN_STEP)
    __, group = np.unique(keys, return_inverse=True)
    w = np.bincount(group, weight)
    m = np.bincount(group, weight * mean) / w
    second = np.bincount(group, weight * (sd**2 + mean**2)) / w
    parts = tuple(
        NormalPart(float(a), float(b), math.sqrt(max(c - b * b, 1e-12)))
        for a, b, c in zip(w, m, second, strict=True)
    )
    about = Factor(float(w @ m), sigma, scatter, parts)
    return Factor(about.quantile(0.5), sigma, scatter, parts)
