"""Bobbins are changed at block boundaries before they run out."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.compute.errors import WorkshopError
from inventory.compute.knowing import RELATIVE_SIGMA
from planning.compute.certainty.enough import BOBBIN_PRIOR
from planning.compute.spools.bobbins import PartBobbinLeft, bobbins_for_sure, p_enough_bobbins, run_of_bobbins

blocks = st.lists(st.floats(1, 90), min_size=1, max_size=6)


def test_a_bobbin_is_changed_before_the_block_it_cannot_finish():
    run = run_of_bobbins([[60.0, 50.0]] * 2, bobbin_mm=100.0)
    assert [(change.piece, change.block) for change in run.changes] == [(1, 1), (2, 0), (2, 1)]
    assert run.count == 4


def test_a_block_longer_than_a_bobbin_starts_on_a_fresh_one_and_is_interrupted():
    run = run_of_bobbins([[10.0, 250.0]], bobbin_mm=100.0)
    assert [(change.piece, change.block) for change in run.changes] == [(1, 1)]
    assert (run.inside_blocks, run.count) == (2, 4)
    assert [(each.piece, each.block, each.inside) for each in run.interruptions] == [(1, 1, 0.4), (1, 1, 0.8)]


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


def least_by_trying(needs, bobbin_mm, parts):
    """The fewest (full, part) bobbins over every order of part and full ones and every boundary to change at."""
    best = None

    def go(at, left, full, used):
        nonlocal best
        if best is not None and (full, len(used)) >= best:
            return
        if at == len(needs):
            best = (full, len(used))
            return
        need = needs[at]
        if need > bobbin_mm:  # starts on a fresh one and takes as many as it needs
            count = -(-need // bobbin_mm)
            go(at + 1, count * bobbin_mm - need, full + count, used)
            return
        if need <= left:
            go(at + 1, left - need, full, used)
        go(at + 1, bobbin_mm - need, full + 1, used)
        for number, holds in enumerate(parts):
            if number not in used and holds >= need:
                go(at + 1, holds - need, full, used | {number})

    go(0, 0, 0, frozenset())
    return best


def test_of_500_small_batches_with_part_bobbins_none_could_take_fewer():
    rng = np.random.default_rng(11)
    saved = long = 0
    for _ in range(500):
        needs = [
            [int(mm) for mm in rng.integers(1, 9, size=rng.integers(1, 4))] for _ in range(rng.integers(1, 4))
        ]
        bobbin_mm = int(rng.integers(6, 14))
        lengths = [int(mm) for mm in rng.integers(1, 10, size=rng.integers(0, 4))]
        parts = [PartBobbinLeft(f"B{number}", holds) for number, holds in enumerate(lengths)]
        run = run_of_bobbins(needs, bobbin_mm=bobbin_mm, parts=parts)
        flat = [mm for piece in needs for mm in piece]
        assert (run.count, len(run.parts)) == least_by_trying(flat, bobbin_mm, lengths)
        long += bool(run.interruptions)
        saved += bool(run.parts)
        assert_no_avoidable_run_out(
            run, needs, bobbin_mm, dict(zip([p.label for p in parts], lengths, strict=True))
        )
        first = run_of_bobbins(needs, bobbin_mm=bobbin_mm, parts=parts, parts_go_first=True)
        assert first.count >= run.count
    assert min(saved, long) >= 20


def assert_no_avoidable_run_out(run, needs, bobbin_mm, parts):
    """Every bobbin does its blocks, but for blocks longer than a full one, and those are all named."""
    put_in = {(change.piece, change.block): change.bobbin for change in run.changes}
    left = parts[run.first] if run.first else bobbin_mm
    full = int(not run.first)
    named = [(each.piece, each.block) for each in run.interruptions]
    for piece, blocks_mm in enumerate(needs, 1):
        for block, need in enumerate(blocks_mm):
            if (piece, block) in put_in:
                label = put_in[piece, block]
                left = parts[label] if label else bobbin_mm
                full += not label
            while need > left:
                assert blocks_mm[block] > bobbin_mm
                named.remove((piece, block))
                need -= left
                left = bobbin_mm
                full += 1
            left -= need
    assert not named
    assert full == run.count


def test_a_part_bobbin_goes_in_only_where_it_saves_a_full_one():
    half = [PartBobbinLeft("B7", 50.0)]
    assert run_of_bobbins([[40.0]] * 3, bobbin_mm=100.0, parts=half).parts == ("B7",)
    assert run_of_bobbins([[40.0]] * 2, bobbin_mm=100.0, parts=half).parts == ()


def test_bobbins_for_sure_are_the_fewest_that_are_sure():
    geometry = [[9.0, 14.0, 6.0]] * 15
    about = {"bobbin_mm": 100.0, "factor": BOBBIN_PRIOR}
    wanted = bobbins_for_sure(geometry, certainty=0.95, **about)
    assert p_enough_bobbins(geometry, bobbins=wanted, **about) >= 0.95 - 1e-5
    assert p_enough_bobbins(geometry, bobbins=wanted - 1, **about) < 0.95


def test_part_bobbins_raise_the_chance_of_enough():
    geometry = [[9.0, 14.0, 6.0]] * 15
    about = {"bobbin_mm": 100.0, "factor": BOBBIN_PRIOR, "bobbins": 6}
    parts = [PartBobbinLeft("B1", 80.0)]
    assert p_enough_bobbins(geometry, parts=parts, **about) > p_enough_bobbins(geometry, **about)
