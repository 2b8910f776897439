"""Pieces come from offcuts, sheets and strips across rolls, and no plan can be better."""

import csv
import random
from functools import cache
from itertools import product
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.compute.errors import WorkshopError
from planning.compute.stabilizer.cutting import (
    CutOrder,
    CutPlan,
    CutStock,
    Flat,
    PieceNeed,
    Roll,
    cut_problems,
    plan_cut,
)
from planning.compute.stabilizer.layers import JobLayers, LayerNeed, pieces_of

INSTANCES = Path(__file__).parents[3] / "data" / "strip_packing"


def planned(order: CutOrder, stock: CutStock) -> CutPlan:
    """Return the plan, having checked that it can be cut."""
    plan = plan_cut(order, stock)
    assert cut_problems(plan, order, stock) == []
    assert plan.roll_mm >= plan.bound_mm or plan.missing != (0,) * len(order.pieces)
    return plan


def equal(width, height, pieces, *rolls, flats=(), may_turn=True):
    order = CutOrder((PieceNeed(width, height, pieces, may_turn),))
    return planned(order, CutStock(tuple(rolls), tuple(flats)))


def test_pieces_are_turned_where_that_takes_less_roll():
    assert equal(180, 240, 10, Roll("R1", 500, 20_000)).roll_mm == 900  # five strips of 180, not five of 240


def test_grain_forbids_turning():
    assert equal(180, 240, 10, Roll("R1", 500, 20_000), may_turn=False).roll_mm == 1200


def test_strips_of_both_directions_are_mixed_where_that_is_shortest():
    # Three upright in 240 and two turned in 180: 5 pieces in 420, where one direction alone takes 480 or 540.
    assert equal(180, 240, 5, Roll("R1", 560, 20_000)).roll_mm == 420


def test_offcuts_and_sheets_are_cut_where_that_saves_roll_and_no_more_of_them():
    flats = [Flat("C1", 400, 250), Flat("H1", 200, 250, count=3)]
    plan = equal(180, 240, 10, Roll("R1", 500, 20_000), flats=flats)
    # A third sheet would leave five for the roll, which take as much of it as six.
    assert [(each.label, len(each.pieces)) for each in plan.flats] == [("C1", 2), ("H1", 1), ("H1", 1)]
    assert plan.roll_mm == 540


def test_no_more_sheets_are_cut_than_are_needed():
    plan = equal(180, 240, 3, Roll("R1", 500, 20_000), flats=[Flat("H1", 200, 250, count=30)])
    assert [each.label for each in plan.sources] == ["H1"] * 3


def test_an_offcut_is_cut_in_the_direction_that_gives_more():
    # Upright 2 x 1; in strips along it, turned pieces give three.
    assert equal(100, 240, 3, flats=[Flat("C1", 240, 300)]).missing == (0,)


def test_a_short_roll_is_followed_by_the_next():
    plan = equal(180, 240, 10, Roll("R1", 500, 400), Roll("R2", 500, 5_000))
    assert [(each.label, len(each.pieces)) for each in plan.rolls] == [("R1", 4), ("R2", 6)]


def test_what_cannot_be_cut_is_missing():
    assert equal(180, 240, 10, Roll("R1", 500, 400)).missing == (6,)
    assert equal(600, 700, 3, Roll("R1", 500, 9_000)).missing == (3,)
    assert equal(600, 700, 3).missing == (3,)


def test_strips_fit_into_what_is_left_of_each_roll():
    # 2 x 500 fit into 1000 in all, yet no roll holds more than one.
    rolls = [Roll("R1", 400, 900), Roll("R2", 400, 700), Roll("R3", 400, 499)]
    plan = equal(390, 500, 3, *rolls)
    assert plan.missing == (1,)
    assert {each.label for each in plan.rolls} == {"R1", "R2"}


def test_each_cut_loses_its_kerf_and_each_edge_its_trimming():
    order = CutOrder((PieceNeed(250, 200, 4, False),), kerf_mm=2)
    assert planned(order, CutStock((Roll("R1", 502, 5_000),))).roll_mm == 2 * 202
    assert planned(order, CutStock((Roll("R1", 501, 5_000),))).roll_mm == 4 * 202
    order = CutOrder((PieceNeed(250, 200, 4, False),), edge_mm=10)
    assert planned(order, CutStock((Roll("R1", 520, 5_000),))).roll_mm == 400
    assert planned(order, CutStock((Roll("R1", 519, 5_000),))).roll_mm == 800


def test_crossed_layers_lie_across_each_other():
    crossed = LayerNeed("tear-away", 30, 60, "hooped", 2, crossed=True)
    (pieces,) = pieces_of(JobLayers((crossed,), (180, 240), 2))
    order = CutOrder(pieces.needs(has_grain=True))
    plan = planned(order, CutStock((Roll("R1", 500, 5_000),)))
    assert sorted((piece.width_mm, piece.height_mm) for piece in plan.rolls[0].pieces) == [
        (180, 240), (180, 240), (240, 180), (240, 180)
    ]  # fmt: skip


def test_equal_pieces_of_two_layers_share_strips_and_keep_their_names():
    order = CutOrder((PieceNeed(180, 240, 3, label="back"), PieceNeed(180, 240, 1, label="front")))
    plan = planned(order, CutStock((Roll("R1", 500, 5_000),)))
    assert plan.roll_mm == 360
    assert sorted(piece.need for piece in plan.rolls[0].pieces) == [0, 0, 0, 1]


def test_what_is_left_of_a_sheet_comes_back_if_it_is_of_use():
    plan = equal(200, 200, 1, flats=[Flat("H1", 320, 290)])
    (sheet,) = plan.flats
    useful = [(rest.width_mm, rest.height_mm) for rest in sheet.useful_rests]
    assert useful == [(120, 200)] or useful == [(200, 120)] or useful == [(120, 290)]
    assert sheet.waste_mm2 == 320 * 290 - 200 * 200 - useful[0][0] * useful[0][1]


def test_a_piece_without_a_size_is_refused():
    with pytest.raises(WorkshopError, match="cannot be cut"):
        equal(0, 240, 10, Roll("R1", 500, 400))


def exhaustive_equal(width: int, height: int, pieces: int, roll_mm: int) -> int | None:
    """Return the least length by trying every number of upright strips, turned ones for the rest."""
    upright, turned = roll_mm // width, roll_mm // height
    ways = []
    for strips in range(-(-pieces // upright) + 1 if upright else 1):
        left = max(0, pieces - strips * upright)
        if left == 0:
            ways.append(strips * height)
        elif turned:
            ways.append(strips * height + -(-left // turned) * width)
    return min(ways, default=None)


@pytest.mark.parametrize(
    ("seed", "cases"), [(0, 100), *(pytest.param(seed, 500, marks=pytest.mark.thorough) for seed in range(4))]
)
def test_equal_pieces_take_what_trying_everything_finds_best(seed, cases):
    """Random cases; a strip that holds upright pieces can hold no more of them turned, being narrower."""
    rng = random.Random(seed)
    for _ in range(cases):
        width, height = rng.randint(50, 400), rng.randint(50, 400)
        pieces, roll_mm = rng.randint(1, 60), rng.randint(300, 1500)
        # In a strip as long as the longer side, the side that takes less of the width lies across.
        narrow, long = min(width, height), max(width, height)
        best = exhaustive_equal(narrow, long, pieces, roll_mm)
        plan = equal(width, height, pieces, Roll("R1", roll_mm, 1_000_000))
        if best is None:
            assert plan.missing == (pieces,)
        else:
            assert plan.roll_mm == best
            assert plan.is_proven


def least_length(needs: list[PieceNeed], roll_mm: int) -> int | None:
    """Return the least length in strips, by a search over every demand that can be left: another model altogether."""

    def strips() -> dict[tuple[int, ...], int]:
        found: dict[tuple[int, ...], int] = {}
        ways = [
            (number, *size)
            for number, need in enumerate(needs)
            for size in {(need.width_mm, need.height_mm)}
            | ({(need.height_mm, need.width_mm)} if need.may_turn else set())
        ]
        most = [min(roll_mm // across, needs[number].count) for number, across, _ in ways]
        for counts in product(*(range(each + 1) for each in most)):
            if sum(count * way[1] for count, way in zip(counts, ways, strict=True)) > roll_mm:
                continue
            length = max((way[2] for count, way in zip(counts, ways, strict=True) if count), default=0)
            gives = [0] * len(needs)
            for count, way in zip(counts, ways, strict=True):
                gives[way[0]] += count
            if any(gives):
                found[tuple(gives)] = min(length, found.get(tuple(gives), length))
        return found

    made = strips()

    @cache
    def least(left: tuple[int, ...]) -> float:
        if not any(left):
            return 0
        first = next(at for at, count in enumerate(left) if count)
        return min(
            (
                length + least(tuple(max(0, have - got) for have, got in zip(left, gives, strict=True)))
                for gives, length in made.items()
                if gives[first]
            ),
            default=float("inf"),
        )

    best = least(tuple(need.count for need in needs))
    return None if best == float("inf") else int(best)


@pytest.mark.parametrize("seed", range(4))
def test_few_sizes_take_what_a_search_over_every_rest_finds_best(seed):
    """50 random cases each, two or three sizes, some with grain."""
    rng = random.Random(100 + seed)
    for _ in range(50):
        needs = [
            PieceNeed(rng.randint(100, 350), rng.randint(100, 350), rng.randint(1, 5), rng.random() < 0.7)
            for _ in range(rng.randint(2, 3))
        ]
        roll_mm = rng.randint(350, 700)
        plan = planned(CutOrder(tuple(needs)), CutStock((Roll("R1", roll_mm, 1_000_000),)))
        assert plan.roll_mm == least_length(needs, roll_mm)
        assert plan.is_proven


@pytest.mark.parametrize(
    ("name", "width", "oriented", "rotated"),
    [
        ("NGCUT01", 10, 25, 21),
        ("NGCUT03", 10, 32, 29),
        ("NGCUT08", 20, 38, 35),
        ("C1P1", 20, 25, 22),
        ("GCUT01", 250, 1016, 722),
    ],
)
def test_known_instances_reach_their_strip_optimum(name, width, oriented, rotated):
    """Instances of Beasley (1985) and of Hopper and Turton (2001); optima for strips by two independent solvers."""
    with (INSTANCES / f"{name}.csv").open() as lines:
        sizes = [(int(row["width"]), int(row["height"])) for row in csv.DictReader(lines)]
    for may_turn, optimum in ((False, oriented), (True, rotated)):
        order = CutOrder(tuple(PieceNeed(*size, 1, may_turn) for size in sizes))
        plan = planned(order, CutStock((Roll("strip", width, 100_000),)))
        assert (plan.roll_mm, plan.bound_mm, plan.is_proven) == (optimum, optimum, True)


MILL_WIDTHS = (1380, 1520, 1560, 1710, 1820, 1880, 1930, 2000, 2050, 2100, 2140, 2150, 2200)
MILL_DEMAND = (22, 25, 12, 14, 18, 18, 20, 10, 12, 14, 16, 18, 20)


def test_the_paper_mill_needs_73_rolls():
    """A well-known cutting-stock example (stock 5600 wide): optimum 73, waste 0.4012 %; first-fit decreasing 82."""
    order = CutOrder(
        tuple(
            PieceNeed(width, 1, count, False) for width, count in zip(MILL_WIDTHS, MILL_DEMAND, strict=True)
        )
    )
    plan = planned(order, CutStock((Roll("jumbo", 5600, 1000),)))
    needed = sum(width * count for width, count in zip(MILL_WIDTHS, MILL_DEMAND, strict=True))
    assert plan.roll_mm == 73
    assert plan.is_proven
    assert round(100 * (1 - needed / (73 * 5600)), 4) == 0.4012
    opened: list[int] = []
    for width in sorted(
        (w for w, n in zip(MILL_WIDTHS, MILL_DEMAND, strict=True) for _ in range(n)), reverse=True
    ):
        fits = next((at for at, used in enumerate(opened) if used + width <= 5600), None)
        if fits is None:
            opened.append(width)
        else:
            opened[fits] += width
    assert len(opened) == 82


needs = st.builds(PieceNeed, st.integers(80, 350), st.integers(80, 350), st.integers(1, 12), st.booleans())
offcuts = st.lists(st.tuples(st.integers(80, 500), st.integers(80, 500)), max_size=4)


def flats_of(sizes):
    return tuple(Flat(f"C{at}", *size) for at, size in enumerate(sizes))


@settings(max_examples=40)
@given(st.lists(needs, min_size=1, max_size=3), offcuts, offcuts, st.integers(350, 900))
def test_more_offcuts_never_lengthen_the_roll(pieces, some, more, roll_mm):
    order, rolls = CutOrder(tuple(pieces)), (Roll("R1", roll_mm, 100_000),)
    fewer = planned(order, CutStock(rolls, flats_of(some)))
    assert planned(order, CutStock(rolls, flats_of([*some, *more]))).roll_mm <= fewer.roll_mm


@settings(max_examples=40)
@given(
    st.lists(needs, min_size=1, max_size=3), st.integers(350, 900), st.integers(1, 400), st.integers(0, 10)
)
def test_a_wider_roll_takes_no_more_length_and_no_more_area_than_its_bound_and_the_trimming(
    pieces, roll_mm, wider_mm, edge_mm
):
    order = CutOrder(tuple(pieces), edge_mm=edge_mm)
    width_mm = roll_mm + 2 * edge_mm
    narrow = planned(order, CutStock((Roll("R1", width_mm, 100_000),)))
    wide = planned(order, CutStock((Roll("R1", width_mm + wider_mm, 100_000),)))
    assert wide.roll_mm <= narrow.roll_mm
    area = sum(each.width_mm * each.height_mm * each.count for each in pieces)
    for plan, width in ((narrow, width_mm), (wide, width_mm + wider_mm)):
        trimmed_mm2 = 2 * edge_mm * plan.roll_mm
        assert area <= plan.bound_mm2 <= plan.roll_mm2 - trimmed_mm2
        assert plan.is_proven
        assert plan.roll_mm2 == plan.roll_mm * width <= plan.bound_mm2 + trimmed_mm2 + 0.5


@settings(max_examples=40)
@given(
    st.lists(needs, min_size=1, max_size=4),
    st.lists(st.tuples(st.sampled_from([350, 500, 900]), st.integers(0, 2_500)), max_size=4),
    offcuts,
    st.integers(0, 3),
    st.integers(0, 15),
)
def test_every_plan_can_be_cut(pieces, rolls, some, kerf_mm, edge_mm):
    order = CutOrder(tuple(pieces), kerf_mm=kerf_mm, edge_mm=edge_mm)
    stock = CutStock(tuple(Roll(f"R{at}", *each) for at, each in enumerate(rolls)), flats_of(some))
    planned(order, stock)
