"""Bobbins are changed at block boundaries before they run out."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.compute.errors import WorkshopError
from inventory.compute.knowing import RELATIVE_SIGMA
from planning.compute.bobbins import p_enough_bobbins, run_of_bobbins
from planning.compute.certainty import BOBBIN_PRIOR

blocks = st.lists(st.floats(1, 90), min_size=1, max_size=6)


def test_a_bobbin_is_changed_before_the_block_it_cannot_finish():
    run = run_of_bobbins([[60.0, 50.0]] * 2, bobbin_mm=100.0)
    assert [(change.piece, change.block) for change in run.changes] == [(1, 1), (2, 0), (2, 1)]
    assert run.count == 4


def test_a_block_longer_than_a_bobbin_starts_on_a_fresh_one_and_is_interrupted():
    run = run_of_bobbins([[10.0, 250.0]], bobbin_mm=100.0)
    assert [(change.piece, change.block) for change in run.changes] == [(1, 1)]
    assert (run.inside_blocks, run.count) == (2, 4)


def test_an_empty_bobbin_is_refused():
    with pytest.raises(WorkshopError, match="stitches nothing"):
        run_of_bobbins([[10.0]], bobbin_mm=0.0)


@given(blocks, st.integers(1, 12))
def test_no_bobbin_runs_out_inside_a_block(block_mm, pieces):
    run = run_of_bobbins([block_mm] * pieces, bobbin_mm=100.0)
    changes = {(change.piece, change.block) for change in run.changes}
    left = 100.0
    for piece in range(1, pieces + 1):
        for block, need in enumerate(block_mm):
            if (piece, block) in changes:
                left = 100.0
            left -= need
            assert left >= -1e-9
    assert run.count == len(changes) + 1


@given(blocks, st.integers(1, 8))
def test_no_way_of_changing_at_boundaries_takes_fewer_bobbins(block_mm, pieces):
    """The fewest by dynamic programming over every boundary, an independent way to count."""
    sequence = block_mm * pieces
    fewest = [0] + [math.inf] * len(sequence)
    for end in range(1, len(sequence) + 1):
        total = 0.0
        for start in range(end - 1, -1, -1):
            total += sequence[start]
            if total > 100.0 + 1e-9:
                break
            fewest[end] = min(fewest[end], fewest[start] + 1)
    assert run_of_bobbins([block_mm] * pieces, bobbin_mm=100.0).count == pytest.approx(fewest[-1], abs=0)


def test_more_use_never_takes_fewer_bobbins():
    counts = [
        run_of_bobbins([[factor * 31.0, factor * 17.0]] * 9, bobbin_mm=100.0).count
        for factor in np.linspace(0.5, 2.5, 60)
    ]
    assert counts == sorted(counts)


@pytest.mark.parametrize("bobbins", [4, 6, 8])
def test_the_chance_of_enough_bobbins_is_that_of_a_simulation(bobbins):
    block_geometry = [9.0, 14.0, 6.0]
    sigma = math.hypot(BOBBIN_PRIOR.predictive_sigma, RELATIVE_SIGMA["sealed"])
    draws = np.exp(BOBBIN_PRIOR.mean_log + sigma * np.random.default_rng(7).standard_normal(20_000))
    factors, counts = np.unique(draws.round(4), return_counts=True)
    enough = sum(
        count
        for factor, count in zip(factors, counts, strict=True)
        if run_of_bobbins([[factor * mm for mm in block_geometry]] * 15, bobbin_mm=100.0).count <= bobbins
    )
    stated = p_enough_bobbins([block_geometry] * 15, bobbin_mm=100.0, bobbins=bobbins, factor=BOBBIN_PRIOR)
    assert stated == pytest.approx(enough / 20_000, abs=0.012)


def test_no_bobbin_is_never_enough():
    assert p_enough_bobbins([[10.0]], bobbin_mm=100.0, bobbins=0, factor=BOBBIN_PRIOR) == 0.0
