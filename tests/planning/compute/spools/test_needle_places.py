"""Threads on needles: no assignment needs fewer threadings, and the plan can be stitched as it says."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.compute.errors import WorkshopError
from planning.compute.hooping.pieces import rethreads
from planning.compute.spools.needle_places import needle_places

colours = st.lists(st.integers(0, 11), min_size=1, max_size=14)


def fewest_by_trying(sequence, needles, loaded=()):
    """The fewest threadings, over every choice of the thread that gives way at every block."""
    states = {frozenset(loaded): 0}
    for thread in sequence:
        following = {}
        for held, count in states.items():
            if thread in held:
                ways = [held]
                cost = count
            else:
                ways = (
                    [held | {thread}] if len(held) < needles else [held - {gone} | {thread} for gone in held]
                )
                cost = count + 1
            for way in ways:
                following[way] = min(cost, following.get(way, cost))
        states = following
    return min(states.values())


def assert_can_be_stitched(plan, hoopings, needles):
    on = dict(plan.start)
    events = {(each.hooping, each.block): each for each in plan.rethreads}
    for number, threads in enumerate(hoopings, 1):
        for block, thread in enumerate(threads):
            if (number, block) in events:
                change = events.pop((number, block))
                assert on[change.needle] == change.off
                on[change.needle] = change.on
            assert thread in on.values()
            assert len(on) <= needles
            assert all(1 <= needle <= needles for needle in on)
    assert not events


def test_six_needles_and_twelve_colours_need_no_more_than_any_assignment():
    rng = np.random.default_rng(6)
    more_than_needles = 0
    for _ in range(60):
        threads = rng.permutation(12)[: rng.integers(5, 13)].tolist()
        one = [int(rng.choice(threads)) for _ in range(int(rng.integers(4, 15)))]
        hoopings = [one] * int(rng.integers(1, 4))
        plan = needle_places(hoopings, needles=6)
        assert plan.threadings == fewest_by_trying([each for load in hoopings for each in load], 6)
        assert_can_be_stitched(plan, hoopings, 6)
        more_than_needles += bool(plan.rethreads)
    assert more_than_needles >= 10


@given(colours, st.integers(1, 6), st.integers(1, 4))
def test_the_count_is_that_of_the_hands_on_time(one, needles, hoopings):
    plan = needle_places([one] * hoopings, needles=needles)
    assert plan.threadings == rethreads(one, hoopings=hoopings, needles=needles)
    assert_can_be_stitched(plan, [one] * hoopings, needles)


@given(st.lists(colours, min_size=1, max_size=3), st.integers(1, 4), st.sets(st.integers(0, 11), max_size=4))
def test_threads_left_on_the_needles_are_kept_where_that_saves_threading(loads, needles, left):
    loaded = dict(enumerate(sorted(left)[:needles], 1))
    plan = needle_places(loads, needles=needles, loaded=loaded)
    sequence = [each for load in loads for each in load]
    assert plan.threadings == fewest_by_trying(sequence, needles, loaded.values())
    assert_can_be_stitched(plan, loads, needles)


def test_a_needle_for_every_thread_is_never_threaded_anew():
    plan = needle_places([["navy", "white", "white", "red"]] * 50, needles=15)
    assert plan.rethreads == ()
    assert dict(plan.start) == {1: "navy", 2: "white", 3: "red"}


def test_a_thread_told_for_a_needle_that_is_not_there_is_refused():
    with pytest.raises(WorkshopError, match="the machine has 6"):
        needle_places([["navy"]], needles=6, loaded={7: "navy"})
