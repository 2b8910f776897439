"""Few sizes are cut as well as an exact model of quite another kind says they can be."""

import random
from itertools import pairwise

import pytest
from ortools.sat.python import cp_model

from planning.compute.stabilizer.cutting import CutOrder, CutStock, PieceNeed, Roll, cut_problems, plan_cut

A_PART, PARTS = 50, 4  # cases


def least_area(order: CutOrder, stock: CutStock) -> int | None:
    """Return the least area of roll by CP-SAT, None if the rolls do not do.

    Strip by strip, not pattern by pattern: each strip has a length of its own, and how many of each piece lie in it
    upright and turned are free.
    """
    model = cp_model.CpModel()
    kerf = order.kerf_mm
    pieces = sum(piece.count for piece in order.pieces)
    longest = max(max(piece.width_mm, piece.height_mm) for piece in order.pieces) + kerf
    got: list[list] = [[] for _ in order.pieces]
    area = []
    for roll in stock.rolls:
        room = roll.width_mm - 2 * order.edge_mm + kerf
        lengths = []
        for _ in range(pieces):
            length = model.new_int_var(0, longest, "")
            across = []
            for need, piece in enumerate(order.pieces):
                upright = (piece.width_mm + kerf, piece.height_mm + kerf)
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
        model.add(sum(lengths) <= roll.free_mm)
        area.append(room * sum(lengths))
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
