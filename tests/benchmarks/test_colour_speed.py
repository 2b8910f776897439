"""Speed of the colour difference matrix, side by side with colour-science."""

import statistics
from collections.abc import Callable

import numpy as np
import pytest

from inventory.compute.colour.lab import delta_e_00_matrix, lab_from_hex, labs_from_hexes
from inventory.compute.surfaces.gamut import in_surface_gamut, onto_surface_gamut
from tests.benchmarks.processor import processor_s, yardsticks

with np.printoptions():  # the import changes NumPy's print options for the whole process
    import colour as reference

REPEATS = 9


def random_labs(n: int, *, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return np.column_stack([rng.uniform(0, 100, n), rng.uniform(-100, 100, n), rng.uniform(-100, 100, n)])


@pytest.mark.benchmark
def test_200_by_5000_differences_take_no_longer_than_in_the_reference_library(
    capsys: pytest.CaptureFixture[str],
) -> None:
    wanted, owned = random_labs(200, seed=1), random_labs(5_000, seed=2)

    def reference_at_once() -> np.ndarray:
        return reference.difference.delta_E_CIE2000(wanted[:, None, :], owned[None, :, :])

    def reference_by_row() -> np.ndarray:
        return np.array([reference.difference.delta_E_CIE2000(row, owned) for row in wanted])

    ways: dict[str, Callable[[], np.ndarray]] = {
        "this project": lambda: delta_e_00_matrix(wanted, owned),
        "colour-science, at once": reference_at_once,
        "colour-science, row by row": reference_by_row,
    }
    # One untimed round warms caches and checks that all three compute the same thing.
    results = {name: way() for name, way in ways.items()}
    for result in results.values():
        assert np.abs(result - results["this project"]).max() < 1e-3

    times: dict[str, list[float]] = {name: [] for name in ways}
    for _ in range(REPEATS):
        for name, way in ways.items():
            times[name].append(processor_s(way))
    median = {name: statistics.median(taken) for name, taken in times.items()}
    ours = median.pop("this project")
    with capsys.disabled():
        print(
            f"\n200 × 5,000 differences, median of {REPEATS} interleaved repeats: {ours:.3f} s of processor"
        )
        for name, theirs in median.items():
            print(f"  {name}: {theirs:.3f} s, ratio {ours / theirs:.2f}")
    assert ours <= min(median.values())


@pytest.mark.benchmark
def test_five_thousand_new_hex_colours_are_read_at_once(capsys: pytest.CaptureFixture[str]) -> None:
    rng = np.random.default_rng(3)
    hexes = [f"#{value:06x}" for value in rng.choice(1 << 24, size=5_000, replace=False)]
    lab_from_hex.cache_clear()
    first, again = yardsticks(lambda: labs_from_hexes(hexes)), yardsticks(lambda: labs_from_hexes(hexes))
    with capsys.disabled():
        print(f"\n5,000 hex colours to Lab: {first:.2f} yardsticks, and again {again:.3f}")
    assert first < 17  # about a second
    assert again < first


@pytest.mark.benchmark
def test_10_000_wishes_come_onto_the_surface_gamut_in_a_fifth_of_a_second(
    capsys: pytest.CaptureFixture[str],
) -> None:
    wishes = random_labs(10_000, seed=3)
    onto_surface_gamut(wishes[:1])  # the table under D65 is made once a process
    taken = [processor_s(lambda: onto_surface_gamut(wishes)) for _ in range(REPEATS)]
    with capsys.disabled():
        outside = 1 - in_surface_gamut(wishes).mean()
        print(f"\n10,000 wishes, {outside:.0%} outside: least {min(taken):.3f} s of processor time")
    assert min(taken) < 0.2
