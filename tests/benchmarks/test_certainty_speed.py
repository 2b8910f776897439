"""A season of verdicts from one curve, beside verdicts worked out one by one."""

from time import process_time

import numpy as np
import pytest

from planning.compute.certainty.enough import NEEDLE_PRIOR, geometry_covered, missing_mm, p_enough
from planning.compute.certainty.learned import UseSeen, WeighedJob, learn, thread_prior

pytestmark = pytest.mark.benchmark
SEASON = 3_000


def verdicts(factor, count: int) -> float:
    """Return the processor time of so many verdicts, each with what is covered and what is missing."""
    rng = np.random.default_rng(1)
    free = rng.uniform(1e4, 1e6, count)
    sigma, geometry = free * rng.uniform(0, 0.5, count), free * np.exp(rng.normal(-0.2, 0.2, count))
    begun = process_time()
    for mm, off, wanted in zip(free.tolist(), sigma.tolist(), geometry.tolist(), strict=True):
        p_enough(wanted, factor, free_mm=mm, free_sigma_mm=off)
        geometry_covered(factor, free_mm=mm, free_sigma_mm=off)
        missing_mm(wanted, factor, free_mm=mm, free_sigma_mm=off, certainty=0.95)
    return process_time() - begun


def test_a_season_of_verdicts_is_read_from_one_curve():
    rng = np.random.default_rng(2)
    jobs = tuple(
        WeighedJob(
            (UseSeen(0, 1, float(rng.normal(0, 0.08)), 0.03), UseSeen(1, 2, float(rng.normal(0, 0.1)), 0.05))
        )
        for _ in range(100)
    )
    begun = process_time()
    taught = learn(thread_prior(), jobs)
    learned = process_time() - begun
    factor = taught.factor(0, 1)
    begun = process_time()
    geometry_covered(factor, free_mm=1.0, free_sigma_mm=0.1)
    curve = process_time() - begun
    season, one_by_one = verdicts(factor, SEASON), verdicts(NEEDLE_PRIOR, 100) * SEASON / 100
    print(
        f"\n100 jobs learned {learned * 1e3:.0f} ms, a curve {curve * 1e3:.0f} ms, {SEASON} verdicts "
        f"{season * 1e3:.0f} ms; worked out one by one {one_by_one * 1e3:.0f} ms"
    )
    assert season < one_by_one / 10
