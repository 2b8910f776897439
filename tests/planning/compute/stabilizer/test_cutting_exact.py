"""Few sizes are cut as well as an exact model of quite another kind says they can be."""

import random
from dataclasses import replace
from itertools import pairwise

import pytest
from ortools.sat.python import cp_model

from planning.compute.search.proof import Proof
from planning.compute.stabilizer.cutting import (
    CutOrder,
    CutStock,
    Flat,
    PieceNeed,
    Roll,
    cut_problems,
    plan_cut,
)
from tests.sizes import searched

A_PART, PARTS = 50, 4  # cases
CASES_WITH_OFFCUTS, PARTS_WITH_OFFCUTS = 500, 20


def least_area(order: CutOrder, stock: CutStock) -> int | None:
    """Return the least area of roll by CP-SAT, None if rolls and offcuts do not do.

    Strip by strip, not pattern by pattern: each strip has a length of its own, and how many of each piece lie in it
    upright and turned are free. An offcut is cut in strips across it or along it.
    """
    model = cp_model.CpModel()
    kerf = order.kerf_mm
    pieces = sum(piece.count for piece in order.pieces)
    longest = max(max(piece.width_mm, piece.height_mm) for piece in order.pieces) + kerf
    got: list[list] = [[] for _ in order.pieces]
    area = []

    def strips(room: int, most: int, *, from_the_side: bool) -> list:
        """Return the lengths of up to ``most`` strips across ``room``; what lies in them goes to ``got``."""
        lengths = []
        for _ in range(most):
            length = model.new_int_var(0, longest, "")
            across = []
            for need, piece in enumerate(order.pieces):
                upright = (piece.width_mm + kerf, piece.height_mm + kerf)
                if from_the_side:
                    upright = upright[::-1]
                for width, along in {upright, upright[::-1] if piece.may_turn else upright}:
                    count = model.new_int_var(0, min(piece.count, room // width), "")
                    is_there = model.new_bool_var("")
                    model.add(count >= 1).only_enforce_if(is_there)
                    model.add(count == 0).only_enforce_if(~is_there)
                    model.add(length >= along).only_enforce_if(is_there)
                    across.append(width * count)
                    got[need].append(count)
            model.add(sum(across) <= room)
            lengths.append(length)
        for one, next_one in pairwise(lengths):
            model.add(one >= next_one)  # their order is no other plan
        return lengths

    for roll in stock.rolls:
        room = roll.width_mm - 2 * order.edge_mm + kerf
        lengths = strips(room, pieces, from_the_side=False)
        model.add(sum(lengths) <= roll.free_mm)
        area.append(room * sum(lengths))
    shortest = min(min(piece.width_mm, piece.height_mm) for piece in order.pieces) + kerf
    for flat in stock.flats:
        for _ in range(flat.count):
            is_across = model.new_bool_var("")
            for width, height, used in (
                (flat.width_mm, flat.height_mm, is_across),
                (flat.height_mm, flat.width_mm, ~is_across),
            ):
                most = min(pieces, (height + kerf) // shortest)
                lengths = strips(width + kerf, most, from_the_side=used is not is_across)
                if lengths:
                    model.add(sum(lengths) <= height + kerf)
                    model.add(sum(lengths) == 0).only_enforce_if(~used)
    for need, piece in enumerate(order.pieces):
        model.add(sum(got[need]) >= piece.count)
    model.minimize(sum(area))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    status = solver.solve(model)
    assert status in (cp_model.OPTIMAL, cp_model.INFEASIBLE)
    return round(solver.objective_value) if status == cp_model.OPTIMAL else None


def random_case(seed: int) -> tuple[CutOrder, CutStock]:
    """Two or three sizes, up to nine pieces, some with grain; one or two rolls that may be too short."""
    rng = random.Random(seed)
    left = rng.randint(3, 9)
    needs = []
    for _ in range(rng.randint(2, 3)):
        count = rng.randint(1, max(1, left - 1))
        left = max(1, left - count)
        needs.append(PieceNeed(rng.randint(90, 350), rng.randint(90, 350), count, rng.random() < 0.7))
    rolls = [
        Roll(f"R{at}", rng.choice([360, 500, 620]), rng.choice([700, 1_500, 9_000]))
        for at in range(rng.randint(1, 2))
    ]
    return CutOrder(tuple(needs), kerf_mm=rng.choice([0, 0, 2]), edge_mm=rng.choice([0, 0, 5])), CutStock(
        tuple(rolls)
    )


FEW = range(12)
MANY = [
    pytest.param(range(part * A_PART, (part + 1) * A_PART), marks=pytest.mark.thorough)
    for part in range(PARTS)
]


@pytest.mark.parametrize("seeds", [FEW, *MANY], ids=str)
def test_few_sizes_take_what_an_independent_exact_model_finds_best(seeds):
    """Random cases. Rolls are measured without their trimmed edges, as the plan's area bound is."""
    compared = 0
    for seed in seeds:
        order, stock = random_case(seed)
        plan = plan_cut(order, stock)
        assert cut_problems(plan, order, stock) == []
        best = least_area(order, stock)
        if best is None:
            assert any(plan.missing)
            continue
        rolls = {roll.label: roll.width_mm - 2 * order.edge_mm + order.kerf_mm for roll in stock.rolls}
        assert sum(rolls[cut.label] * cut.roll_mm for cut in plan.rolls) == best
        assert not any(plan.missing)
        assert plan.is_proven
        compared += 1
    assert compared >= 0.7 * len(seeds)


def random_case_with_offcuts(seed: int) -> tuple[CutOrder, CutStock]:
    """Two to four sizes, up to eight pieces, one roll, one to three offcuts or sheets that hold some of them."""
    rng = random.Random(seed)
    left = rng.randint(4, 8)
    needs = []
    for _ in range(rng.randint(2, 4)):
        if left:
            count = rng.randint(1, min(left, 3))
            left -= count
            needs.append(PieceNeed(rng.randint(50, 240), rng.randint(50, 240), count, rng.random() < 0.6))
    flats = tuple(
        Flat(f"F{at}", rng.randint(90, 420), rng.randint(90, 420), rng.choice([1, 1, 2]))
        for at in range(rng.randint(1, 2))
    )
    roll = Roll("R", rng.choice([360, 500, 620]), rng.choice([150, 400, 9_000, 9_000]))
    return CutOrder(tuple(needs), kerf_mm=rng.choice([0, 0, 2])), CutStock((roll,), flats)


def assert_offcuts_are_cut_as_well_as_can_be(seed: int) -> bool:
    """Return whether the order could be met."""
    order, stock = random_case_with_offcuts(seed)
    plan = plan_cut(order, stock)
    assert cut_problems(plan, order, stock) == []
    best = least_area(order, stock)
    if best is None:
        assert any(plan.missing), seed
        return False
    taken = sum((stock.rolls[0].width_mm + order.kerf_mm) * cut.roll_mm for cut in plan.rolls)
    assert plan.bound_mm2 <= best + 0.5, seed
    assert taken == best or (taken > best and plan.proof is not Proof.LEAST), seed
    assert plan.proof is Proof.LEAST, seed  # so few sizes are always looked at in full
    return True


def test_offcuts_save_as_much_roll_as_can_be_saved():
    assert sum(map(assert_offcuts_are_cut_as_well_as_can_be, range(30))) > 20


@pytest.mark.parametrize("part", searched(range(PARTS_WITH_OFFCUTS)))
def test_of_500_cuttings_with_offcuts_none_is_called_the_least_that_is_not(part):
    every = CASES_WITH_OFFCUTS // PARTS_WITH_OFFCUTS
    met = map(assert_offcuts_are_cut_as_well_as_can_be, range(1000 + part * every, 1000 + (part + 1) * every))
    assert sum(met) > every // 2


def test_two_cuts_of_an_offcut_that_are_neither_fullest_nor_of_one_size_are_seen():
    needs = (PieceNeed(120, 230, 2), PieceNeed(60, 160, 1), PieceNeed(80, 160, 3, may_turn=False))
    order, stock = CutOrder(needs), CutStock((Roll("R", 500, 20_000),), (Flat("F", 200, 360),))
    plan = plan_cut(order, stock)
    assert cut_problems(plan, order, stock) == []
    assert (plan.roll_mm, plan.proof) == (120, Proof.LEAST)


def many_sizes(seed: int) -> tuple[CutOrder, CutStock]:
    """So many sizes that neither the strips nor the ways to cut a sheet are all written down."""
    rng = random.Random(seed)
    needs = tuple(
        PieceNeed(rng.randint(60, 260), rng.randint(60, 260), rng.randint(1, 6), rng.random() < 0.7)
        for _ in range(14)
    )
    flats = (Flat("S", 900, 1_000, 2), Flat("F", rng.randint(200, 500), rng.randint(200, 500)))
    return CutOrder(needs), CutStock((Roll("R", 1_000, 50_000),), flats)


@pytest.mark.parametrize("seed", range(3))
def test_leave_to_turn_pieces_never_costs_roll(seed):
    order, stock = many_sizes(seed)
    upright = replace(order, pieces=tuple(replace(piece, may_turn=False) for piece in order.pieces))
    turned, kept = plan_cut(order, stock), plan_cut(upright, stock)
    assert cut_problems(turned, order, stock) == []
    assert turned.roll_mm <= kept.roll_mm
    assert turned.bound_mm <= min(turned.roll_mm, kept.roll_mm)
    assert (turned.proof is Proof.LEAST) == (turned.roll_mm == turned.bound_mm)


def test_work_ends_a_cut_and_the_clock_only_cuts_it_short():
    """A caller out of patience is given what is at hand; the same question without one has one answer."""
    order, stock = many_sizes(9)
    asked = []

    def none_left() -> float:
        asked.append(1)
        return -1.0

    hurried = plan_cut(order, stock, seconds_left=none_left)
    assert cut_problems(hurried, order, stock) == []
    assert asked
    assert not any(hurried.missing)
    assert hurried.proof is Proof.IN_TIME
    patient = plan_cut(order, stock)
    assert patient == plan_cut(order, stock, seconds_left=lambda: 1e9)
    assert hurried.roll_mm >= patient.roll_mm >= hurried.bound_mm
