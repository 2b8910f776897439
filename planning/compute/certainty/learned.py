"""What weigh-backs teach of a use factor, with the odd ones marked instead of swallowed.

One weigh-back may be wrong by a whole spool: the other of two spools was weighed, a cone was wound over, a job
stitched twice. Such a one is far from what all the others say. It is marked and left out until a person says that
it was right.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from scipy.special import ndtri

from inventory.compute.errors import WorkshopError
from planning.compute.certainty.enough import Factor, WeighBack, posterior

# As many standard deviations from what the others say; one in 370 honest weigh-backs lies beyond.
OUTLIER_BEYOND = 3.0


@dataclass(frozen=True)
class JudgedObservation:
    """An observation, how far it lies from what the others say (in standard deviations), and whether it counts.

    ``is_outlier`` is what the rule says, ``counts`` what holds: a person's word goes before the rule's.
    """

    observation: WeighBack
    residual: float
    is_outlier: bool
    counts: bool


@dataclass(frozen=True)
class Taught:
    """The factor after all observations that count."""

    factor: Factor
    observations: tuple[JudgedObservation, ...]

    @property
    def outliers(self) -> tuple[JudgedObservation, ...]:
        return tuple(each for each in self.observations if each.is_outlier)


def learn(
    prior: Factor, observations: Sequence[WeighBack], *, said: Mapping[int, bool] | None = None
) -> Taught:
    """Return the factor that the observations teach, and how each of them was judged.

    An observation's residual is held against the factor learned from all *other* usual ones, with its own
    weighing error and the scatter from job to job. The furthest beyond 3 is left out first, and the rest are judged
    anew: one bad weigh-back must not make good ones look bad. ``said`` maps an observation's index to a person's
    word: True, it counts, however odd; False, it does not.

    >>> prior = Factor(mean_log=0.0, sigma=0.12, scatter=0.06)
    >>> usual = [WeighBack(x, 0.02) for x in (0.05, 0.08, 0.02, 0.06)]
    >>> learned = learn(prior, [*usual, WeighBack(0.9, 0.02)])
    >>> [each.is_outlier for each in learned.observations], round(learned.factor.mean_log, 3)
    ([False, False, False, False, True], 0.049)
    >>> round(learn(prior, [*usual, WeighBack(0.9, 0.02)], said={4: True}).factor.mean_log, 3)
    0.21
    """
    said = dict(said or {})
    if any(not 0 <= at < len(observations) for at in said):
        raise WorkshopError(
            f"A word is given on weigh-back {max(said) + 1}, but there are {len(observations)}."
        )
    usual = {at for at in range(len(observations)) if said.get(at, True)}
    while True:
        residuals = _residuals(prior, observations, usual)
        judged = [at for at in usual if abs(residuals[at]) > OUTLIER_BEYOND]
        if not judged:
            break
        usual.remove(max(judged, key=lambda at: abs(residuals[at])))
    # What a person vouches for counts, but the others are not judged by it: they are not odd for its sake.
    counting = {at for at in range(len(observations)) if said.get(at, at in usual)}
    return Taught(
        factor=posterior(prior, [observations[at] for at in sorted(counting)]),
        observations=tuple(
            JudgedObservation(each, residual, abs(residual) > OUTLIER_BEYOND, at in counting)
            for at, (each, residual) in enumerate(zip(observations, residuals, strict=True))
        ),
    )


def _residuals(prior: Factor, observations: Sequence[WeighBack], usual: set[int]) -> list[float]:
    """Return for each observation how far it is from what the other usual ones say, in standard deviations."""
    found = []
    for at, each in enumerate(observations):
        others = posterior(prior, [observations[other] for other in sorted(usual - {at})])
        spread = math.hypot(others.predictive_sigma, each.sigma)
        found.append((each.log_ratio - others.mean_log) / spread if spread else 0.0)
    return found


def factor_interval(factor: Factor, *, share: float) -> tuple[float, float]:
    """Return between which two values the factor of the next job lies with this probability, the middle part.

    >>> low, high = factor_interval(Factor(mean_log=0.0, sigma=0.08, scatter=0.06), share=0.95)
    >>> round(low, 3), round(high, 3)
    (0.822, 1.217)
    """
    if not 0 < share < 1:
        raise WorkshopError(f"No interval holds a share of {share}; give one between 0 and 1, such as 0.8.")
    reach = float(ndtri((1 + share) / 2)) * factor.predictive_sigma
    return math.exp(factor.mean_log - reach), math.exp(factor.mean_log + reach)


def need_interval(geometry_mm: float, factor: Factor, *, share: float) -> tuple[float, float]:
    """Return between which two lengths in mm a job's use lies with this probability.

    >>> low, high = need_interval(1000.0, Factor(mean_log=0.0, sigma=0.08, scatter=0.06), share=0.95)
    >>> round(low), round(high)
    (822, 1217)
    """
    low, high = factor_interval(factor, share=share)
    return geometry_mm * low, geometry_mm * high
