"""After a season the shelf is as near the truth as it says: what the books have against what is really there.

What is really there is kept beside (``true_workshop``) and never drawn from what the program believes.
"""

import math
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
        f"{kind} ({len(own)}): "
        + "/".join(f"{within(own, sigmas):.3f}" for sigmas in (1, 2, 3))
        + f" within 1/2/3 sigmas, typically {typical(own):.2f}"
        for kind, own in parts
    )


def typical(off: list[OffBy]) -> float:
    """Return by how many of its sigmas a thing is off on the whole, by squares: 1 where they say just what is true."""
    return math.sqrt(sum(each.sigmas**2 for each in off) / len(off))


def hold_to(off: list[OffBy]) -> None:
    """Hold each kind of thing to the bar: 95 % within two of the sigmas that the books state.

    Nothing is allowed for chance but this: of fewer than twenty things, of which one is more than 5 %, one may be off.
    """
    print(f"\n{in_words(off)}")
    for kind in ("spool", "roll", "bobbins"):
        own = [each for each in off if each.kind == kind]
        assert own, kind
        outside = [each for each in own if abs(each.sigmas) > 2]
        assert len(outside) <= max(1, 0.05 * len(own)), (kind, outside)
        # What is said of everything is always right: the stated sigma is worth something as well.
        assert len(own) < 20 or within(own, 1) <= 0.9, kind
    assert within(off, 2) >= 0.95
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
