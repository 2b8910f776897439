"""What the weigh-backs of a machine teach: its factors, how often what was stated held, and what changed when.

Nothing is thrown out: a weigh-back far from the others weighs little by itself, and is marked. What is learned is a
pure function of what was weighed and told, so that it can be kept and worked out again, bit for bit the same.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from inventory.compute.errors import WorkshopError
from inventory.compute.later import later
from inventory.compute.spoken import _
from planning.compute.certainty import machine
from planning.compute.certainty.factor import Factor

if TYPE_CHECKING:
    from scipy.special import bdtr, ndtr
else:
    bdtr, ndtr = later("scipy.special", "bdtr", "ndtr")

# ∂ ln geometry / ∂κ of a usual job, half satin and half fill; used where nobody kept a job's own, which is then off by
# a standard deviation of so much. By reckoning on designs, not by measuring.
USUAL_SLOPES = (0.5, -1.5)
SLOPE_SD = 0.6
# A factor is made for a slope to one decimal, so that a season needs few curves: beside a κ off by 0.12 the rest is
# 0.6 % of the length.
SLOPE_STEP = 0.1
IN_A_ROW = 20  # so many of the last weigh-backs are told of
ODD_AT = 0.5


@dataclass(frozen=True)
class UseSeen:
    """What one weigh-back tells: ln(actual / geometry) and its error, of which kind of use and which range.

    ``slope`` is ∂ ln geometry / ∂κ of what was stitched, None where it was not kept. ``said`` is a person's word: True,
    it counts in full, however odd; False, it does not count; None, nothing was said.
    """

    kind: int
    range: int
    log_ratio: float
    sigma: float
    slope: float | None = None
    said: bool | None = None

    def __post_init__(self) -> None:
        if not math.isfinite(self.log_ratio):
            raise WorkshopError(
                _("A ln(actual / geometry) of {log_ratio} teaches nothing; leave it out.").format(
                    log_ratio=self.log_ratio
                )
            )
        if not (math.isfinite(self.sigma) and self.sigma >= 0):
            raise WorkshopError(
                _("The sigma of an observation is {sigma}; give 0 or more.").format(sigma=self.sigma)
            )


@dataclass(frozen=True)
class WeighedJob:
    """All that was weighed of one job; ``told_changed`` where a person said that the machine was set otherwise."""

    weigh_backs: tuple[UseSeen, ...]
    told_changed: bool = False


@dataclass(frozen=True)
class Judged:
    """A weigh-back as it was met: where it fell in what was stated before (0 to 1), and how likely it was odd."""

    place: float
    odd: float
    counts: bool

    @property
    def inside(self) -> bool:
        """Whether it fell inside the stated 95 % band."""
        return abs(self.place - 0.5) <= 0.475

    @property
    def is_odd(self) -> bool:
        return self.odd >= ODD_AT


@dataclass(frozen=True)
class InsideBand:
    """How often what was stated held: of the last ``of`` weigh-backs, ``inside`` fell inside the 95 % band."""

    of: int
    inside: int

    @property
    def is_too_few(self) -> bool:
        """Whether so few would come by chance less than once in twenty, if the bands were right.

        >>> InsideBand(20, 18).is_too_few, InsideBand(20, 15).is_too_few, InsideBand(0, 0).is_too_few
        (False, True, False)
        """
        return self.of > 0 and bool(bdtr(self.inside, self.of, 0.95) < 0.05)


@dataclass(frozen=True)
class Taught:
    """What a machine taught: ``judged`` job by job as given, and the changes it told of, by the number of the job."""

    belief: machine.Belief
    ranges: tuple[tuple[int, int], ...]
    judged: tuple[tuple[Judged, ...], ...]
    changes: tuple[machine.MachineChange, ...]
    _made: dict[tuple[int, int | None, float], Factor] = field(
        default_factory=dict, compare=False, repr=False
    )

    def factor(self, kind: int, range: int, *, slope: float | None = None) -> Factor:
        """Return what is believed of the next job's use; a range that was never weighed starts from the others."""
        known = (kind, range) in self.ranges
        wanted = round((USUAL_SLOPES[kind] if slope is None else slope) / SLOPE_STEP) * SLOPE_STEP
        key = (kind, range if known else None, wanted)
        if key not in self._made:
            looks = _looks(self.belief.prior, self.ranges, kind, range, wanted)
            self._made[key] = machine.factor_of(self.belief, looks, new_range=not known)
        return self._made[key]

    def kept(
        self, kind: int | None = None, *, jobs: Sequence[WeighedJob], last: int = IN_A_ROW
    ) -> InsideBand:
        """Return how the last weigh-backs fell, of one kind of use or of all, of the ``jobs`` this was learned from."""
        counted = [
            judged
            for job, answers in zip(jobs, self.judged, strict=True)
            for each, judged in zip(job.weigh_backs, answers, strict=True)
            if judged.counts and kind in (None, each.kind)
        ][-last:]
        return InsideBand(len(counted), sum(each.inside for each in counted))


def thread_prior(bobbin_start: float = 1.0) -> machine.Prior:
    """Return what is believed of needle and bobbin thread before any weigh-back.

    The levels' spread is what published rules disagree by: needle thread 4.6 to 5.2 m per 1,000 stitches, bobbin thread
    2.5 to 3.5 m (thread makers' rules of thumb).
    """
    return machine.Prior(levels=(0.0, math.log(bobbin_start)), level_sds=(0.10, 0.165), jumps=(0.15, 0.20))


def sigma_of_change(kind: int, *, slope: float | None = None) -> float:
    """Return how far, as a share, thread of this kind may go otherwise once somebody has turned a screw.

    >>> round(sigma_of_change(0), 3), round(sigma_of_change(1), 3)
    (0.158, 0.25)
    """
    prior = thread_prior()
    return math.hypot(prior.jumps[kind], prior.kappa_jump * (USUAL_SLOPES[kind] if slope is None else slope))


# Effective speed strays more from machine to machine than from job to job: common practice, no source.
TIME_PRIOR = machine.Prior(
    levels=(0.0,),
    level_sds=(0.20,),
    jumps=(0.15,),
    kappa_sd=0.0,
    kappa_jump=0.0,
    scatter=0.08,
    range_sds=((0.0, 1.0),),
)


@lru_cache(maxsize=64)
def learn(prior: machine.Prior, jobs: tuple[WeighedJob, ...], *, changed_since: bool = False) -> Taught:
    """Return what ``jobs``, oldest first, teach of a machine; ``changed_since`` the last one, by a person's word.

    >>> usual = WeighedJob((UseSeen(0, 7, 0.05, 0.02),))
    >>> odd = WeighedJob((UseSeen(0, 7, 0.9, 0.02),))
    >>> taught = learn(thread_prior(), (usual,) * 4 + (odd,))
    >>> round(taught.factor(0, 7).median, 2), taught.judged[4][0].is_odd
    (1.06, True)
    """
    ranges = tuple(sorted({(each.kind, each.range) for job in jobs for each in job.weigh_backs}))
    prior = replace(prior, ranges=len(ranges))
    belief = machine.untaught(prior)
    judged, changes = [], list[machine.MachineChange]()
    for job in jobs:
        belief = machine.begin_job(belief, changed=1.0 if job.told_changed else machine.HAZARD)
        belief, answers = _weighed(belief, job, ranges)
        judged.append(answers)
        seen = machine.change_seen(belief, USUAL_SLOPES[: len(prior.levels)])
        if seen is not None:
            # The same change, told better by every job after it; another one stands beside it.
            if changes and abs(changes[-1].job - seen.job) <= 3:
                changes.pop()
            changes.append(seen)
    belief = machine.begin_job(belief, changed=1.0 if changed_since else machine.HAZARD)
    return Taught(belief, ranges, tuple(judged), tuple(changes))


def _weighed(
    belief: machine.Belief, job: WeighedJob, ranges: tuple[tuple[int, int], ...]
) -> tuple[machine.Belief, tuple[Judged, ...]]:
    """Return the belief after a job, and where each weigh-back fell in what was stated before the job."""
    prior = belief.prior
    about = []
    for each in job.weigh_backs:
        slope, error = each.slope, each.sigma
        if slope is None:
            slope, error = USUAL_SLOPES[each.kind], math.hypot(each.sigma, SLOPE_SD * prior.kappa_sd)
        looks = _looks(prior, ranges, each.kind, each.range, slope)
        weights, means, sds = machine.next_job(belief, looks)
        place = float(weights @ ndtr((each.log_ratio - means) / np.hypot(sds, error)))
        about.append((each, looks, error, place))
    answers = []
    for each, looks, error, place in about:
        odd = 0.0
        if each.said is not False:
            belief, chance = machine.observe(
                belief, looks, log_ratio=each.log_ratio, sigma=error, may_be_odd=each.said is None
            )
            odd = float(chance)
        answers.append(Judged(place, odd, each.said is not False))
    return belief, tuple(answers)


def _looks(
    prior: machine.Prior, ranges: tuple[tuple[int, int], ...], kind: int, range: int, slope: float
) -> dict[int, float]:
    looks = {kind: 1.0}
    if prior.kappa_sd:
        looks[prior.kappa] = slope
    if (kind, range) in ranges:
        looks[prior.range_place(ranges.index((kind, range)))] = 1.0
    return looks


def factor_interval(factor: Factor, *, share: float) -> tuple[float, float]:
    """Return between which two values the factor of the next job lies with this probability, the middle part.

    >>> low, high = factor_interval(Factor(mean_log=0.0, sigma=0.08, scatter=0.06), share=0.95)
    >>> round(low, 3), round(high, 3)
    (0.822, 1.217)
    """
    if not 0 < share < 1:
        raise WorkshopError(
            _("No interval holds a share of {share}; give one between 0 and 1, such as 0.8.").format(
                share=share
            )
        )
    return math.exp(factor.quantile((1 - share) / 2)), math.exp(factor.quantile((1 + share) / 2))


def need_interval(geometry_mm: float, factor: Factor, *, share: float) -> tuple[float, float]:
    """Return between which two lengths in mm a job's use lies with this probability.

    >>> low, high = need_interval(1000.0, Factor(mean_log=0.0, sigma=0.08, scatter=0.06), share=0.95)
    >>> round(low), round(high)
    (822, 1217)
    """
    low, high = factor_interval(factor, share=share)
    return geometry_mm * low, geometry_mm * high
