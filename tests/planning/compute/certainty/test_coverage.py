"""What many shades cover at once is what each covers alone."""

import numpy as np
import pytest

from planning.compute.certainty.coverage import geometries_covered
from planning.compute.certainty.enough import NEEDLE_PRIOR, Factor, geometry_covered, p_enough


@pytest.mark.parametrize("certainty", [0.3, 0.5, 0.8, 0.95, 0.999])
@pytest.mark.parametrize("factor", [NEEDLE_PRIOR, Factor(0.1, 0.0, 0.0), Factor(-0.2, 0.02, 0.01)])
def test_many_at_once_cover_what_each_covers_alone(certainty, factor):
    rng = np.random.default_rng(5)
    free_mm = np.concatenate([[0.0, 0.0, 1e-3, 1e9], rng.uniform(0, 2e6, 60)])
    sigma_mm = free_mm * rng.choice([0.0, 0.001, 0.03, 0.1, 0.3, 0.6, 0.9], len(free_mm))
    sigma_mm[1] = 1000.0
    at_once = geometries_covered(factor, free_mm=free_mm, free_sigma_mm=sigma_mm, certainty=certainty)
    for covered, free, sigma in zip(at_once, free_mm, sigma_mm, strict=True):
        alone = geometry_covered(factor, free_mm=free, free_sigma_mm=sigma, certainty=certainty)
        assert covered == pytest.approx(alone, rel=2e-9)
        if covered:
            assert p_enough(covered, factor, free_mm=free, free_sigma_mm=sigma) >= certainty
