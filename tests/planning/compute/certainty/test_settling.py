"""Value of information: what a look is worth is what comes of drawing shelves, reading them and judging again."""

import math

import numpy as np
import pytest
from scipy.special import ndtri

from inventory.compute.knowing import Look
from planning.compute.certainty.curves import chances
from planning.compute.certainty.enough import NEEDLE_PRIOR, Factor, missing_mm
from planning.compute.certainty.learned import learn, thread_prior
from planning.compute.certainty.settling import CountPart, Doubt, LengthPart, best_looks

SURE, TIGHT = 0.95, 0.5
WITHIN = 0.02


def mixture() -> Factor:
    return learn(thread_prior(), ()).factor(0, 0).about_one


def thread(total_mm: float, factor: Factor, *doubts: Doubt) -> LengthPart:
    def needed(certainty: float, sigma_mm: float) -> float:
        return missing_mm(total_mm, factor, free_mm=0.0, free_sigma_mm=sigma_mm, certainty=certainty)

    return LengthPart(doubts, needed)


def eyed(label: str, metres: float, off: float, *, scale: float = 20.0) -> Doubt:
    """A spool judged by eye that a scale would tell to some metres and 3 %."""
    lengths = (0.0, 1e6, 2e6)
    look = Look("weigh", lengths, tuple(math.hypot(scale * 1e3, 0.03 * length) for length in lengths))
    return Doubt(label, metres * 1e3, off * 1e3, look, most_mm=1e6)


def simulated(
    total_mm: float, factor: Factor, doubts: list[Doubt], looked: set[str], rng: np.random.Generator
) -> tuple[float, float]:
    """Return how often it is enough and how often short, over shelves drawn and read in the thousands."""
    draws = 24_000
    free, variance = np.zeros(draws), np.zeros(draws)
    for each in doubts:
        if each.label in looked:
            assert each.look
            if each.sigma_mm is None:
                truth = rng.uniform(0, each.most_mm, draws)
            else:
                truth = np.maximum(0.0, rng.normal(each.free_mm + each.held_mm, each.sigma_mm, draws))
            error = np.interp(truth, each.look.lengths_mm, each.look.sigmas_mm)
            read = np.maximum(0.0, truth + error * rng.standard_normal(draws))
            free += read - each.held_mm
            variance += np.interp(read, each.look.lengths_mm, each.look.sigmas_mm) ** 2
        elif each.sigma_mm is not None:
            free += each.free_mm
            variance += each.sigma_mm**2
    some = free > 0
    p = np.zeros(draws)
    p[some] = chances(
        factor, log_stock=np.log(free[some] / total_mm), ratio=np.sqrt(variance[some]) / free[some]
    )
    return float((p >= SURE).mean()), float((p < TIGHT).mean())


def a_case(rng: np.random.Generator) -> tuple[float, list[Doubt], set[str]]:
    doubts = []
    for number in range(int(rng.integers(1, 4))):
        metres = float(rng.uniform(80, 800))
        spool = eyed(
            f"S{number}", metres, metres * float(rng.uniform(0.1, 0.3)), scale=float(rng.uniform(5, 30))
        )
        if rng.random() < 0.2:
            spool = Doubt(spool.label, spool.free_mm, None, spool.look, most_mm=1e6)
        doubts.append(spool)
    looked = {each.label for each in doubts if rng.random() < 0.7} or {doubts[0].label}
    about = sum(each.free_mm if each.sigma_mm is not None else 5e5 for each in doubts)
    return about * float(rng.uniform(0.6, 1.1)), doubts, looked


def differences(cases: int, *, seed: int) -> list[float]:
    rng, factor = np.random.default_rng(seed), mixture()
    off = []
    for _ in range(cases):
        total, doubts, looked = a_case(rng)
        said = thread(total, factor, *doubts).words_after(looked)
        enough, short = simulated(total, factor, doubts, looked, rng)
        off.append(max(abs(said.enough - enough), abs(said.short - short)))
    return off


def test_the_chance_of_a_word_is_what_simulation_finds():
    assert max(differences(4, seed=71)) < WITHIN


@pytest.mark.thorough
def test_a_hundred_small_cases_against_simulation():
    off = differences(100, seed=20)
    print(f"\nvalue of information, 100 cases: mean {np.mean(off):.4f}, worst {max(off):.4f} (bar {WITHIN})")
    assert max(off) < WITHIN


def test_nothing_looked_at_leaves_the_word_as_it_is():
    part = thread(4e5, mixture(), eyed("S1", 500, 100))
    assert part.words_after(()) == (0.0, 1.0, 0.0, 0.0)
    nobody_knows = thread(4e5, mixture(), Doubt("S1", 0.0, None))
    assert nobody_knows.words_after(()).unknown == 1.0


def test_the_spool_that_is_known_worst_is_named_first():
    part = thread(5e5, mixture(), eyed("weighed", 300, 21), eyed("by eye", 300, 120))
    first, *_ = best_looks([part], now="tight")
    assert first.labels == ("by eye",)
    assert first.chance == pytest.approx(first.enough + first.short)


def test_two_are_named_together_where_that_settles_more():
    parts = [
        thread(3.5e5, mixture(), eyed("red", 400, 120)),
        thread(3.5e5, mixture(), eyed("blue", 400, 120)),
    ]
    one, two = best_looks(parts, now="tight")
    assert len(one.labels) == 1
    assert one.enough == 0  # the other stays tight
    assert set(two.labels) == {"red", "blue"}
    words = [part.words_after({"red", "blue"}) for part in parts]
    assert two.enough == pytest.approx(words[0].enough * words[1].enough)
    assert two.short == pytest.approx(1 - (1 - words[0].short) * (1 - words[1].short))


def test_a_short_plan_is_settled_by_enough_alone_and_what_is_fixed_stays():
    part = thread(4e5, mixture(), eyed("S1", 350, 120))
    (only,) = best_looks([part], now="short")
    assert only.chance == only.enough
    assert best_looks([part], now="short", fixed=["short"]) == ()
    assert best_looks([part], now="enough") == ()


def test_a_look_that_tells_no_more_is_not_proposed():
    known = eyed("S1", 400, 20, scale=30)
    assert best_looks([thread(3.8e5, mixture(), known)], now="tight") == ()


def test_bobbins_wound_from_a_spool_are_counted():
    spool = eyed("S1", 400, 120, scale=1.0)
    part = CountPart(
        (spool,), there=2, each_mm=1e5, enough_count=5, tight_count=4, sure_sigmas=float(ndtri(SURE))
    )
    assert part.words_after(()).tight == 1.0  # 400 − 1.64 × 120 m give two
    rng = np.random.default_rng(4)
    truth = rng.normal(4e5, 1.2e5, 200_000)
    read = truth + np.hypot(1e3, 0.03 * truth) * rng.standard_normal(len(truth))
    wound = np.floor((read - ndtri(SURE) * np.hypot(1e3, 0.03 * read)) / 1e5)
    found = part.words_after({"S1"})
    assert found.enough == pytest.approx((wound >= 3).mean(), abs=0.01)
    assert found.short == pytest.approx((wound < 2).mean(), abs=0.01)


def test_a_single_normal_is_judged_by_the_same_rule():
    part = thread(4e5, NEEDLE_PRIOR, eyed("S1", 450, 120))
    found = part.words_after({"S1"})
    assert sum(found) == pytest.approx(1.0)
    assert 0 < found.short < 1 - found.enough
