"""Shades for a whole design: speed, proof, and what nearest-per-colour would have done on the same cases."""

import statistics
from collections import Counter

import numpy as np
import pytest

from inventory.compute.colour.lab import Lab
from planning.compute.colour.case import covered_mm
from planning.compute.colour.choice import ColourRequest, OwnedShade, OwnedSpool
from planning.compute.colour.rules import Conditions, choice_problems, lab_array
from planning.compute.colour.substitution import Substitution, prepare, substitute
from tests.benchmarks.processor import yardsticks

CASES, BLOCKS, SHADES = 200, 15, 2_000


def random_labs(rng: np.random.Generator, n: int, *, spread: float) -> list[Lab]:
    """Colours about a few families, as designs and shelves have them: many reds, few of some others."""
    families = np.column_stack([rng.uniform(25, 80, 8), rng.uniform(-45, 55, 8), rng.uniform(-45, 55, 8)])
    labs = families[rng.integers(0, 8, n)] + rng.normal(0, spread, (n, 3))
    return [Lab(float(np.clip(L, 5, 95)), float(a), float(b)) for L, a, b in labs]


def random_case(seed: int) -> tuple[list[ColourRequest], list[OwnedShade]]:
    """Fifteen colours of one to three families on a shelf of 2,000 shades, a third of them nearly used up."""
    rng = np.random.default_rng(seed)
    shade_labs = [
        Lab(*(float(each) for each in row))
        for row in np.column_stack(
            [rng.uniform(15, 92, SHADES), rng.uniform(-60, 70, SHADES), rng.uniform(-60, 75, SHADES)]
        )
    ]
    shades = []
    for number, lab in enumerate(shade_labs):
        free_mm = round(float(rng.uniform(5e3, 2e5) if rng.random() < 1 / 3 else rng.uniform(2e5, 4e6)))
        sigma_mm = free_mm * float(rng.choice([0.01, 0.03, 0.1]))
        spools = (OwnedSpool(number, f"S{number:04}", free_mm, sigma_mm),)
        shades.append(OwnedShade(number, 1, "Skerry", "Forty", str(number), "", "#000000", lab, spools))
    requests = [
        ColourRequest("#000000", lab, float(rng.lognormal(np.log(80e3), 0.9)), f"colour {number}")
        for number, lab in enumerate(random_labs(rng, BLOCKS, spread=8.0))
    ]
    return requests, shades


def overdrawn_mm(
    chosen: list[OwnedShade | None], requests: list[ColourRequest], conditions: Conditions
) -> float:
    """The thread of all shades beyond what each surely covers, as geometry."""
    needs: Counter[int] = Counter()
    by_id = {shade.id: shade for shade in chosen if shade}
    for shade, request in zip(chosen, requests, strict=True):
        if shade:
            needs[shade.id] += request.geometry_mm
    shades = [by_id[id] for id in needs]
    covers = covered_mm(shades, conditions, enough_mm=sum(needs.values()))
    return sum(max(0.0, need - float(cover)) for need, cover in zip(needs.values(), covers, strict=True))


@pytest.mark.benchmark
def test_fifteen_colours_on_2000_shades_are_chosen_at_once(capsys: pytest.CaptureFixture[str]) -> None:
    conditions = Conditions()
    substitute(*random_case(CASES), conditions)  # warms caches
    taken, proven = [], 0
    ours: Counter[str] = Counter()
    theirs: Counter[str] = Counter()
    rises, means = [], []
    over_mm = [0.0, 0.0]  # by nearest of each, chosen together
    for seed in range(CASES):
        requests, shades = random_case(seed)
        found: list[Substitution] = []
        taken.append(
            yardsticks(
                lambda requests=requests, shades=shades, found=found: found.append(
                    substitute(requests, shades, conditions)
                )
            )
        )
        (answer,) = found
        proven += answer.is_proven
        chosen = [choice.shade for choice in answer.choices]
        problems = choice_problems(chosen, requests, shades, conditions)
        assert problems == list(answer.broken)
        ours.update(problem.rule for problem in problems)
        setting = prepare(requests, shades, conditions)
        nearest = [shades[column] for column in setting.distance.argmin(axis=1)]
        theirs.update(problem.rule for problem in choice_problems(nearest, requests, shades, conditions))
        ours["same shade"] += BLOCKS - len({shade.id for shade in chosen if shade})
        theirs["same shade"] += BLOCKS - len({shade.id for shade in nearest})
        over_mm[0] += overdrawn_mm(nearest, requests, conditions)
        over_mm[1] += overdrawn_mm(chosen, requests, conditions)
        means.append(answer.mean_delta_e)
        rises.append(answer.mean_delta_e - float(setting.weights @ setting.distance.min(axis=1)))
        assert len(lab_array([shade.lab for shade in shades])) == SHADES
    with capsys.disabled():
        print(f"\n{CASES} cases of {BLOCKS} colours on {SHADES:,} shades, all rules")
        print(
            f"  yardsticks of processor: median {statistics.median(taken):.2f}, "
            f"95th percentile {sorted(taken)[int(0.95 * CASES)]:.2f}, worst {max(taken):.2f}"
        )
        print(f"  proven best: {proven} of {CASES}")
        for rule, words in (
            ("same shade", "colours merged into another's shade"),
            ("apart", "pairs no longer told apart"),
            ("metres", "shades overdrawn"),
            ("order", "pairs out of order"),
            ("near", "colours with nothing near"),
        ):
            print(f"  {words}: {theirs[rule]} by nearest of each, {ours[rule]} chosen together")
        print(
            f"  metres overdrawn: {over_mm[0] / 1000:,.0f} by nearest of each, {over_mm[1] / 1000:,.0f} chosen together"
        )
        print(f"  mean ΔE00 chosen together: {statistics.mean(means):.3f}")
        print(f"  rise in mean ΔE00: mean {statistics.mean(rises):.3f}, most {max(rises):.3f}")
    assert statistics.median(taken) <= 2.6  # about 0.15 s
    assert max(taken) <= 34  # about two seconds
    assert over_mm[1] <= over_mm[0]
    assert (ours["metres"], ours["apart"]) <= (theirs["metres"], theirs["apart"])
