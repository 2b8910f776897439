"""What weigh-backs teach: odd ones borne, changes noticed and told, new ranges from old ones, the same bits again."""

import math

import numpy as np
import pytest
from scipy.stats import binom

from inventory.compute.errors import WorkshopError
from planning.compute.certainty.factor import Factor
from planning.compute.certainty.learned import (
    TIME_PRIOR,
    InsideBand,
    Taught,
    UseSeen,
    WeighedJob,
    factor_interval,
    learn,
    need_interval,
    thread_prior,
)

NEEDLE, BOBBIN = 0, 1
PRIOR = thread_prior()


def jobs_about(*factors: float, sigma: float = 0.02, kind: int = NEEDLE, range: int = 1, **how) -> tuple:
    """Jobs of which one thread each was weighed back, with these factors."""
    return tuple(WeighedJob((UseSeen(kind, range, math.log(each), sigma, **how),)) for each in factors)


def width(taught: Taught, *, kind: int = NEEDLE, range: int = 1) -> float:
    low, high = factor_interval(taught.factor(kind, range), share=0.95)
    return math.log(high / low)


USUAL = (1.05, 1.08, 1.02, 1.06, 1.04, 1.03, 1.09, 1.01, 1.05, 1.07)


def test_before_anything_was_weighed_the_published_rules_stand():
    needle, bobbin = (learn(PRIOR, ()).factor(kind, 1) for kind in (NEEDLE, BOBBIN))
    assert needle.median == pytest.approx(1.0)
    assert bobbin.median == pytest.approx(1.0)
    assert learn(thread_prior(1.25), ()).factor(BOBBIN, 1).median == pytest.approx(1.25)
    assert needle.predictive_sigma == pytest.approx(0.14, abs=0.02)
    assert bobbin.predictive_sigma > needle.predictive_sigma


def test_weigh_backs_move_the_factor_and_narrow_it():
    taught = learn(PRIOR, jobs_about(*USUAL))
    assert taught.factor(NEEDLE, 1).median == pytest.approx(1.05, abs=0.01)
    assert width(taught) < 0.6 * width(learn(PRIOR, ()))


def test_one_odd_weigh_back_moves_little_and_is_marked_until_a_person_says_that_it_counts():
    usual, odd = jobs_about(*USUAL), jobs_about(2.4)
    taught = learn(PRIOR, usual + odd)
    assert taught.judged[-1][0].is_odd
    assert taught.judged[-1][0].counts
    assert taught.factor(NEEDLE, 1).median == pytest.approx(
        learn(PRIOR, usual).factor(NEEDLE, 1).median, rel=0.02
    )
    believed = learn(PRIOR, usual + jobs_about(2.4, said=True))
    assert believed.factor(NEEDLE, 1).median > taught.factor(NEEDLE, 1).median + 0.05
    left_out = learn(PRIOR, usual + jobs_about(2.4, said=False))
    assert not left_out.judged[-1][0].counts
    assert left_out.factor(NEEDLE, 1).median == pytest.approx(1.05, abs=0.01)


def test_a_machine_that_scatters_more_gets_a_wider_band():
    rng = np.random.default_rng(60)
    calm = learn(PRIOR, jobs_about(*np.exp(0.03 * rng.standard_normal(25))))
    wild = learn(PRIOR, jobs_about(*np.exp(0.12 * rng.standard_normal(25))))
    assert width(calm) < 0.22
    assert width(wild) > 2 * width(calm)


def test_a_change_is_noticed_and_dated():
    rng = np.random.default_rng(61)
    factors = np.exp(0.05 * rng.standard_normal(22)) * np.where(np.arange(22) >= 15, 1.25, 1.0)
    taught = learn(PRIOR, jobs_about(*factors))
    (change,) = taught.changes
    assert abs(change.job - 16) <= 1
    assert math.exp(change.effects[NEEDLE]) == pytest.approx(1.25, abs=0.07)
    assert taught.factor(NEEDLE, 1).median == pytest.approx(1.25, abs=0.07)
    assert not learn(PRIOR, jobs_about(*factors[:15])).changes


def test_a_change_that_was_told_widens_the_band_at_once():
    usual = jobs_about(*USUAL)
    assert width(learn(PRIOR, usual, changed_since=True)) > 1.5 * width(learn(PRIOR, usual))
    (told,) = jobs_about(1.3)
    followed = learn(PRIOR, (*usual, WeighedJob(told.weigh_backs, told_changed=True)))
    assert followed.factor(NEEDLE, 1).median > learn(PRIOR, (*usual, told)).factor(NEEDLE, 1).median + 0.05


def test_a_new_range_starts_from_what_its_machine_taught():
    taught = learn(PRIOR, jobs_about(*(1.2 * each for each in USUAL)))
    new = taught.factor(NEEDLE, 99)
    assert 1.12 < new.median < taught.factor(NEEDLE, 1).median  # most of the way, for ranges differ
    assert width(taught) < width(taught, range=99) < width(learn(PRIOR, ()))


def test_the_tension_is_learned_from_both_threads_and_tells_satin_from_fill():
    rng = np.random.default_rng(62)
    jobs = []
    for _ in range(20):
        needle_slope, bobbin_slope = rng.uniform(0.0, 1.1), rng.uniform(-3.0, 0.0)
        needle = -0.1 * needle_slope + 0.04 * rng.standard_normal()
        bobbin = -0.1 * bobbin_slope + 0.04 * rng.standard_normal()
        backs = (
            UseSeen(NEEDLE, 1, needle, 0.02, needle_slope),
            UseSeen(BOBBIN, 2, bobbin, 0.02, bobbin_slope),
        )
        jobs.append(WeighedJob(backs))
    taught = learn(PRIOR, tuple(jobs))
    assert taught.factor(NEEDLE, 1, slope=1.0).median < taught.factor(NEEDLE, 1, slope=0.0).median - 0.03
    assert taught.factor(BOBBIN, 2, slope=-3.0).median > taught.factor(BOBBIN, 2, slope=0.0).median + 0.15


def test_an_old_weigh_back_without_its_slope_still_teaches():
    assert learn(PRIOR, jobs_about(*(1.2,) * 5)).factor(NEEDLE, 1).median == pytest.approx(1.2, abs=0.03)


def test_the_same_weigh_backs_teach_the_same_to_the_last_bit():
    jobs = jobs_about(*USUAL) + jobs_about(1.3, kind=BOBBIN, range=5)
    first = learn(PRIOR, jobs)
    learn.cache_clear()
    again = learn(PRIOR, jobs)
    assert first is not again
    for kind, range in ((NEEDLE, 1), (BOBBIN, 5), (NEEDLE, 9)):
        assert first.factor(kind, range) == again.factor(kind, range)
    assert (first.judged, first.changes) == (again.judged, again.changes)


def test_how_often_the_band_held_is_counted_from_what_was_stated_before_each_job():
    jobs = jobs_about(*USUAL, 1.9)
    taught = learn(PRIOR, jobs)
    assert taught.kept(jobs=jobs) == InsideBand(11, 10)
    assert taught.kept(BOBBIN, jobs=jobs) == InsideBand(0, 0)
    wild = jobs_about(*(1.0, 2.0, 0.5) * 3)
    assert learn(PRIOR, wild).kept(jobs=wild).inside < 9
    assert InsideBand(20, 16).is_too_few
    assert not InsideBand(20, 17).is_too_few


def test_too_few_is_the_lower_end_of_the_binomial_distribution():
    for of in range(1, 21):
        for inside in range(of + 1):
            assert InsideBand(of, inside).is_too_few == (binom.cdf(inside, of, 0.95) < 0.05)


def test_machine_time_is_learned_by_the_same_rules():
    jobs = tuple(WeighedJob((UseSeen(0, 0, 0.2, 0.05, 0.0),)) for _ in range(5))
    assert learn(TIME_PRIOR, jobs).factor(0, 0).median == pytest.approx(1.2, abs=0.03)


def test_what_teaches_nothing_is_refused():
    with pytest.raises(WorkshopError, match="teaches nothing"):
        UseSeen(NEEDLE, 1, math.nan, 0.02)
    with pytest.raises(WorkshopError, match="0 or more"):
        UseSeen(NEEDLE, 1, 0.0, -0.1)
    with pytest.raises(WorkshopError, match="between 0 and 1"):
        need_interval(1.0, Factor(0.0, 0.1), share=1.0)
