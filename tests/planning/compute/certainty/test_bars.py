"""How well what is stated holds, over invented machines of many kinds, beside the rule there was before.

The bars are judgements of a study by simulation with seeds of its own; the seeds here are others. Run with
``-m thorough -s`` to see the whole table with its price in width.
"""

import math
from dataclasses import replace

import numpy as np
import pytest

from planning.compute.certainty import machine
from tests.planning.compute.certainty.worlds import (
    LOOKS,
    NEEDLE_ONLY,
    held_by,
    one_of,
    pairs,
    rule_before,
    watch,
    world,
)

pytestmark = pytest.mark.thorough

MACHINES = 1_000
BOTH = machine.Prior(levels=(0.0, 0.0), level_sds=(0.10, 0.165), jumps=(0.15, 0.20), ranges=2)

# The truth; after how many weigh-backs; the least share of next jobs inside the stated 95 % (None: cannot be known).
TRUTHS = {
    "as stated": ({}, {0: 0.94, 3: 0.95, 10: 0.95, 25: 0.95}),
    "scatter × 2": ({"scatter": 0.12}, {3: 0.87, 10: 0.89, 25: 0.93}),
    "scatter × ½": ({"scatter": 0.03}, {25: 0.95}),
    "t with 3 degrees": ({"tails": 3}, {10: 0.91}),
    "correlated 0.7": ({"correlated": 0.7}, {25: 0.94}),
    "prior off +25 %": ({"level": math.log(1.25)}, {0: 0.84, 3: 0.95}),
    "10 % jobs × 1.5": ({"odd_jobs": 0.1}, {10: 0.88}),
    "10 % weighings × 1.5": ({"odd_weighings": 0.1}, {10: 0.96}),
    "weighings mixed": ({"errors": (0.01, 0.03, 0.10)}, {10: 0.94}),
    "scale off +10 %": ({"scale_off": 0.1}, {10: None}),
    "drift 1 % a job": ({"drift": 0.01}, {25: 0.88}),
    "+20 % at job 16": ({"step": 0.2}, {15: None, 16: 0.74, 17: 0.87, 19: 0.93, 29: 0.94}),
    "-20 % at job 16": ({"step": -0.2}, {15: None, 19: 0.93}),
}


def test_the_stated_95_percent_hold_in_worlds_that_were_not_assumed():
    missed = []
    print('\ntruth                  after  inside 95 %   "95 % enough"   width (ln)     50 / 80 %')
    for number, (name, (how, bars)) in enumerate(TRUTHS.items()):
        found = world(np.random.default_rng(4_100 + number), machines=MACHINES, jobs=max(bars) + 1, **how)
        before, now = rule_before(found, at=tuple(bars)), watch(found, at=tuple(bars))
        for after, bar in bars.items():
            a, e = before[after], now[after]
            print(
                f"{name:22} {after:5}  {a.inside:.3f} → {e.inside:.3f}  {a.enough:.3f} → {e.enough:.3f}  "
                f"{a.width:.2f} → {e.width:.2f}   {e.inside_half:.2f} / {e.inside_most:.2f}   bar {bar}"
            )
            if bar is not None and e.inside < bar:
                missed.append((name, after, e.inside, bar))
            if name == "scatter × ½":
                assert e.width <= 0.20
            assert e.width <= 0.62 if after == 0 else e.width <= 0.60  # honest by being wide is not honest
    assert not missed


@pytest.mark.parametrize("step", [0.2, -0.2])
def test_a_change_that_was_told_is_certain_at_once(step):
    found = world(np.random.default_rng(4_201), machines=MACHINES, jobs=16, step=step)
    assert watch(found, at=(15,), told=15)[15].inside >= 0.94


def test_a_scale_that_is_off_does_not_matter_where_stock_was_weighed_on_it():
    found = world(np.random.default_rng(4_202), machines=MACHINES, jobs=11, scale_off=0.1)
    found.truth += math.log1p(0.1)
    for held in watch(found, at=(3, 10)).values():
        assert held.inside >= 0.95


@pytest.mark.parametrize(
    ("how", "bar"), [({}, 0.95), ({"level": math.log(1.25)}, 0.95), ({"spread": 0.12}, 0.87)]
)
def test_a_new_range_starts_from_what_two_others_taught(how, bar):
    rng = np.random.default_rng(4_203)
    prior = replace(NEEDLE_ONLY, ranges=2)
    level = how.get("level")
    levels = rng.normal(0.0, 0.10, MACHINES) if level is None else np.full(MACHINES, level)
    ranges = rng.normal(0.0, how.get("spread", 0.06), (MACHINES, 3))
    belief = machine.untaught(prior, machines=(MACHINES,))
    for job in range(10):
        own = job % 2
        weighed = levels + ranges[:, own] + math.hypot(0.06, 0.03) * rng.standard_normal(MACHINES)
        looks = {0: 1.0, prior.range_place(own): 1.0}
        belief, _ = machine.observe(machine.begin_job(belief), looks, log_ratio=weighed, sigma=0.03)
    truth = levels + ranges[:, 2] + 0.06 * rng.standard_normal(MACHINES)
    held = held_by(truth, machine.begin_job(belief), {0: 1.0}, new_range=True)
    print(f"\nnew range {how}: inside {held.inside:.3f}, enough {held.enough:.3f}, width {held.width:.2f}")
    assert held.inside >= bar


def test_a_change_of_tension_is_followed_by_both_threads():
    at = {16: 0.70, 17: None, 19: 0.93, 29: 0.94}
    slopes, truth, weighed = pairs(np.random.default_rng(4_204), machines=MACHINES, jobs=30, kappa_step=-0.12)
    belief = machine.untaught(BOTH, machines=(MACHINES,))
    for job in range(30):
        belief = machine.begin_job(belief)
        looks = [
            {kind: 1.0, BOTH.kappa: slopes[kind, :, job], BOTH.range_place(kind): 1.0} for kind in (0, 1)
        ]
        if job in at:
            needle, bobbin = (held_by(truth[kind, :, job], belief, looks[kind], widths=20) for kind in (0, 1))
            print(
                f"\nκ −0.12, job {job + 1}: needle {needle.inside:.3f}, bobbin {bobbin.inside:.3f}, {bobbin.width:.2f}"
            )
            if at[job]:
                assert bobbin.inside >= at[job]
            assert needle.inside >= 0.90
        for kind in (0, 1):
            belief, _ = machine.observe(belief, looks[kind], log_ratio=weighed[kind, :, job], sigma=0.03)


def first_said(machines: int, jobs: int, *, seed: int, **how) -> list[tuple[int, machine.MachineChange]]:
    """Return for each machine that says so the job after which it first tells of a change, and what."""
    found = world(np.random.default_rng(seed), machines=machines, jobs=jobs, **how)
    belief = machine.untaught(NEEDLE_ONLY, machines=(machines,))
    said: dict[int, tuple[int, machine.MachineChange]] = {}
    for job in range(jobs):
        belief, _ = machine.observe(
            machine.begin_job(belief), LOOKS, log_ratio=found.weighed[:, job], sigma=found.error[:, job]
        )
        for number in set(range(machines)) - set(said):
            change = machine.change_seen(one_of(belief, number), (0.0,))
            if change:
                said[number] = job, change
    return list(said.values())


@pytest.mark.parametrize("step", [0.2, -0.2])
def test_a_change_is_said_soon_with_its_day_and_its_size(step):
    said = [(job, change) for job, change in first_said(500, 23, seed=4_205, step=step) if change.job > 13]
    after = [job - 14 for job, _ in said]
    start = np.mean([abs(change.job - 16) <= 1 for _, change in said])
    factors = np.percentile([math.exp(change.effects[0]) for _, change in said], [10, 50, 90])
    print(f"\n{step:+.0%}: said after {np.median(after)}, start right {start:.2f}, factor {factors.round(2)}")
    assert np.median(after) <= 4
    assert start >= 0.9
    assert factors[1] == pytest.approx(1 + step, rel=0.03)


def test_a_machine_that_is_as_stated_is_hardly_ever_said_to_have_changed():
    kinds = {"as stated": {}, "t3": {"tails": 3}, "scatter × 2": {"scatter": 0.12}, "odd": {"odd_jobs": 0.1}}
    shares = {name: len(first_said(500, 25, seed=4_206, **how)) / 500 for name, how in kinds.items()}
    print(f"\nsaid unprompted in 25 jobs: {shares}")
    assert shares["as stated"] <= 0.02
