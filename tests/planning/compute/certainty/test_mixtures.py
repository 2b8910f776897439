"""A use factor that is a mixture: its chances against Monte Carlo, its curves against its chances."""

import math

import numpy as np
import pytest

from planning.compute.certainty.coverage import geometries_covered
from planning.compute.certainty.curves import CURVE_ERROR
from planning.compute.certainty.enough import geometry_covered, missing_mm, need, p_enough, pieces_covered
from planning.compute.certainty.factor import Factor, mixture
from planning.compute.certainty.learned import UseSeen, WeighedJob, learn, thread_prior


def learned_factor(*, seed: int, jobs: int) -> Factor:
    rng = np.random.default_rng(seed)
    seen = [WeighedJob((UseSeen(0, 1, float(rng.normal(0.1, 0.08)), 0.03),)) for _ in range(jobs)]
    return learn(thread_prior(), tuple(seen)).factor(0, 1)


FACTORS = [
    mixture([0.7, 0.25, 0.05], [0.0, 0.2, 0.1], [0.05, 0.09, 0.3], sigma=0.05),
    mixture([1.0], [0.1], [0.03], sigma=0.02),
    learned_factor(seed=1, jobs=0),
    learned_factor(seed=2, jobs=12),
]


def cases(count: int, *, seed: int) -> list[tuple[float, float, float]]:
    rng = np.random.default_rng(seed)
    found = []
    for _ in range(count):
        free = float(rng.uniform(1e4, 1e6))
        sigma = free * float(rng.choice([0.0, 0.001, 0.02, 0.1, 0.3, 0.55]))
        found.append((free * float(np.exp(rng.normal(-0.15, 0.2))), free, sigma))
    return found


@pytest.mark.parametrize("factor", FACTORS)
def test_the_chance_of_enough_is_that_of_monte_carlo(factor):
    rng = np.random.default_rng(70)
    weights, means, sds = (np.array(column) for column in zip(*factor.parts, strict=True))
    which = rng.choice(len(weights), 200_000, p=weights / weights.sum())
    factors = np.exp(means[which] + sds[which] * rng.standard_normal(len(which)))
    for geometry, free, sigma in cases(20, seed=71):
        there = free + sigma * rng.standard_normal(len(factors))
        happened = (there >= geometry * factors).mean()
        assert p_enough(geometry, factor, free_mm=free, free_sigma_mm=sigma) == pytest.approx(
            happened, abs=0.005
        )


@pytest.mark.parametrize("factor", FACTORS)
@pytest.mark.parametrize("certainty", [0.5, 0.8, 0.95, 0.99])
def test_what_is_covered_and_what_is_missing_meet_the_certainty_and_hardly_more(factor, certainty):
    for geometry, free, sigma in cases(60, seed=72):
        stock = {"free_mm": free, "free_sigma_mm": sigma}
        covered = geometry_covered(factor, certainty=certainty, **stock)
        if covered:
            assert p_enough(covered, factor, **stock) >= certainty - 5e-4
            assert p_enough(covered + 4 * CURVE_ERROR * free, factor, **stock) < certainty + 5e-4
        more = missing_mm(geometry, factor, certainty=certainty, **stock)
        p = p_enough(geometry, factor, free_mm=free + more, free_sigma_mm=sigma)
        assert p >= certainty - 5e-4
        if more:
            assert p <= certainty + 3e-3


def test_a_mixture_of_one_is_the_normal_it_is():
    normal, one = Factor(0.1, 0.08, 0.06), mixture([1.0], [0.1], [0.1], sigma=0.08, scatter=0.06)
    for geometry, free, sigma in cases(60, seed=73):
        stock = {"free_mm": free, "free_sigma_mm": sigma}
        assert p_enough(geometry, one, **stock) == pytest.approx(
            p_enough(geometry, normal, **stock), abs=3e-4
        )
        assert geometry_covered(one, **stock) == pytest.approx(
            geometry_covered(normal, **stock), abs=4e-4 * free
        )
        for more in (missing_mm(geometry, each, certainty=0.95, **stock) for each in (one, normal)):
            assert more == pytest.approx(
                missing_mm(geometry, normal, certainty=0.95, **stock), abs=6e-4 * free
            )
    assert need(1000.0, one).sigma_mm == pytest.approx(need(1000.0, normal).sigma_mm, rel=1e-3)
    assert one.quantile(0.99) == pytest.approx(normal.quantile(0.99), abs=1e-3)


def test_many_at_once_cover_what_each_covers_alone():
    factor = FACTORS[3]
    found = cases(80, seed=74)
    free, sigma = (np.array([each[at] for each in found]) for at in (1, 2))
    at_once = geometries_covered(factor, free_mm=free, free_sigma_mm=sigma)
    alone = [geometry_covered(factor, free_mm=a, free_sigma_mm=b) for a, b in zip(free, sigma, strict=True)]
    assert at_once == pytest.approx(alone, rel=1e-12)


def test_pieces_are_those_that_the_curve_covers():
    factor = FACTORS[3]
    pieces = pieces_covered(
        np.arange(30) * 10_000.0, factor, free_mm=200_000.0, free_sigma_mm=5_000.0, certainty=0.95
    )
    assert p_enough(pieces * 10_000.0, factor, free_mm=200_000.0, free_sigma_mm=5_000.0) >= 0.95
    assert p_enough((pieces + 1) * 10_000.0, factor, free_mm=200_000.0, free_sigma_mm=5_000.0) < 0.95


def test_nothing_needed_is_always_enough_and_an_empty_shelf_never():
    factor = FACTORS[0]
    assert p_enough(0.0, factor, free_mm=0.0, free_sigma_mm=0.0) == 1.0
    assert missing_mm(0.0, factor, free_mm=10.0, free_sigma_mm=1.0, certainty=0.95) == 0.0
    assert p_enough(10.0, factor, free_mm=0.0, free_sigma_mm=0.0) == 0.0
    assert geometry_covered(factor, free_mm=0.0, free_sigma_mm=0.0) == 0.0
    assert missing_mm(1000.0, factor, free_mm=0.0, free_sigma_mm=0.0, certainty=0.95) > 1000.0 * math.exp(
        factor.quantile(0.949)
    )


def test_a_wider_factor_covers_less():
    factor = FACTORS[3]
    assert factor.widened(0.1).predictive_sigma > factor.predictive_sigma
    assert factor.widened(0.1).median == pytest.approx(factor.median, rel=0.01)
