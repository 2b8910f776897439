"""Spools are chosen by what matters most first: held against every way there is on small walls."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planning.compute.certainty.enough import NEEDLE_PRIOR, Factor, p_enough
from planning.compute.colour.choice import OwnedSpool
from planning.compute.spools.turns import SpoolMerit, choose_spools

EXACT = Factor(mean_log=0.0, sigma=0.0, scatter=0.0)


def wall(*metres, lots=(), opened=()):
    return [
        OwnedSpool(
            number,
            f"S{number:04}",
            round(length * 1000),
            0.0,
            lot=lots[number - 1] if lots else "L1",
            is_open=number in opened,
        )
        for number, length in enumerate(metres, 1)
    ]


def chosen(spools, pieces_mm, **how):
    return choose_spools(spools, pieces_mm=pieces_mm, factor=EXACT, certainty=0.95, **how)


def turns(choice):
    return [(use.label, use.from_piece, use.to_piece) for use in choice.uses]


def test_a_spool_too_short_for_a_piece_is_passed_over():
    assert turns(chosen(wall(5, 100), [[10_000]] * 4)) == [("S0002", 1, 4)]


def test_a_spool_of_unknown_length_is_not_counted_on():
    unknown, known = OwnedSpool(1, "S0001", 500_000, None), OwnedSpool(2, "S0002", 50_000, 0.0)
    assert turns(chosen([unknown, known], [[10_000]] * 2)) == [("S0002", 1, 2)]


def test_pieces_that_no_spool_holds_are_left_out():
    choice = chosen(wall(25), [[10_000]] * 5)
    assert turns(choice) == [("S0001", 1, 2)]
    assert (choice.uses[0].left_mm, choice.is_complete) == (5_000, False)


def test_one_spool_that_does_the_batch_is_better_than_two():
    assert turns(chosen(wall(20, 25, 60), [[10_000]] * 4)) == [("S0003", 1, 4)]


def test_an_open_spool_is_taken_before_a_sealed_one_of_the_same_length():
    assert turns(chosen(wall(60, 60, opened={2}), [[10_000]] * 4)) == [("S0002", 1, 4)]


def test_one_dye_lot_is_worth_another_spool():
    choice = chosen(wall(40, 20, 20, 20, lots=["A", "B", "B", "B"]), [[10_000]] * 6)
    assert {use.lot for use in choice.uses} == {"B"}
    assert (choice.merit.lots, choice.merit.spools) == (1, 3)


def test_spools_without_a_lot_are_not_taken_for_one_lot():
    assert chosen(wall(20, 20, lots=["", ""]), [[10_000]] * 4).merit.lots == 2


def test_within_a_piece_only_a_spool_of_the_same_lot_goes_on():
    """Two blocks a piece: where lots change, the first spool stops a block early."""
    choice = chosen(wall(25, 40, lots=["A", "B"]), [[5_000, 5_000]] * 5)
    assert choice.merit.lots_inside_pieces == 0
    assert [use.from_block for use in choice.uses] == [0, 0]
    alike = chosen(wall(25, 25), [[5_000, 5_000]] * 5)
    assert [(use.from_piece, use.from_block) for use in alike.uses] == [(1, 0), (3, 1)]


def test_what_is_left_is_left_on_one_spool():
    choice = chosen(wall(40, 45), [[10_000]] * 7)
    assert sorted(use.left_mm for use in choice.uses) == [0, 15_000]


def test_a_change_inside_a_block_is_planned_only_where_nothing_else_does_and_says_how_far_in():
    assert not chosen(wall(15, 15), [[10_000]] * 3).is_complete
    choice = chosen(wall(15, 15), [[10_000]] * 3, may_change_inside=True)
    assert choice.is_complete
    assert choice.merit.inside_blocks == 1
    (second,) = choice.uses[1:]
    assert (second.from_piece, second.inside) == (2, 0.5)
    assert chosen(wall(20, 15), [[10_000]] * 3, may_change_inside=True).merit.inside_blocks == 0


def test_a_piece_without_this_thread_asks_for_no_spool():
    choice = chosen(wall(30), [[], [10_000], [0.0], [10_000], []])
    assert turns(choice) == [("S0001", 2, 4)]
    assert choice.is_complete


def test_a_spool_is_changed_before_the_piece_it_might_not_finish():
    spool = OwnedSpool(1, "S0001", 100_000, 4_000.0)
    (use,) = choose_spools([spool], pieces_mm=[[10_000.0]] * 20, factor=NEEDLE_PRIOR, certainty=0.95).uses
    stock = {"free_mm": 100_000, "free_sigma_mm": 4_000.0}
    assert p_enough(use.to_piece * 10_000, NEEDLE_PRIOR, **stock) >= 0.95
    assert p_enough((use.to_piece + 1) * 10_000, NEEDLE_PRIOR, **stock) < 0.95


def least_by_trying(spools, pieces_mm, *, may_change_inside):
    """The least merit over every order of every set of spools and every whole mm to change at; None: no way."""
    ends = np.cumsum([0] + [mm for piece in pieces_mm for mm in piece]).tolist()
    piece_ends = {ends[n] for n in np.cumsum([0] + [len(piece) for piece in pieces_mm])}
    length, block_ends = ends[-1], set(ends)
    best = None

    def go(order, at, inside, mixing, left):
        nonlocal best
        if at == length:
            lots = {spool.lot for spool in order}
            sealed = sum(not spool.is_open for spool in order)
            merit = (inside, mixing, len(lots), len(order), sealed, sum(left) - max(left))
            best = merit if best is None or merit < best else best
            return
        for spool in spools:
            if spool in order:
                continue
            for stop in range(at + 1, min(length, at + spool.free_mm) + 1):
                is_inside = stop not in block_ends
                if is_inside and not may_change_inside:
                    continue
                # A change of lot is known only when the next spool is: told where it starts.
                mixes = bool(order) and order[-1].lot != spool.lot and at not in piece_ends
                go(
                    [*order, spool],
                    stop,
                    inside + is_inside,
                    mixing + mixes,
                    [*left, spool.free_mm - (stop - at)],
                )

    go([], 0, 0, 0, [])
    return best


def small_case(rng):
    spools = [
        OwnedSpool(
            number,
            f"S{number:04}",
            int(rng.integers(1, 9)),
            0.0,
            lot=str(rng.choice(["A", "B", "C"])),
            is_open=bool(rng.integers(2)),
        )
        for number in range(int(rng.integers(1, 5)))
    ]
    pieces = [
        [int(mm) for mm in rng.integers(1, 5, size=rng.integers(1, 4))]
        for _ in range(int(rng.integers(1, 5)))
    ]
    return spools, pieces


def test_of_500_small_walls_every_objective_is_as_good_as_trying_every_way():
    rng = np.random.default_rng(5)
    done = inside = short = mixing = 0
    while done < 500:
        spools, pieces_mm = small_case(rng)
        if sum(map(sum, pieces_mm)) > 14:
            continue
        done += 1
        choice = chosen(spools, pieces_mm, may_change_inside=True)
        whole = least_by_trying(spools, pieces_mm, may_change_inside=False)
        best = whole or least_by_trying(spools, pieces_mm, may_change_inside=True)
        assert choice.is_complete == (best is not None)
        if best is None:
            short += 1
            most = max(
                count
                for count in range(len(pieces_mm))
                if not count or least_by_trying(spools, pieces_mm[:count], may_change_inside=False)
            )
            assert (choice.uses[-1].to_piece if choice.uses else 0) == most
            best = least_by_trying(spools, pieces_mm[:most], may_change_inside=False) if most else (0,) * 6
        assert choice.merit == SpoolMerit(*best)
        assert_can_be_stitched(choice, spools, pieces_mm)
        inside += choice.merit.inside_blocks > 0
        mixing += choice.merit.lots_inside_pieces > 0
    assert min(inside, short, mixing) >= 10  # the cases are not all easy ones


def assert_can_be_stitched(choice, spools, pieces_mm):
    """The turns follow one another, and no spool gives more than it has."""
    held = {spool.label: spool.free_mm for spool in spools}
    at = 0.0
    for use in choice.uses:
        before = sum(map(sum, pieces_mm[: use.from_piece - 1]))
        blocks = pieces_mm[use.from_piece - 1]
        start = before + sum(blocks[: use.from_block]) + use.inside * blocks[use.from_block]
        assert start == pytest.approx(at, abs=0.01)
        assert use.needed_mm + use.left_mm == held.pop(use.label)
        assert use.left_mm >= 0
        at += use.needed_mm
    if choice.is_complete:
        assert at == sum(map(sum, pieces_mm))


def test_many_spools_are_chosen_within_a_bound_that_is_told():
    many = wall(*[50] * 30)
    choice = chosen(many, [[10_000]] * 100)
    assert choice.is_complete
    assert choice.merit.spools == choice.bound.spools == 20
    assert choice.merit.lots == choice.bound.lots == 1


@settings(max_examples=40, deadline=None)
@given(st.lists(st.integers(1, 40), min_size=13, max_size=18), st.integers(1, 30))
def test_more_spools_than_are_weighed_still_make_turns_that_can_be_stitched(metres, pieces):
    pieces_mm = [[7_000, 3_000]] * pieces
    spools = wall(*metres, lots=["A", "B", "C"] * 6)
    choice = chosen(spools, pieces_mm)
    assert choice.merit >= choice.bound
    assert_can_be_stitched(choice, spools, pieces_mm)
    assert choice.is_complete or sum(metres) < 10 * pieces + 10 * len(metres)


def test_the_chance_that_a_turn_runs_out_is_no_more_than_asked():
    spools = [OwnedSpool(n, f"S{n}", 100_000, 3_000.0) for n in range(4)]
    choice = choose_spools(spools, pieces_mm=[[4_000.0, 3_000.0]] * 40, factor=NEEDLE_PRIOR, certainty=0.9)
    for use in choice.uses:
        p = p_enough(use.needed_mm, NEEDLE_PRIOR, free_mm=100_000, free_sigma_mm=3_000.0)
        assert p >= 0.9 - 1e-6
    assert math.isclose(sum(use.needed_mm for use in choice.uses), 280_000)
