"""Roots that are known, and how often a function is asked for them beside another library."""

import math
import random
from collections.abc import Callable

import pytest
from scipy.optimize import brentq

from planning.compute.search.root import root_between


def test_a_root_that_is_known_to_its_last_digits() -> None:
    # Brent's own example is a cubic with a root at 3; Wallis' is 2.0945514815423265 (Numerical Recipes, 9.4).
    assert root_between(lambda x: (x + 3) * (x - 1) ** 2, -4.0, 4 / 3, within=1e-13) == pytest.approx(
        -3.0, abs=1e-12
    )
    assert root_between(lambda x: x**3 - 2 * x - 5, 2.0, 3.0, within=1e-14) == pytest.approx(
        2.0945514815423265
    )


@pytest.mark.parametrize("slope", [1.0, -1.0])
@pytest.mark.parametrize("root", [0.0, 1.0])
def test_an_end_that_is_the_root(slope: float, root: float) -> None:
    assert root_between(lambda x: slope * (x - root), 0.0, 1.0, within=1e-12) == root


def test_what_is_not_fenced_in_is_refused() -> None:
    with pytest.raises(ValueError, match="no root"):
        root_between(lambda x: x * x + 1, -1.0, 1.0, within=1e-9)


def test_functions_flat_steep_and_bent_are_hardly_asked_oftener_than_by_brents_method() -> None:
    rng = random.Random(7)
    asked = {"ours": 0, "theirs": 0}

    def counted(f: Callable[[float], float], who: str) -> Callable[[float], float]:
        def ask(x: float) -> float:
            asked[who] += 1
            return f(x)

        return ask

    for number in range(300):
        root, width = rng.uniform(-5, 5), rng.choice([0.01, 1.0, 10.0])
        f: Callable[[float], float] = [
            lambda x, r=root, w=width: math.erf((x - r) / w),
            lambda x, r=root, w=width: math.tanh((x - r) / w) + 1e-3 * (x - r),
            lambda x, r=root, w=width: (x - r) ** 3 + (x - r) * w,
            lambda x, r=root: math.copysign(abs(x - r) ** 0.2, x - r),
        ][number % 4]
        low, high = root - rng.uniform(0.1, 30), root + rng.uniform(0.1, 30)
        found = root_between(counted(f, "ours"), low, high, within=1e-10)
        brentq(counted(f, "theirs"), low, high, xtol=1e-10, maxiter=10_000)
        assert abs(found - root) <= 1e-10
    assert asked["ours"] <= 1.1 * asked["theirs"]
