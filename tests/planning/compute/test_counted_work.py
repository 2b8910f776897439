"""The same question has the same answer whatever else the machine does: solvers count their work, not seconds."""

import random
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from planning.compute.buying.basket_program import solve_basket
from planning.compute.colour.substitution import substitute
from planning.compute.search import linear
from planning.compute.stabilizer.cutting import plan_cut
from tests.planning.compute.buying.test_basket_exact import near_shades
from tests.planning.compute.colour.test_crowds import CONDITIONS, crowd
from tests.planning.compute.stabilizer.test_cutting_exact import random_case_with_offcuts


@pytest.fixture
def begun(monkeypatch: pytest.MonkeyPatch) -> list[dict[str, float]]:
    """The limits with which programs were begun."""
    limits: list[dict[str, float]] = []
    real = linear._solver

    def solver(**options):
        if options:  # a program in whole numbers
            limits.append(options)
        return real(**options)

    monkeypatch.setattr(linear, "_solver", solver)
    return limits


@contextmanager
def other_work() -> Iterator[None]:
    """Have a process take all of a core that it is given."""
    spinning = subprocess.Popen([sys.executable, "-c", "while True: pass"])
    try:
        yield
    finally:
        spinning.kill()
        spinning.wait()


def answers() -> list[object]:
    """Return what the solvers answer to hard questions of each kind."""
    return [
        substitute(*crowd(112, colours=24, shades=30, spread=4.0), CONDITIONS),
        solve_basket(near_shades(random.Random(1))),
        *(plan_cut(*random_case_with_offcuts(seed)) for seed in (5, 6)),
    ]


@pytest.mark.thorough
def test_answers_are_the_same_while_other_work_takes_the_cores(begun):
    alone = answers()
    assert len(begun) > 3
    assert all("mip_max_nodes" in limits and "time_limit" not in limits for limits in begun)
    counted = list(begun)
    begun.clear()
    with other_work():
        assert answers() == alone
    assert begun == counted
