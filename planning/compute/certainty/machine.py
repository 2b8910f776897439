"""What weigh-backs teach of a machine: level, tension, scatter and changes, learned together.

A Kalman filter over the state x = (level of each kind of use, δκ, effect of each range), carried in parallel by cells
(how far jobs scatter, how often one is odd, how far ranges differ) and by *runs*: that nothing changed since a given
job. One weigh-back says

    y = ln(actual / geometry) = level + g · δκ + range + ε + weighing,    g = ∂ ln geometry / ∂κ,
    ε ~ (1 − π) N(0, σ²) + π N(0, (4σ)²)

Sources, from memory: Box and Tiao 1968 (contaminated normal), West and Harrison, *Bayesian Forecasting and Dynamic
Models*, ch. 12 (multi-process models); Adams and MacKay 2007 (run lengths; theirs restart, these carry the level over).

All arrays may stand for many machines at once: their shape is (state, …, runs, cells).
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from planning.compute.certainty.factor import Factor, mixture

Floats = NDArray[np.float64]

RUNS = 10  # so many starts of the present run are carried
ODD = 4.0  # an odd job scatters so many times as far

# Judgement, no data: one change in 50 weighed jobs, by 15 to 20 % (1 sigma); the tension κ by 0.10.
HAZARD = 1 / 50
DRIFT = 0.007  # of a level from job to job, as if it wore


@dataclass(frozen=True)
class Prior:
    """What is believed of a machine before anything was weighed: one entry a kind of use, all in logarithms."""

    levels: tuple[float, ...]
    level_sds: tuple[float, ...]
    jumps: tuple[float, ...]
    kappa_sd: float = 0.05
    kappa_jump: float = 0.10
    ranges: int = 0
    scatter: float = 0.06
    scatter_spread: float = 0.45  # worth two to three weigh-backs; ×2 and ×½ lie at 1.5 sigma
    odd: tuple[tuple[float, float], ...] = ((0.01, 0.75), (0.12, 0.25))  # share of odd jobs, and its weight
    range_sds: tuple[tuple[float, float], ...] = ((0.03, 0.25), (0.06, 0.5), (0.12, 0.25))

    @property
    def kappa(self) -> int:
        """The place of δκ in the state."""
        return len(self.levels)

    def range_place(self, number: int) -> int:
        """Return the place of a range's effect in the state."""
        return len(self.levels) + 1 + number

    @property
    def size(self) -> int:
        return len(self.levels) + 1 + self.ranges


@dataclass(frozen=True)
class Cells:
    """What each cell takes for true: shape (cells,) each."""

    sigma: Floats
    odd: Floats
    range_sd: Floats
    weight: Floats


@lru_cache(maxsize=16)
def cells_of(prior: Prior) -> Cells:
    """Return the cells of a prior, their weights adding up to one."""
    steps = np.arange(-3, 5) / 2
    sigma = prior.scatter * 2.0**steps
    of_sigma = np.exp(-0.5 * (steps * math.log(2) / prior.scatter_spread) ** 2)
    grid = np.array(
        [
            (s, p, t, ws * wp * wt)
            for s, ws in zip(sigma, of_sigma / of_sigma.sum(), strict=True)
            for p, wp in prior.odd
            for t, wt in prior.range_sds
        ]
    )
    return Cells(*grid.T)


@dataclass(frozen=True)
class Belief:
    """The state of what is learned: weights (…, runs, cells), means (state, …, runs, cells), covariances.

    ``begun`` is the job at which each run began, ``before`` the means it took over.
    """

    prior: Prior
    weights: Floats
    means: Floats
    covariances: Floats
    begun: NDArray[np.int64]
    before: Floats
    jobs: int = 0

    @property
    def cells(self) -> Cells:
        return cells_of(self.prior)


def untaught(prior: Prior, *, machines: tuple[int, ...] = ()) -> Belief:
    """Return what is believed before anything was weighed, of one machine or of many."""
    cells, size = cells_of(prior), prior.size
    shape = (*machines, RUNS, len(cells.sigma))
    weights = np.zeros(shape)
    weights[..., 0, :] = cells.weight
    means = np.zeros((size, *shape))
    covariances = np.zeros((size, size, *shape))
    for place, (level, sd) in enumerate(zip(prior.levels, prior.level_sds, strict=True)):
        means[place], covariances[place, place] = level, sd**2
    covariances[prior.kappa, prior.kappa] = prior.kappa_sd**2
    for number in range(prior.ranges):
        place = prior.range_place(number)
        covariances[place, place] = cells.range_sd**2
    return Belief(prior, weights, means, covariances, np.zeros((*machines, RUNS), dtype=np.int64), means)


def begin_job(belief: Belief, *, changed: float | NDArray[np.float64] = HAZARD) -> Belief:
    """Return the belief as the next job begins: levels drift a little, and with ``changed`` the machine changed.

    1 where somebody said that it did. The weakest run makes room for the one that begins now.
    """
    prior, jobs = belief.prior, belief.jobs + 1
    if belief.jobs == 0 and np.ndim(changed) == 0 and changed < 1:
        return replace(belief, jobs=jobs)  # the prior speaks of this job already
    covariances = belief.covariances.copy()
    for place in range(len(prior.levels)):
        covariances[place, place] += DRIFT**2
    in_cell = belief.weights.sum(axis=-2)
    share = belief.weights / np.maximum(in_cell, 1e-300)[..., None, :]
    mean = (share * belief.means).sum(axis=-2)
    off = belief.means - mean[..., None, :]
    spread = (share * (covariances + off[:, None] * off[None, :])).sum(axis=-2)
    for place, jump in enumerate(prior.jumps):
        spread[place, place] += jump**2
    spread[prior.kappa, prior.kappa] += prior.kappa_jump**2
    chance = np.asarray(changed, dtype=np.float64)[..., None]
    weakest = belief.weights.sum(axis=-1).argmin(axis=-1)
    here = (np.arange(RUNS) == weakest[..., None])[..., None]
    weights = np.where(here, (chance * in_cell)[..., None, :], (1 - chance)[..., None] * belief.weights)
    return Belief(
        prior,
        weights / weights.sum(axis=(-1, -2), keepdims=True),
        np.where(here, mean[..., None, :], belief.means),
        np.where(here, spread[..., None, :], covariances),
        np.where(here[..., 0], jobs, belief.begun),
        np.where(here, mean[..., None, :], belief.before),
        jobs,
    )


Looks = Mapping[int, float | Floats]  # how a use depends on the state: place to coefficient


def observe(
    belief: Belief, looks: Looks, *, log_ratio: float | Floats, sigma: float | Floats, may_be_odd: bool = True
) -> tuple[Belief, Floats]:
    """Return the belief after one weigh-back, and the probability (…) that its job was odd.

    ``sigma`` is the error of weighing alone. A person's word that it ``may_be_odd`` no more makes it count in full.
    """
    cells = belief.cells
    pull = _pull(belief, looks)
    variance = sum(coefficient(c) * pull[at] for at, c in looks.items()) + np.square(coefficient(sigma))
    off = coefficient(log_ratio) - _seen(belief, looks)
    odd_share = cells.odd if may_be_odd else np.zeros_like(cells.odd)
    s_usual, s_odd = variance + cells.sigma**2, variance + (ODD * cells.sigma) ** 2
    q_usual = (1 - odd_share) * np.exp(-0.5 * off**2 / s_usual) / np.sqrt(s_usual)
    q_odd = odd_share * np.exp(-0.5 * off**2 / s_odd) / np.sqrt(s_odd)
    both = np.maximum(q_usual + q_odd, 1e-300)
    alpha = (q_usual / s_usual + q_odd / s_odd) / both
    beta = (q_usual / s_usual**2 + q_odd / s_odd**2) / both
    weights = belief.weights * both
    total = weights.sum(axis=(-1, -2), keepdims=True)
    weights = weights / total
    covariances = belief.covariances + pull[:, None] * (pull[None, :] * (off**2 * (beta - alpha**2) - alpha))
    after = replace(
        belief, weights=weights, means=belief.means + pull * (off * alpha), covariances=covariances
    )
    return after, np.asarray((weights * q_odd / both).sum(axis=(-1, -2)))


def coefficient(value: float | Floats) -> Floats:
    """Return a number, or one a machine, so that it goes with runs and cells."""
    array = np.asarray(value, dtype=np.float64)
    return array[..., None, None] if array.ndim else array


def _pull(belief: Belief, looks: Looks) -> Floats:
    found = np.zeros_like(belief.means)
    for at, c in looks.items():
        found += coefficient(c) * belief.covariances[:, at]
    return found


def _seen(belief: Belief, looks: Looks) -> Floats:
    found = np.zeros_like(belief.weights)
    for at, c in looks.items():
        found += coefficient(c) * belief.means[at]
    return found


def next_job(belief: Belief, looks: Looks, *, new_range: bool = False) -> tuple[Floats, Floats, Floats]:
    """Return weights, means and standard deviations of Z for a job: shape (…, parts). Call ``begin_job`` first.

    A ``new_range`` adds what ranges differ by.
    """
    cells = belief.cells
    pull = _pull(belief, looks)
    variance = sum(coefficient(c) * pull[at] for at, c in looks.items())
    if new_range:
        variance = variance + cells.range_sd**2
    mean = _seen(belief, looks)
    flat = (*belief.weights.shape[:-2], -1)
    weights = np.stack([belief.weights * (1 - cells.odd), belief.weights * cells.odd], axis=-1)
    sds = np.sqrt(np.stack([variance + cells.sigma**2, variance + (ODD * cells.sigma) ** 2], axis=-1))
    means = np.stack([mean, mean], axis=-1)
    return weights.reshape(flat), means.reshape(flat), sds.reshape(flat)


def factor_of(belief: Belief, looks: Looks, *, new_range: bool = False) -> Factor:
    """Return what is believed of the next job of one machine, as a mixture. Call ``begin_job`` first."""
    cells = belief.cells
    weights, means, sds = next_job(belief, looks, new_range=new_range)
    pull = _pull(belief, looks)
    level = sum(coefficient(c) * pull[at] for at, c in looks.items()) + (
        cells.range_sd**2 if new_range else 0.0
    )
    mean = _seen(belief, looks)
    middle = float((belief.weights * mean).sum())
    known = math.sqrt(float((belief.weights * (level + (mean - middle) ** 2)).sum()))
    return mixture(weights, means, sds, sigma=known, scatter=float((belief.weights * cells.sigma).sum()))


@dataclass(frozen=True)
class MachineChange:
    """A machine uses thread otherwise since the job of this number: by what effect, as a logarithm, for each kind."""

    job: int
    effects: tuple[float, ...]


SURE = 0.8  # of all runs, so much must have begun since
CLOSE = 0.6  # and so much within two jobs of one another
WORTH_SAYING = math.log1p(0.07)
KEPT_IN_MIND = 60  # jobs; what began longer ago is how the machine is


def change_seen(belief: Belief, slopes: tuple[float, ...]) -> MachineChange | None:
    """Return the change that one machine's weigh-backs tell of, or None; ``slopes`` are g of a usual job by kind."""
    of_run = belief.weights.sum(axis=-1)
    started = belief.begun
    best: MachineChange | None = None
    best_weight = 0.0
    for job in sorted(set(started[of_run > 0].tolist())):
        if job == 0 or belief.jobs - job > KEPT_IN_MIND:
            continue
        together = (started >= job) & (started <= job + 2)
        weight = float(of_run[together].sum())
        if float(of_run[started >= job].sum()) < SURE or weight < CLOSE or weight <= best_weight + 0.02:
            continue
        share = belief.weights * together[:, None] / weight
        moved = (share * (belief.means - belief.before)).sum(axis=(-1, -2))
        kappa = belief.prior.kappa
        effects = tuple(float(moved[at] + g * moved[kappa]) for at, g in enumerate(slopes))
        if max(map(abs, effects)) >= WORTH_SAYING:
            likeliest = max(started[together].tolist(), key=lambda at: float(of_run[started == at].sum()))
            best, best_weight = MachineChange(likeliest, effects), weight
    return best
