"""Many close colours at once: no rule is broken that need not be, and what is said of the answer is true."""

from collections import Counter

import numpy as np
import pytest

from inventory.compute.colour.lab import Lab
from planning.compute.colour.choice import ColourRequest, OwnedShade, OwnedSpool
from planning.compute.colour.rules import Conditions, choice_problems
from planning.compute.colour.substitution import Substitution, substitute
from planning.compute.search import linear
from planning.compute.search.proof import Proof
from tests.sizes import searched

CONDITIONS = Conditions(colour_limit=8.0)
CROWDS, PARTS = 200, 20


def labs(rng: np.random.Generator, middle, spread: float, count: int) -> list[Lab]:
    return [Lab(*map(float, row)) for row in middle + rng.normal(0, spread, (count, 3))]


def crowd(
    seed: int, *, colours: int, shades: int, spread: float
) -> tuple[list[ColourRequest], list[OwnedShade]]:
    """Colours and shades scattered about one colour; a shade does for one or some of them."""
    rng = np.random.default_rng(seed)
    middle = np.array([rng.uniform(35, 65), rng.uniform(-20, 40), rng.uniform(-20, 40)])
    requests = [
        ColourRequest("#000000", lab, float(rng.uniform(50e3, 400e3)), f"colour {number}")
        for number, lab in enumerate(labs(rng, middle, spread, colours))
    ]
    owned = [
        OwnedShade(number, 1, "Skerry", "Forty", str(number), "", "#000000", lab,
                   (OwnedSpool(number, f"S{number}", int(rng.uniform(100e3, 2e6)), 1_000.0),))
        for number, lab in enumerate(labs(rng, middle, spread, shades))
    ]  # fmt: skip
    return requests, owned


@pytest.fixture
def limits(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """The limits of work and of time with which solves were begun."""
    begun: list[float] = []
    real = linear._solver

    def solver(**limits):
        if limits:  # a program in whole numbers
            begun.append(limits["mip_max_nodes"])
            begun.append(limits.get("time_limit", 1.0))
        return real(**limits)

    monkeypatch.setattr(linear, "_solver", solver)
    return begun


def told_truly(seed: int, limits: list[float]) -> Substitution:
    rng = np.random.default_rng(seed)
    colours = int(rng.integers(20, 41))
    requests, owned = crowd(
        seed, colours=colours, shades=colours + int(rng.integers(5, 25)), spread=rng.uniform(3.0, 6.0)
    )
    answer = substitute(requests, owned, CONDITIONS)
    chosen = [choice.shade for choice in answer.choices]
    assert choice_problems(chosen, requests, owned, CONDITIONS) == list(answer.broken), seed
    assert answer.bound <= answer.mean_delta_e + 1e-9, seed
    assert all(limit > 0 for limit in limits), seed
    rules = Counter(problem.rule for problem in answer.broken)
    if answer.must_break:
        assert rules["apart"] + rules["order"] + rules["metres"] > 0, seed
    limits.clear()
    return answer


def is_settled(answer: Substitution) -> bool:
    """Return whether no rule of two is broken, or it is proven that one must be."""
    return answer.must_break or all(problem.rule == "near" for problem in answer.broken) or answer.is_proven


@pytest.mark.parametrize("crowds", [2, pytest.param(8, marks=pytest.mark.thorough)])
def test_crowds_of_close_colours_break_no_rule_that_need_not_be(crowds, limits):
    answers = [told_truly(seed, limits) for seed in range(crowds)]
    assert sum(map(is_settled, answers)) >= crowds - 1


@pytest.mark.parametrize("part", searched(range(PARTS)))
def test_200_crowds_of_20_to_40_colours_are_told_truly(part, limits, record_property):
    every = CROWDS // PARTS
    answers = [told_truly(seed, limits) for seed in range(100 + part * every, 100 + (part + 1) * every)]
    settled, least = sum(map(is_settled, answers)), sum(answer.is_proven for answer in answers)
    record_property("settled", settled)
    record_property("least", least)
    print(f"{settled} of {every} without a broken rule or proven that one must be, {least} proven least")
    assert settled >= 0.7 * every


def test_forty_close_colours_on_sixty_shades_keep_every_rule(limits):
    requests, owned = crowd(0, colours=40, shades=60, spread=4.0)
    answer = substitute(requests, owned, CONDITIONS)
    assert answer.broken == ()
    assert answer.proof is Proof.LEAST
    assert substitute(requests, owned, CONDITIONS, seconds_left=lambda: 1e9) == answer


def test_a_caller_out_of_patience_gets_what_was_mended(limits):
    """Only the clock of the caller cuts a search short, no solve begins without time, and the answer says so."""
    requests, owned = crowd(0, colours=40, shades=60, spread=4.0)
    answer = substitute(requests, owned, CONDITIONS, seconds_left=lambda: -1.0)
    chosen = [choice.shade for choice in answer.choices]
    assert choice_problems(chosen, requests, owned, CONDITIONS) == list(answer.broken) == []
    assert answer.proof is Proof.IN_TIME
    assert limits == []
    assert answer.bound <= substitute(requests, owned, CONDITIONS).mean_delta_e <= answer.mean_delta_e


def test_colours_that_cannot_all_stay_apart_are_proven_not_to():
    requests, owned = crowd(3, colours=24, shades=16, spread=4.0)
    answer = substitute(requests, owned, CONDITIONS)
    assert answer.must_break or answer.is_proven
    assert any(problem.rule == "apart" for problem in answer.broken)
