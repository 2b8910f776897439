"""A difference of two colours that are only known so well lies where it is said to lie, so often as is said."""

import tracemalloc

import numpy as np
import pytest

from inventory.compute.colour import knowing
from inventory.compute.colour.knowing import COVERAGE, combine_readings, difference_between
from inventory.compute.colour.lab import Lab, delta_e_00_matrix
from inventory.compute.colour.readings import ReadingsApart, average_readings

REFERENCE = np.array([50.0, 10.0, -5.0])


def even_steps(lab):
    """The matrix that turns errors of one unit along each axis into errors of ΔE00 1 at ``lab``.

    ΔE00² is nearly quadratic close to a colour; its second derivatives are found by differences.
    """
    h = 0.05
    eye = np.eye(3) * h

    def squared(step):
        return delta_e_00_matrix([lab], [lab + step])[0, 0] ** 2

    metric = np.empty((3, 3))
    for i in range(3):
        for j in range(3):
            metric[i, j] = (squared(eye[i] + eye[j]) - squared(eye[i] - eye[j])) / (4 * h * h)
    return np.linalg.inv(np.linalg.cholesky(metric).T)


@pytest.mark.parametrize("sigma", [0.3, 1.0, 2.5])
def test_simulated_noisy_colours_give_intervals_of_the_stated_coverage(sigma):
    rng = np.random.default_rng(20261125)
    held = total = 0
    for _ in range(60):
        a = np.array([rng.uniform(25, 80), rng.uniform(-40, 50), rng.uniform(-40, 60)])
        b = a + even_steps(a) @ (rng.normal(0, 1, 3) * rng.uniform(0.2, 3.0))
        true = delta_e_00_matrix([a], [b])[0, 0]
        noisy_a = a + (rng.normal(0, sigma, (50, 3)) @ even_steps(a).T)
        noisy_b = b + (rng.normal(0, sigma, (50, 3)) @ even_steps(b).T)
        for one, other in zip(noisy_a, noisy_b, strict=True):
            seen = delta_e_00_matrix([one], [other])[0, 0]
            low, high = difference_between(seen, sigma, sigma)
            held += low <= true <= high
            total += 1
    assert held / total == pytest.approx(COVERAGE, abs=0.02)


@pytest.mark.parametrize("true", [0.0, 0.5, 1.0, 2.0, 4.0, 9.0, 14.0])
def test_the_coverage_holds_at_every_difference_even_at_none(true):
    rng = np.random.default_rng(7)
    seen = np.linalg.norm(rng.normal(0, 1, (8_000, 3)) + np.array([true, 0, 0]), axis=1)
    held = np.mean([low <= true <= high for low, high in (difference_between(each, 1.0) for each in seen)])
    assert held == pytest.approx(COVERAGE, abs=0.01)


def test_a_colour_known_exactly_leaves_nothing_open():
    assert difference_between(3.1, 0.0, 0.0) == (3.1, 3.1)


def test_the_better_a_colour_is_known_the_less_is_open():
    widths = [np.subtract(*difference_between(4.0, sigma)[::-1]) for sigma in (0.2, 0.5, 1.0)]
    assert widths == sorted(widths)
    assert widths[0] < widths[-1]


def test_more_readings_make_the_mean_surer_but_not_the_meter():
    assert combine_readings(1.0, 4) > combine_readings(1.0, 16) > 0.2


def test_the_mean_of_readings_keeps_how_far_they_lie_apart():
    rng = np.random.default_rng(3)
    labs = [
        Lab(*map(float, row)) for row in REFERENCE + rng.normal(0, 0.5, (400, 3)) @ even_steps(REFERENCE).T
    ]
    found = average_readings(labs)
    assert found.spread == pytest.approx(0.5, rel=0.1)
    assert delta_e_00_matrix([REFERENCE], [tuple(found.lab)])[0, 0] < 0.1
    assert (found.source, found.count) == ("measured", 400)


def test_readings_of_two_threads_are_not_averaged():
    with pytest.raises(ReadingsApart, match="hardly of one thread"):
        average_readings([Lab(50, 10, 0), Lab(50, 10, 0), Lab(30, -20, 10)])
    with pytest.raises(ReadingsApart):
        average_readings([])


def test_what_differences_may_be_true_is_found_in_little_memory():
    kept = difference_between(1.3, 0.7)
    knowing._belt.cache_clear()
    tracemalloc.start()
    try:
        assert difference_between(1.3, 0.7) == kept
        most = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert most < 40e6  # the densities of all pairs are 23 MB of it
