"""Pieces to stitch, hoopings, and threadings."""

import math
from collections.abc import Sequence
from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.compute.errors import WorkshopError
from planning.compute.hooping.pieces import hoopings, pieces_to_stitch, rethreads, thread_changes

colour_orders = st.lists(st.sampled_from("NWRGB"), max_size=8)


def fewest_threadings(colours: Sequence[str], needles: int) -> int:
    """Find the fewest threadings by trying every needle each time."""
    cost_of: dict[frozenset[str], int] = {frozenset(): 0}
    for colour in colours:
        after: dict[frozenset[str], int] = {}
        for held, cost in cost_of.items():
            if colour in held:
                choices = [(held, cost)]
            elif len(held) < needles:
                choices = [(held | {colour}, cost + 1)]
            else:
                choices = [(held - {out} | {colour}, cost + 1) for out in held]
            for state, total in choices:
                after[state] = min(total, after.get(state, total))
        cost_of = after
    return min(cost_of.values())


# --- pieces: 2–5 % and at least one piece is common practice, no source


@pytest.mark.parametrize(
    ("ordered", "spoilage", "spoiled"),
    [
        (1, 0.03, 1),
        (24, 0.03, 1),
        (33, 0.03, 1),
        (34, 0.03, 2),
        (60, 0.05, 3),
        (100, 0.07, 7),  # 0.07 · 100 is 7.000000000000001 in binary floats
        (100, Decimal("0.02"), 2),
        (101, 0.02, 3),
        (24, 0, 0),
        (24, 0.0, 0),
        (24, Decimal("0.00"), 0),
    ],
)
def test_spoiled_pieces_are_a_share_rounded_up_and_none_only_where_none_is_set(ordered, spoilage, spoiled):
    pieces = pieces_to_stitch(ordered, test_pieces=1, spoilage=spoilage)
    assert pieces.spoiled_allowed == spoiled
    assert pieces.total == ordered + 1 + spoiled


def test_twenty_four_caps_are_twenty_six_to_stitch():
    pieces = pieces_to_stitch(24)
    assert (pieces.ordered, pieces.tests, pieces.spoiled_allowed, pieces.total) == (24, 1, 1, 26)


def test_test_pieces_may_be_none_or_several():
    assert pieces_to_stitch(10, test_pieces=0, spoilage=0).total == 10
    assert pieces_to_stitch(10, test_pieces=3, spoilage=0).total == 13


@pytest.mark.parametrize(
    ("ordered", "particulars", "told"),
    [
        (0, {}, "0 pieces"),
        (-3, {}, "-3 pieces"),
        (5, {"test_pieces": -1}, "-1 test"),
        (5, {"spoilage": -0.1}, "-0.1"),
        (5, {"spoilage": 3}, "3 %"),
        (5, {"spoilage": math.nan}, "nan"),
    ],
)
def test_orders_that_cannot_be_are_refused(ordered, particulars, told):
    with pytest.raises(WorkshopError, match=told):
        pieces_to_stitch(ordered, **particulars)


@pytest.mark.parametrize(
    ("total", "copies", "count"), [(26, 1, 26), (26, 4, 7), (24, 4, 6), (1, 4, 1), (0, 4, 0)]
)
def test_the_last_hooping_may_be_part_full(total, copies, count):
    assert hoopings(total, copies) == count


def test_hooping_nothing_at_a_time_is_refused():
    with pytest.raises(WorkshopError, match="0 copies"):
        hoopings(26, 0)
    with pytest.raises(WorkshopError, match="-1 pieces"):
        hoopings(-1, 2)


# --- threadings


def test_equal_neighbours_are_one_threading():
    assert rethreads(["navy", "white", "white", "navy"]) == 3
    assert rethreads(["navy", "navy"]) == 1
    assert thread_changes(["navy", "white", "white", "navy"]) == 2


def test_the_next_hooping_starts_with_the_thread_left_on_the_needle():
    assert rethreads(["navy", "white", "navy"], hoopings=10) == 21
    assert rethreads(["navy", "white", "red"], hoopings=10) == 30
    assert rethreads(["navy"], hoopings=10) == 1


def test_a_needle_for_every_thread_is_threaded_once():
    assert rethreads(["navy", "white", "red", "navy"], hoopings=50, needles=3) == 3
    assert rethreads(["navy", "white", "red", "navy"], hoopings=50, needles=15) == 3


def test_nothing_to_stitch_needs_no_threading():
    assert rethreads([], hoopings=5) == 0
    assert rethreads(["navy"], hoopings=0) == 0
    assert thread_changes([], hoopings=5) == 0
    assert thread_changes(["navy", "red"], hoopings=0) == 0


@given(colours=colour_orders, repeats=st.integers(0, 4), needles=st.integers(1, 5))
def test_no_choice_of_needles_needs_fewer_threadings(colours, repeats, needles):
    count = rethreads(colours, hoopings=repeats, needles=needles)
    assert count == fewest_threadings(colours * repeats, needles)
    assert count >= len(set(colours * repeats))


@given(colours=colour_orders, repeats=st.integers(0, 6))
def test_thread_changes_are_the_places_where_the_thread_differs(colours, repeats):
    whole = colours * repeats
    changes = sum(a != b for a, b in pairwise(whole))
    assert thread_changes(colours, hoopings=repeats) == changes
    if whole:
        assert rethreads(colours, hoopings=repeats, needles=1) == changes + 1


def test_a_machine_without_needles_and_negative_hoopings_are_refused():
    with pytest.raises(WorkshopError, match="0 needles"):
        rethreads(["navy"], needles=0)
    with pytest.raises(WorkshopError, match="-1 hoopings"):
        thread_changes(["navy"], hoopings=-1)
