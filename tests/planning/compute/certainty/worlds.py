"""Invented machines whose truth is known: what they use, what is weighed, and what two rules say of the next job."""

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

from planning.compute.certainty import machine

NEEDLE, BOBBIN = 0, 1


@dataclass
class World:
    """ln of what each of many machines uses, job by job, (machines, jobs), and what is weighed of it, with errors."""

    truth: np.ndarray
    weighed: np.ndarray
    error: np.ndarray


def world(
    rng: np.random.Generator,
    *,
    machines: int,
    jobs: int,
    scatter: float = 0.06,
    tails: int | None = None,
    correlated: float = 0.0,
    level: float | None = None,
    odd_jobs: float = 0.0,
    odd_weighings: float = 0.0,
    errors: tuple[float, ...] = (0.03,),
    scale_off: float = 0.0,
    drift: float = 0.0,
    step: float = 0.0,
    step_at: int = 15,
) -> World:
    """Return machines of needle thread alone. ``level`` None draws each from what the prior believes."""
    shape = (machines, jobs)
    own = rng.normal(0.0, 0.117, machines) if level is None else np.full(machines, level)
    noise = rng.standard_t(tails, shape) if tails else rng.standard_normal(shape)
    if correlated:
        for job in range(1, jobs):
            noise[:, job] = correlated * noise[:, job - 1] + math.sqrt(1 - correlated**2) * noise[:, job]
    truth = own[:, None] + scatter * noise + drift * np.arange(jobs)
    truth += math.log1p(0.5) * (rng.random(shape) < odd_jobs)
    truth += math.log1p(step) * (np.arange(jobs) >= step_at)
    error = rng.choice(errors, shape)
    weighed = truth + error * rng.standard_normal(shape) + math.log1p(scale_off)
    weighed += math.log1p(0.5) * (rng.random(shape) < odd_weighings)
    return World(truth, weighed, error)


@dataclass
class Held:
    """Of the next job: the share inside the stated 95 %, of "95 % enough" that was, and the median width of it."""

    inside: float
    enough: float
    width: float
    inside_half: float = math.nan
    inside_most: float = math.nan


NEEDLE_ONLY = machine.Prior(
    levels=(0.0,), level_sds=(0.10,), jumps=(0.15,), kappa_sd=1e-9, kappa_jump=1e-9, ranges=1
)
LOOKS = {0: 1.0, NEEDLE_ONLY.range_place(0): 1.0}


def cumulative(z: np.ndarray, weights: np.ndarray, means: np.ndarray, sds: np.ndarray) -> np.ndarray:
    return (weights * ndtr((z[..., None] - means) / sds)).sum(axis=-1)


def quantiles(p: float, weights: np.ndarray, means: np.ndarray, sds: np.ndarray) -> np.ndarray:
    low, high = means.min(axis=-1) - 6, means.max(axis=-1) + 6
    for _ in range(22):
        middle = (low + high) / 2
        below = cumulative(middle, weights, means, sds) < p
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return high


def held_by(
    truth: np.ndarray, belief: machine.Belief, looks: machine.Looks, *, widths: int = 60, **how
) -> Held:
    """Return how the belief, begun on the next job, did on what it really used."""
    weights, means, sds = machine.next_job(belief, looks, **how)
    place = cumulative(truth, weights, means, sds)
    few = (weights[:widths], means[:widths], sds[:widths])
    width = np.median(quantiles(0.975, *few) - quantiles(0.025, *few)) if widths else math.nan
    inside = [float((np.abs(place - 0.5) <= share / 2).mean()) for share in (0.95, 0.5, 0.8)]
    return Held(inside[0], float((place <= 0.95).mean()), float(width), inside[1], inside[2])


def watch(found: World, *, at: tuple[int, ...], told: int | None = None) -> dict[int, Held]:
    """Return how the model did on the jobs ``at``, having weighed all before them."""
    belief = machine.untaught(NEEDLE_ONLY, machines=found.truth.shape[:1])
    answers = {}
    for job in range(max(at) + 1):
        belief = machine.begin_job(belief, changed=1.0 if job == told else machine.HAZARD)
        if job in at:
            answers[job] = held_by(found.truth[:, job], belief, LOOKS)
        if job < max(at):
            belief, _ = machine.observe(
                belief, LOOKS, log_ratio=found.weighed[:, job], sigma=found.error[:, job]
            )
    return answers


def rule_before(found: World, *, at: tuple[int, ...], prior_sd: float = 0.12) -> dict[int, Held]:
    """Return how the rule did that this model took the place of: one normal level, a fixed scatter, odd ones out.

    The furthest beyond three sigma of what the others say was left out first, and the rest judged anew.
    """
    answers = {}
    for job in at:
        y, s2 = found.weighed[:, :job], found.error[:, :job] ** 2 + 0.06**2
        counts = np.ones_like(y, dtype=bool)
        for _ in range(job):
            w = counts / s2
            total, seen = w.sum(axis=1) + prior_sd**-2, (w * y).sum(axis=1)
            others = total[:, None] - w
            mean = (seen[:, None] - w * y) / others
            residual = np.abs(y - mean) / np.sqrt(1 / others + s2)
            residual[~counts] = 0.0
            worst = residual.argmax(axis=1)
            bad = residual[np.arange(len(y)), worst] > 3.0
            if not bad.any():
                break
            counts[bad, worst[bad]] = False
        w = counts / s2
        total = w.sum(axis=1) + prior_sd**-2
        mean, sd = (w * y).sum(axis=1) / total, np.sqrt(1 / total + 0.06**2)
        place = ndtr((found.truth[:, job] - mean) / sd)
        inside = [float((np.abs(place - 0.5) <= share / 2).mean()) for share in (0.95, 0.5, 0.8)]
        width = float(np.median(2 * ndtri(0.975) * sd))
        answers[job] = Held(inside[0], float((place <= 0.95).mean()), width, inside[1], inside[2])
    return answers


def pairs(
    rng: np.random.Generator, *, machines: int, jobs: int, kappa_step: float = 0.0, step_at: int = 15
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return slopes g, truth and weighings of needle and bobbin, each (2, machines, jobs): κ moves at one job."""
    slopes = np.stack([rng.uniform(0.2, 0.8, (machines, jobs)), rng.uniform(-2.2, -0.8, (machines, jobs))])
    own = np.stack([rng.normal(0.0, 0.117, machines), rng.normal(0.0, 0.176, machines)])
    kappa = rng.normal(0.0, 0.05, machines)[:, None] + kappa_step * (np.arange(jobs) >= step_at)
    truth = own[:, :, None] + slopes * kappa + 0.06 * rng.standard_normal((2, machines, jobs))
    return slopes, truth, truth + 0.03 * rng.standard_normal(truth.shape)


def one_of(belief: machine.Belief, number: int) -> machine.Belief:
    """Return the belief of one of many machines."""
    return machine.Belief(
        belief.prior,
        belief.weights[number],
        belief.means[:, number],
        belief.covariances[:, :, number],
        belief.begun[number],
        belief.before[:, number],
        belief.jobs,
    )
