"""After a season the shelf is as near the truth as it says: what the books have against what is really there.

What is really there is kept beside (``true_workshop``) and never drawn from what the program believes.
"""

from pathlib import Path

import pytest
from django.db import transaction

from inventory.ledger import ledger_problems
from tests.planning.run.seasons.true_season import Season
from tests.planning.run.seasons.true_workshop import OffBy

pytestmark = pytest.mark.django_db
JOBS = 60


class _Over(Exception):
    """The season is over: its database is not needed any more."""


def off_after(seeds: range, folder: Path) -> list[OffBy]:
    """Return by how much each thing that a season touched is off, for each seed in a workshop of its own."""
    found: list[OffBy] = []
    for seed in seeds:
        try:
            with transaction.atomic():
                season = Season(seed, folder)
                season.through(JOBS)
                off = season.truth.off_by()
                found += off
                print(f"\nseed {seed}: {season.told}\n  {in_words(off)}")
                for each in off:
                    if abs(each.sigmas) > 2:
                        print(f"  {each}")
                assert not ledger_problems()
                raise _Over
        except _Over:
            pass
    return found


def within(off: list[OffBy], sigmas: float) -> float:
    return sum(abs(each.sigmas) <= sigmas for each in off) / len(off)


def in_words(off: list[OffBy]) -> str:
    kinds = sorted({each.kind for each in off})
    parts = [(kind, [each for each in off if each.kind == kind]) for kind in kinds] + [("all", off)]
    return "; ".join(
        f"{kind} ({len(own)}): " + "/".join(f"{within(own, sigmas):.3f}" for sigmas in (1, 2, 3))
        for kind, own in parts
    )


def hold_to(off: list[OffBy]) -> None:
    print(f"\n{in_words(off)}")
    assert within(off, 2) >= 0.95
    for kind in ("spool", "roll", "bobbins"):
        own = [each for each in off if each.kind == kind]
        # Of a few bobbins, one that is miscounted by one is no share of anything.
        assert sum(abs(each.sigmas) > 3 for each in own) <= max(1, 0.05 * len(own))
    # What is said of everything is always right: the stated sigma is worth something as well.
    assert within(off, 1) <= 0.9


@pytest.mark.thorough
def test_after_a_season_the_shelf_is_as_near_the_truth_as_it_says(tmp_path):
    hold_to(off_after(range(1, 2), tmp_path))


@pytest.mark.exhaustive
def test_after_three_seasons_the_shelf_is_as_near_the_truth_as_it_says(tmp_path):
    hold_to(off_after(range(1, 4), tmp_path))


@pytest.mark.exhaustive
def test_after_a_dozen_seasons_the_shelf_is_as_near_the_truth_as_it_says(tmp_path):
    hold_to(off_after(range(11, 23), tmp_path))
