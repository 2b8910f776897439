"""How fast the sums of a run are made on this machine."""

from dataclasses import replace

import numpy as np
import pytest

from planning.compute.certainty.enough import NEEDLE_PRIOR
from planning.compute.colour.choice import OwnedSpool
from planning.compute.spools.turns import SpoolChoice, choose_spools
from tests.benchmarks.processor import yardsticks

pytestmark = pytest.mark.benchmark
LONG_YARDSTICKS = 34  # about two seconds


def spools_of_a_shade(rng, count):
    return [
        OwnedSpool(
            number,
            f"S{number:04}",
            int(rng.integers(60_000, 1_000_000)),
            float(rng.integers(1_000, 20_000)),
            lot=str(rng.choice(["A", "B", "C"])),
            is_open=bool(rng.integers(2)),
        )
        for number in range(count)
    ]


@pytest.mark.parametrize("blocks", [1, 3])
def test_twelve_spools_for_200_pieces(blocks, record_property):
    rng = np.random.default_rng(12)
    spools = spools_of_a_shade(rng, 12)
    total = sum(spool.free_mm for spool in spools)
    pieces_mm = [[0.7 * total / 200 / blocks] * blocks] * 200
    choose_spools(spools, pieces_mm=pieces_mm[:3], factor=NEEDLE_PRIOR, certainty=0.95)
    found: list[SpoolChoice] = []

    def choose() -> None:
        found.append(choose_spools(spools, pieces_mm=pieces_mm, factor=NEEDLE_PRIOR, certainty=0.95))

    times = [yardsticks(choose) for _ in range(5)]
    choice = found[-1]
    print(
        f"\n200 pieces of {blocks} blocks, 12 spools: {min(times):.2f} yardsticks of processor, {choice.merit}"
    )
    assert choice.is_complete
    assert choice.is_proven
    assert min(times) < 3.4  # about a fifth of a second


@pytest.mark.parametrize(("lots", "blocks"), [(3, 1), (3, 6), (20, 6), (0, 1), (0, 6)])
def test_forty_spools_for_1000_pieces_come_with_their_bound(lots, blocks):
    """Spools of few lots, of many, and of lots that nobody wrote down, nearly all of them needed."""
    rng = np.random.default_rng(40)
    spools = [
        replace(spool, lot=str(rng.integers(lots)) if lots else "") for spool in spools_of_a_shade(rng, 40)
    ]
    total = sum(spool.free_mm for spool in spools)
    found = []
    took = []
    for share in (0.5, 0.7, 0.78):
        pieces_mm = [[share * total / 1000 / blocks] * blocks] * 1000
        took.append(
            yardsticks(
                lambda pieces_mm=pieces_mm: found.append(
                    choose_spools(
                        spools,
                        pieces_mm=pieces_mm,
                        factor=NEEDLE_PRIOR,
                        certainty=0.95,
                        may_change_inside=True,
                    )
                )
            )
        )
    print(
        f"\n1,000 pieces of {blocks} blocks, 40 spools of {lots or 'unknown'} lots: {max(took):.1f} yardsticks "
        f"at most (target {LONG_YARDSTICKS}); {found[-1].merit}, bound {found[-1].bound}, {found[-1].proof}"
    )
    assert all(choice.merit >= choice.bound for choice in found)
    assert max(took) < LONG_YARDSTICKS
