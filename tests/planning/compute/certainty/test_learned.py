"""What is stated holds: intervals over invented truths, and odd weigh-backs marked."""

import math

import numpy as np
import pytest

from inventory.compute.errors import WorkshopError
from planning.compute.certainty.enough import BOBBIN_PRIOR, NEEDLE_PRIOR, WeighBack, p_enough
from planning.compute.certainty.learned import factor_interval, learn, need_interval

BATCHES = 10_000
STATED = (0.50, 0.80, 0.95)


def weigh_backs(rng, prior, truth, count):
    """Invented weigh-backs of jobs whose factor scatters about the truth, each weighed with its own error."""
    sigmas = rng.uniform(0.01, 0.06, size=count)
    errors = rng.standard_normal(count) * np.hypot(prior.scatter, sigmas)
    return [WeighBack(truth + error, sigma) for error, sigma in zip(errors, sigmas, strict=True)]


def held(prior, *, seed, gross=0.0, said=None):
    """The shares of batches whose real use lay in the stated intervals."""
    rng = np.random.default_rng(seed)
    inside = dict.fromkeys(STATED, 0)
    for _ in range(BATCHES):
        truth = rng.normal(prior.mean_log, prior.sigma)
        seen = weigh_backs(rng, prior, truth, int(rng.integers(0, 11)))
        seen = [
            WeighBack(each.log_ratio + rng.choice([-1, 1]) * 0.9, each.sigma)
            if rng.random() < gross
            else each
            for each in seen
        ]
        words = dict.fromkeys(range(len(seen)), True) if said else None
        factor = learn(prior, seen, said=words).factor
        geometry_mm = rng.uniform(1_000, 500_000)
        used_mm = geometry_mm * math.exp(truth + prior.scatter * rng.standard_normal())
        for share in STATED:
            low, high = need_interval(geometry_mm, factor, share=share)
            inside[share] += low <= used_mm <= high
    return {share: count / BATCHES for share, count in inside.items()}


@pytest.mark.parametrize("prior", [NEEDLE_PRIOR, BOBBIN_PRIOR])
def test_the_stated_intervals_hold_what_they_state_over_10_000_batches(prior):
    for share, found in held(prior, seed=50).items():
        assert found == pytest.approx(share, abs=0.015)


def test_one_weigh_back_in_twenty_gone_wrong_does_not_spoil_the_intervals():
    kept = held(NEEDLE_PRIOR, seed=51, gross=0.05)
    assert kept[0.95] == pytest.approx(0.95, abs=0.015)
    assert held(NEEDLE_PRIOR, seed=51, gross=0.05, said=True)[0.95] < 0.92  # swallowed, they would


@pytest.mark.parametrize("prior", [NEEDLE_PRIOR, BOBBIN_PRIOR])
def test_after_ten_weigh_backs_the_interval_is_at_most_half_the_priors(prior):
    rng = np.random.default_rng(52)
    for _ in range(50):
        truth = rng.normal(prior.mean_log, prior.sigma)
        factor = learn(prior, weigh_backs(rng, prior, truth, 10)).factor
        for share in STATED:
            low, high = factor_interval(factor, share=share)
            before_low, before_high = factor_interval(prior, share=share)
            assert math.log(high / low) <= math.log(before_high / before_low) / 2


def test_enough_after_learning_is_as_often_enough_as_stated():
    """P(enough) over batches whose stock and use are both invented: the mean of what is stated is what happens."""
    rng = np.random.default_rng(53)
    stated, happened = [], []
    for _ in range(BATCHES):
        truth = rng.normal(NEEDLE_PRIOR.mean_log, NEEDLE_PRIOR.sigma)
        factor = learn(NEEDLE_PRIOR, weigh_backs(rng, NEEDLE_PRIOR, truth, 3)).factor
        free_mm = 100_000 * rng.uniform(0.8, 1.3)
        stated.append(p_enough(100_000, factor, free_mm=free_mm, free_sigma_mm=4_000.0))
        there_mm = free_mm + 4_000.0 * rng.standard_normal()
        happened.append(there_mm >= 100_000 * math.exp(truth + 0.06 * rng.standard_normal()))
    stated, happened = np.array(stated), np.array(happened)
    for low, high in ((0.0, 0.2), (0.2, 0.5), (0.5, 0.8), (0.8, 0.95), (0.95, 1.0)):
        these = (stated >= low) & (stated <= high)
        error = 3 * math.sqrt(0.25 / these.sum())
        assert happened[these].mean() == pytest.approx(stated[these].mean(), abs=min(0.03, error))


def test_a_weigh_back_far_from_the_others_is_marked_and_left_out_until_a_person_says_otherwise():
    usual = [WeighBack(x, 0.02) for x in (0.05, 0.08, 0.02, 0.06)]
    odd = WeighBack(0.9, 0.02)
    learned = learn(NEEDLE_PRIOR, [*usual, odd])
    assert [each.observation for each in learned.outliers] == [odd]
    assert learned.factor == learn(NEEDLE_PRIOR, usual).factor
    believed = learn(NEEDLE_PRIOR, [*usual, odd], said={4: True})
    assert believed.observations[4].counts
    assert believed.observations[4].is_outlier  # still marked
    assert believed.factor.mean_log > learned.factor.mean_log + 0.1


def test_two_odd_weigh_backs_do_not_hide_each_other_nor_taint_the_good():
    usual = [WeighBack(x, 0.02) for x in (0.05, 0.08, 0.02, 0.06, 0.04, 0.03)]
    learned = learn(NEEDLE_PRIOR, [*usual, WeighBack(0.9, 0.02), WeighBack(0.95, 0.02)])
    assert [each.is_outlier for each in learned.observations] == [False] * 6 + [True] * 2


def test_a_person_can_leave_out_what_the_rule_would_keep():
    seen = [WeighBack(0.05, 0.02), WeighBack(0.08, 0.02)]
    assert learn(NEEDLE_PRIOR, seen, said={1: False}).factor == learn(NEEDLE_PRIOR, seen[:1]).factor


def test_a_word_on_a_weigh_back_that_is_not_there_is_refused():
    with pytest.raises(WorkshopError, match="weigh-back 3, but there are 1"):
        learn(NEEDLE_PRIOR, [WeighBack(0.0, 0.02)], said={2: True})


def test_without_a_weigh_back_the_prior_stands():
    factor = learn(NEEDLE_PRIOR, []).factor
    assert (factor.mean_log, factor.scatter) == (0.0, 0.06)
    assert factor.sigma == pytest.approx(0.12)
