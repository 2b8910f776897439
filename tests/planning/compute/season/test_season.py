"""The season engine says what today's planner says, job by job: verdicts, shades, metres, and claims to the mm."""

from random import Random

import pytest

from planning.compute.batch.taking import claims
from planning.compute.season.stand import without_layouts
from tests.planning.compute.season.small_seasons import planned, small_season, stood
from tests.sizes import searched


def assert_alike(seed: int, *, jobs: int = 6) -> None:
    season = small_season(Random(seed), jobs=jobs)
    for number, (plan, found) in enumerate(zip(planned(season), stood(season), strict=True)):
        where = (seed, number)
        assert found.claims == claims(plan), where
        assert found.verdict == plan.verdict, where
        assert found.bobbins == plan.bobbins, where
        # Where each piece lies, only the plan tells.
        assert found.stabilizer == without_layouts(plan.stabilizer), where
        assert found.pieces == plan.pieces, where
        assert [
            (each.hex, each.name, each.blocks, each.shade, each.verdict, each.needed_mm, each.needed_sigma_mm,
             each.spools, each.is_off_colour, each.to_buy)
            for each in found.threads
        ] == [
            (each.hex, each.name, each.blocks, each.choice.shade.id if each.choice.near_enough else None, each.verdict,
             each.needed_mm, each.needed_sigma_mm, each.spools, each.colour_verdict == "off colour",
             each.to_buy.id if each.to_buy else None)
            for each in plan.threads
        ], where  # fmt: skip
        lacking = [each.missing_mm for each in plan.threads if each.verdict != "enough"]
        assert [each.missing_mm for each in found.threads if each.verdict != "enough"] == lacking, where


def test_a_few_small_seasons_stand_as_they_are_planned() -> None:
    for seed in range(5):
        assert_alike(seed, jobs=2)


@pytest.mark.parametrize("hundred", searched(range(5)))
def test_hundreds_of_small_seasons_stand_as_they_are_planned(hundred: int) -> None:
    for seed in range(100 * hundred, 100 * hundred + 100):
        assert_alike(seed)


def test_what_is_kept_is_what_would_be_found_anew() -> None:
    for seed in range(2):
        season, kept = small_season(Random(seed), jobs=2), {}
        first, again, anew = (list(stood(season, kept=each)) for each in (kept, kept, None))
        assert first == again == anew
