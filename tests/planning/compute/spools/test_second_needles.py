"""Second spools on needles to spare: no way of placing them stops the machine less, compared with every way."""

from itertools import combinations, count

import numpy as np
import pytest

from planning.compute.spools.needle_places import needle_places
from planning.compute.spools.second_needles import SpoolEnd, spool_changes


def fewest_stops_by_trying(ends: list[SpoolEnd], spare: int) -> int:
    """The fewest ends that find their next spool on no needle, over every choice of what is threaded between hoopings.

    At the start of each hooping any of the spools to come may be on each needle to spare, and each needle serves once
    in a hooping: the one it takes over from is free only when the machine stands again.
    """
    fewest = 0
    for hooping in sorted({end.hooping for end in ends}):
        here = [at for at, end in enumerate(ends) if end.hooping == hooping]
        fewest += min(
            sum(at not in ready for at in here)
            for size in range(min(spare, len(ends)) + 1)
            for ready in combinations(range(len(ends)), size)
        )
    return fewest


def a_batch(rng, *, needles: int):
    colours = int(rng.integers(1, needles + 1))
    hoopings = int(rng.integers(1, 6))
    load = list(range(colours)) + [int(rng.integers(colours)) for _ in range(int(rng.integers(0, 3)))]
    names = count()
    ends = [
        SpoolEnd(hooping, block, 0.0, load[block], "", f"S{next(names)}")
        for hooping in range(1, hoopings + 1)
        for block in range(len(load))
        if rng.random() < 0.25
    ]
    return [load] * hoopings, ends


def assert_can_be_stitched(plan, changes):
    """Every needle holds one spool at a time, and is threaded only between hoopings or at a stop."""
    on = dict(plan.start)
    free_from = {needle: 1 for needle in range(1, plan.needles + 1) if needle not in on}
    for each in changes:
        assert on[each.needle] == each.end.thread
        if each.is_ready:
            assert each.on_needle not in on
            assert free_from[each.on_needle] <= each.ready_from <= each.end.hooping
            del on[each.needle]
            free_from[each.needle] = each.end.hooping + 1
            on[each.on_needle] = each.end.thread
        assert sorted(set(on)) == sorted(on)


def test_no_way_of_placing_second_spools_stops_the_machine_less():
    rng = np.random.default_rng(7)
    ready = stopped = 0
    for _ in range(300):
        needles = int(rng.integers(1, 6))
        loads, ends = a_batch(rng, needles=needles)
        if len(ends) > 9:
            continue
        plan = needle_places(loads, needles=needles)
        assert not plan.rethreads
        changes = spool_changes(plan, ends)
        assert_can_be_stitched(plan, changes)
        assert sum(each.stops for each in changes) == fewest_stops_by_trying(ends, needles - len(plan.start))
        ready += sum(each.is_ready for each in changes)
        stopped += sum(each.stops for each in changes)
    assert min(ready, stopped) > 50


def test_colours_come_before_second_spools():
    loads = [["navy", "white"]] * 3 + [["navy", "white", "red"]]
    ends = [SpoolEnd(2, 0, 0.0, "navy")]
    (change,) = spool_changes(needle_places(loads, needles=3), ends)
    assert (change.is_ready, change.stops) == (False, True)
    (change,) = spool_changes(needle_places(loads, needles=4), ends)
    assert (change.needle, change.on_needle, change.ready_from) == (1, 4, 1)


def test_where_needles_are_threaded_anew_for_colours_nothing_is_spare():
    plan = needle_places([["navy", "white", "red"]] * 3, needles=2)
    at = next(each for each in plan.rethreads if each.on == "white")
    apart, anyway = (
        spool_changes(plan, [SpoolEnd(at.hooping, at.block, inside, "white")])[0] for inside in (0.5, 0.0)
    )
    assert (apart.is_ready, apart.is_anyway, apart.stops) == (False, False, True)
    # The needle gets that thread just there: the new spool costs no threading and no stop more.
    assert (anyway.is_ready, anyway.is_anyway, anyway.stops) == (False, True, False)


def test_a_spool_that_ends_inside_a_block_stops_the_machine_whatever_is_threaded():
    (change,) = spool_changes(needle_places([["navy"]] * 3, needles=2), [SpoolEnd(2, 0, 0.4, "navy")])
    assert (change.is_ready, change.stops) == (True, True)


@pytest.mark.parametrize("needles", [2, 3, 15])
def test_one_needle_to_spare_serves_for_every_spool_that_ends_hooping_by_hooping(needles):
    ends = [SpoolEnd(hooping, 0, 0.0, "navy") for hooping in range(2, 20)]
    changes = spool_changes(needle_places([["navy"]] * 20, needles=needles), ends)
    assert not any(each.stops for each in changes)
