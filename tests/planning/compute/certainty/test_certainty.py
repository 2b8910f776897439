"""How sure the thread is enough, against simulation, quadrature and textbook formulas."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import lognorm, norm

from inventory.compute.errors import WorkshopError
from inventory.compute.knowing import RELATIVE_SIGMA
from planning.compute.certainty.enough import (
    BOBBIN_PRIOR,
    NEEDLE_PRIOR,
    Factor,
    Need,
    WeighBack,
    combine_free,
    factor_about,
    geometry_covered,
    missing_mm,
    need,
    observed,
    p_enough,
    pieces_possible,
    posterior,
    verdict,
)

factors = st.builds(
    Factor,
    mean_log=st.floats(-0.3, 0.5),
    sigma=st.floats(0.0, 0.4),
    scatter=st.floats(0.0, 0.1),
)
stocks = st.tuples(st.floats(0, 2_000_000), st.one_of(st.just(0.0), st.floats(0, 0.6)))


def random_cases(count: int, *, seed: int) -> list[tuple[float, Factor, float, float]]:
    """Draw (geometry, factor, free, sigma of free) from all over, around where the verdict turns."""
    rng = np.random.default_rng(seed)
    cases = []
    for _ in range(count):
        factor = Factor(
            mean_log=rng.uniform(-0.3, 0.5),
            sigma=rng.choice([0.0, 0.02, 0.12, 0.2, 0.5]),
            scatter=rng.choice([0.0, 0.06]),
        )
        free_mm = 10 ** rng.uniform(2, 7)
        free_sigma_mm = free_mm * rng.choice([0.0, 1e-6, 0.001, 0.02, 0.25, 0.5, 2.0])
        geometry_mm = free_mm / factor.median * math.exp(rng.normal(0, 0.3))
        cases.append((geometry_mm, factor, free_mm, free_sigma_mm))
    return cases


# --- the priors


def test_the_priors_are_one_and_one_and_a_quarter_in_the_middle():
    assert NEEDLE_PRIOR.median == pytest.approx(1.00)
    assert BOBBIN_PRIOR.median == pytest.approx(1.25)
    assert (NEEDLE_PRIOR.sigma, BOBBIN_PRIOR.sigma) == (0.12, 0.2)  # ± 0.12 of 1.00, ± 0.25 of 1.25
    assert NEEDLE_PRIOR.scatter == BOBBIN_PRIOR.scatter == 0.06


def test_the_next_job_is_less_certain_than_the_factor_by_the_scatter():
    assert Factor(mean_log=0.0, sigma=0.08, scatter=0.06).predictive_sigma == pytest.approx(0.1)


def test_a_need_has_the_moments_of_the_lognormal():
    s = BOBBIN_PRIOR.predictive_sigma
    reference = lognorm(s=s, scale=1000 * 1.25)
    used = need(1000.0, BOBBIN_PRIOR)
    assert used.mean_mm == pytest.approx(reference.mean(), rel=1e-12)
    assert used.sigma_mm == pytest.approx(reference.std(), rel=1e-9)
    assert used.median_mm == pytest.approx(reference.median(), rel=1e-12)
    assert need(0.0, BOBBIN_PRIOR) == Need(mean_mm=0.0, sigma_mm=0.0, median_mm=0.0)


# --- enough?


def test_the_probability_of_enough_agrees_with_simulation_everywhere():
    rng = np.random.default_rng(20260)
    standard = rng.standard_normal((2, 400_000))
    verdicts = set()
    for geometry_mm, factor, free_mm, free_sigma_mm in random_cases(150, seed=7):
        used_mm = geometry_mm * np.exp(factor.mean_log + factor.predictive_sigma * standard[0])
        simulated = np.mean(free_mm + free_sigma_mm * standard[1] >= used_mm)
        p = p_enough(geometry_mm, factor, free_mm=free_mm, free_sigma_mm=free_sigma_mm)
        assert p == pytest.approx(simulated, abs=0.005)
        verdicts.add(verdict(p))
    assert verdicts == {"enough", "tight", "short"}


def test_the_probability_of_enough_agrees_with_adaptive_quadrature_to_nine_digits():
    for geometry_mm, factor, free_mm, free_sigma_mm in random_cases(80, seed=11):
        s = factor.predictive_sigma
        if s == 0 or free_sigma_mm == 0:
            continue
        median_mm = geometry_mm * factor.median
        edge = math.log(free_mm / median_mm) / s
        width = free_sigma_mm / free_mm / s
        at = sorted({min(9.0, max(-9.0, edge + k * width)) for k in (-8, -3, -1, 0, 1, 3, 8)})

        def integrand(z, median_mm=median_mm, s=s, free_mm=free_mm, free_sigma_mm=free_sigma_mm):
            return norm.pdf(z) * norm.cdf((free_mm - median_mm * math.exp(s * z)) / free_sigma_mm)

        expected, _ = quad(integrand, -10, 10, points=at, limit=500, epsabs=1e-12, epsrel=1e-12)
        p = p_enough(geometry_mm, factor, free_mm=free_mm, free_sigma_mm=free_sigma_mm)
        assert p == pytest.approx(expected, abs=1e-9)


def test_exactly_known_stock_gives_the_lognormal_itself():
    p = p_enough(1000.0, BOBBIN_PRIOR, free_mm=1400.0, free_sigma_mm=0.0)
    assert p == pytest.approx(lognorm(s=BOBBIN_PRIOR.predictive_sigma, scale=1250).cdf(1400), rel=1e-12)


def test_an_exactly_known_need_gives_the_normal_of_the_stock():
    factor = Factor(mean_log=0.0, sigma=0.0, scatter=0.0)
    p = p_enough(1000.0, factor, free_mm=1100.0, free_sigma_mm=80.0)
    assert p == pytest.approx(norm.cdf(100 / 80), rel=1e-12)
    assert p_enough(1000.0, factor, free_mm=1000.0, free_sigma_mm=0.0) == 1.0
    assert p_enough(1000.0, factor, free_mm=999.9, free_sigma_mm=0.0) == 0.0


def test_nearly_exact_knowledge_joins_the_exact_case_without_a_step():
    exact = p_enough(1000.0, NEEDLE_PRIOR, free_mm=1100.0, free_sigma_mm=0.0)
    nearly = p_enough(1000.0, NEEDLE_PRIOR, free_mm=1100.0, free_sigma_mm=1e-7)
    assert nearly == pytest.approx(exact, abs=1e-9)
    known = Factor(mean_log=0.0, sigma=0.0, scatter=0.0)
    nearly_known = Factor(mean_log=0.0, sigma=1e-9, scatter=0.0)
    assert p_enough(1000.0, nearly_known, free_mm=1100.0, free_sigma_mm=80.0) == pytest.approx(
        p_enough(1000.0, known, free_mm=1100.0, free_sigma_mm=80.0), abs=1e-8
    )


def test_an_empty_shelf_is_never_enough_and_no_need_is_always_met():
    assert p_enough(1000.0, NEEDLE_PRIOR, free_mm=0.0, free_sigma_mm=0.0) == 0.0
    assert p_enough(0.0, NEEDLE_PRIOR, free_mm=0.0, free_sigma_mm=0.0) == 1.0
    assert p_enough(0.0, NEEDLE_PRIOR, free_mm=0.0, free_sigma_mm=500.0) == 1.0


@pytest.mark.parametrize(
    ("p", "word"),
    [(1.0, "enough"), (0.95, "enough"), (0.9499, "tight"), (0.5, "tight"), (0.4999, "short"), (0.0, "short")],
)
def test_the_verdict_turns_at_its_thresholds(p, word):
    assert verdict(p) == word


def test_a_workshop_may_set_its_own_threshold():
    assert verdict(0.92) == "tight"
    assert verdict(0.92, enough_at=0.9) == "enough"


# --- what a person acts on


def test_the_geometry_covered_is_covered_at_the_wanted_certainty_and_no_more_is():
    for _, factor, free_mm, free_sigma_mm in random_cases(80, seed=3):
        for certainty in (0.5, 0.9, 0.95, 0.99):
            covered_mm = geometry_covered(
                factor, free_mm=free_mm, free_sigma_mm=free_sigma_mm, certainty=certainty
            )
            if norm.cdf(free_mm / free_sigma_mm if free_sigma_mm else math.inf) <= certainty:
                assert covered_mm == 0.0
                continue
            stock = {"free_mm": free_mm, "free_sigma_mm": free_sigma_mm}
            assert p_enough(covered_mm, factor, **stock) >= certainty
            assert p_enough(covered_mm * (1 + 1e-6), factor, **stock) < certainty


def test_of_many_jobs_planned_to_the_limit_ninety_five_in_a_hundred_come_out_even():
    rng = np.random.default_rng(5)
    free_mm, free_sigma_mm = 800_000.0, 60_000.0
    covered_mm = geometry_covered(BOBBIN_PRIOR, free_mm=free_mm, free_sigma_mm=free_sigma_mm, certainty=0.95)
    on_shelf_mm = rng.normal(free_mm, free_sigma_mm, 400_000)
    factor_of_each = rng.normal(BOBBIN_PRIOR.mean_log, BOBBIN_PRIOR.sigma, 400_000)
    used_mm = covered_mm * np.exp(rng.normal(factor_of_each, BOBBIN_PRIOR.scatter))
    assert np.mean(on_shelf_mm >= used_mm) == pytest.approx(0.95, abs=0.002)


@given(
    factor=factors,
    stock=stocks,
    per_piece_mm=st.floats(100, 200_000),
    at_most=st.integers(0, 300),
    certainty=st.floats(0.4, 0.99),
)
def test_one_piece_more_than_possible_would_not_be_sure(factor, stock, per_piece_mm, at_most, certainty):
    free_mm, relative = stock
    known = {"free_mm": free_mm, "free_sigma_mm": free_mm * relative}
    pieces = pieces_possible(per_piece_mm, factor, certainty=certainty, at_most=at_most, **known)
    assert 0 <= pieces <= at_most
    assert p_enough(pieces * per_piece_mm, factor, **known) >= certainty
    if pieces < at_most:
        assert p_enough((pieces + 1) * per_piece_mm, factor, **known) < certainty


def test_more_stock_never_allows_fewer_pieces():
    pieces = [
        pieces_possible(
            9_000.0, NEEDLE_PRIOR, free_mm=free_mm, free_sigma_mm=20_000.0, certainty=0.95, at_most=60
        )
        for free_mm in range(0, 900_000, 15_000)
    ]
    assert pieces == sorted(pieces)
    assert pieces[0] == 0
    assert pieces[-1] == 60


def test_pieces_that_take_no_thread_are_all_possible():
    assert (
        pieces_possible(0.0, NEEDLE_PRIOR, free_mm=0.0, free_sigma_mm=0.0, certainty=0.95, at_most=24) == 24
    )


@given(geometry_mm=st.floats(0, 3_000_000), factor=factors, stock=stocks, certainty=st.floats(0.4, 0.999))
def test_what_is_missing_brings_the_stock_to_the_certainty_and_is_not_too_much(
    geometry_mm, factor, stock, certainty
):
    free_mm, free_sigma_mm = stock[0], stock[0] * stock[1]
    more_mm = missing_mm(
        geometry_mm, factor, free_mm=free_mm, free_sigma_mm=free_sigma_mm, certainty=certainty
    )
    assert p_enough(geometry_mm, factor, free_mm=free_mm + more_mm, free_sigma_mm=free_sigma_mm) >= certainty
    if more_mm > 1.0:
        less_mm = more_mm - 0.01
        p = p_enough(geometry_mm, factor, free_mm=free_mm + less_mm, free_sigma_mm=free_sigma_mm)
        assert p < certainty


def test_an_empty_shelf_misses_the_upper_quantile_of_the_need():
    missing = missing_mm(1000.0, BOBBIN_PRIOR, free_mm=0.0, free_sigma_mm=0.0, certainty=0.95)
    assert missing == pytest.approx(lognorm(s=BOBBIN_PRIOR.predictive_sigma, scale=1250).ppf(0.95), rel=1e-9)


# --- the stock


def test_stock_is_the_less_certain_the_worse_it_is_known():
    assert (
        RELATIVE_SIGMA["sealed"]
        < RELATIVE_SIGMA["weighed"]
        < RELATIVE_SIGMA["judged"]
        < RELATIVE_SIGMA["unknown"]
    )


def test_errors_of_separate_spools_add_as_squares():
    assert combine_free([(1000.0, 3.0), (2000.0, 4.0), (500.0, 12.0)]) == (3500.0, 13.0)
    assert combine_free([]) == (0.0, 0.0)


# --- learning


def test_one_observation_updates_by_the_textbook_formula():
    # Gelman et al., Bayesian Data Analysis, 3rd ed., eq. 2.10: precisions add, means weigh by precision.
    prior = Factor(mean_log=0.05, sigma=0.12, scatter=0.06)
    y, sigma = math.log(1.2), 0.03
    variance = 0.06**2 + 0.03**2
    after = posterior(prior, [(y, sigma)])
    assert after.mean_log == pytest.approx(
        (0.05 / 0.12**2 + y / variance) / (1 / 0.12**2 + 1 / variance), rel=1e-12
    )
    assert after.sigma**2 == pytest.approx(1 / (1 / 0.12**2 + 1 / variance), rel=1e-12)
    assert after.scatter == prior.scatter


@given(
    observations=st.lists(st.tuples(st.floats(-0.5, 0.5), st.floats(0.0, 0.3)), max_size=8),
)
def test_learning_job_by_job_is_learning_from_all_at_once(observations):
    at_once = posterior(NEEDLE_PRIOR, observations)
    step_by_step = NEEDLE_PRIOR
    for observation in observations:
        step_by_step = posterior(step_by_step, [observation])
    assert step_by_step.mean_log == pytest.approx(at_once.mean_log, abs=1e-12)
    assert step_by_step.sigma == pytest.approx(at_once.sigma, rel=1e-12)


@pytest.mark.parametrize("prior", [NEEDLE_PRIOR, BOBBIN_PRIOR])
def test_ten_weigh_backs_halve_the_interval_of_the_next_job(prior):
    after = posterior(prior, [(math.log(1.1), 0.05)] * 10)
    assert after.predictive_sigma < prior.predictive_sigma / 2
    assert after.sigma < prior.sigma / 2


def test_after_ten_weigh_backs_the_interval_holds_the_next_job_as_often_as_it_says():
    rng = np.random.default_rng(17)
    held = 0
    for _ in range(4000):
        truth = rng.normal(NEEDLE_PRIOR.mean_log, NEEDLE_PRIOR.sigma)
        seen = truth + rng.normal(0, math.hypot(NEEDLE_PRIOR.scatter, 0.04), 10)
        after = posterior(NEEDLE_PRIOR, [(y, 0.04) for y in seen])
        next_job = rng.normal(truth, NEEDLE_PRIOR.scatter)
        held += abs(next_job - after.mean_log) <= 1.959964 * after.predictive_sigma
    assert held / 4000 == pytest.approx(0.95, abs=0.015)


def test_a_rough_weighing_teaches_less_than_a_fine_one():
    fine = posterior(NEEDLE_PRIOR, [(0.2, 0.01)])
    rough = posterior(NEEDLE_PRIOR, [(0.2, 0.30)])
    assert fine.sigma < rough.sigma < NEEDLE_PRIOR.sigma
    assert fine.mean_log > rough.mean_log > 0


def test_nothing_observed_leaves_the_prior_and_a_known_factor_stays():
    assert posterior(BOBBIN_PRIOR, []).mean_log == pytest.approx(BOBBIN_PRIOR.mean_log, rel=1e-12)
    assert posterior(BOBBIN_PRIOR, []).sigma == pytest.approx(BOBBIN_PRIOR.sigma, rel=1e-12)
    known = Factor(mean_log=0.1, sigma=0.0, scatter=0.06)
    assert posterior(known, [(0.5, 0.1)]) == known


def test_a_weigh_back_is_the_log_of_its_ratio_with_its_relative_error():
    assert observed(1200.0, geometry_mm=1000.0, sigma_mm=24.0) == WeighBack(math.log(1.2), 0.02)


@pytest.mark.parametrize(
    "ask",
    [
        lambda: Factor(mean_log=0.0, sigma=-0.1),
        lambda: Factor(mean_log=math.nan, sigma=0.1),
        lambda: factor_about(0.0, plus_minus=0.1),
        lambda: need(-1.0, NEEDLE_PRIOR),
        lambda: p_enough(math.nan, NEEDLE_PRIOR, free_mm=1.0, free_sigma_mm=0.0),
        lambda: p_enough(1.0, NEEDLE_PRIOR, free_mm=math.inf, free_sigma_mm=0.0),
        lambda: p_enough(1.0, NEEDLE_PRIOR, free_mm=1.0, free_sigma_mm=-1.0),
        lambda: geometry_covered(NEEDLE_PRIOR, free_mm=1.0, free_sigma_mm=0.0, certainty=1.0),
        lambda: missing_mm(1.0, NEEDLE_PRIOR, free_mm=1.0, free_sigma_mm=0.0, certainty=0.0),
        lambda: pieces_possible(
            1.0, NEEDLE_PRIOR, free_mm=1.0, free_sigma_mm=0.0, certainty=0.95, at_most=-1
        ),
        lambda: verdict(1.2),
        lambda: verdict(math.nan),
        lambda: verdict(0.7, enough_at=0.4, tight_at=0.5),
        lambda: observed(-3.0, geometry_mm=1000.0, sigma_mm=10.0),
        lambda: observed(1000.0, geometry_mm=0.0, sigma_mm=10.0),
        lambda: posterior(NEEDLE_PRIOR, [(math.nan, 0.1)]),
        lambda: posterior(Factor(mean_log=0.0, sigma=0.1, scatter=0.0), [(0.1, 0.0)]),
        lambda: combine_free([(1000.0, -1.0)]),
    ],
)
def test_a_question_without_an_answer_is_refused(ask):
    with pytest.raises(WorkshopError):
        ask()
