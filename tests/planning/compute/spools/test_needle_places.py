"""Threads on needles: no assignment needs fewer threadings, and the plan can be stitched as it says."""

import csv
from itertools import combinations
from pathlib import Path

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


@given(st.lists(colours, min_size=1, max_size=3), st.integers(1, 4), st.lists(st.integers(0, 6), max_size=4))
def test_threads_left_on_the_needles_are_kept_where_that_saves_threading(loads, needles, left):
    """The same thread may have been left on several."""
    loaded = dict(enumerate(left[:needles], 1))
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


def test_a_thread_left_on_two_needles_gives_one_of_them_up_and_stays_on_the_other():
    hoopings = [["navy", "white"]] * 6
    plan = needle_places(hoopings, needles=2, loaded={1: "navy", 2: "navy"})
    assert plan.threadings == 1
    assert_can_be_stitched(plan, hoopings, 2)


# The job sequencing and tool switching problem: tests/data/tool_switching/README.md has the source.
DATA = Path(__file__).parents[3] / "data" / "tool_switching"


def tool_switching() -> list[tuple[str, int, list[frozenset[int]], int]]:
    """Return instance, places, the tools of each job, and the least loadings over all orders."""
    jobs: dict[str, list[frozenset[int]]] = {}
    with (DATA / "jobs.csv").open() as file:
        for row in csv.DictReader(file):
            jobs.setdefault(row["instance"], []).append(frozenset(map(int, row["tools"].split())))
    with (DATA / "optima.csv").open() as file:
        return [
            (row["instance"], int(row["capacity"]), jobs[row["instance"]],
             int(row["least_loadings_including_the_first"]))
            for row in csv.DictReader(file)
        ]  # fmt: skip


def loadings(order: list[frozenset[int]], places: int) -> int:
    """Return the loadings of a fixed order if those tools stay that are needed soonest.

    No rule needs fewer (Tang and Denardo, Operations Research 36, 1988).
    """
    held: set[int] = set()
    count = 0
    for at, needed in enumerate(order):
        count += len(needed - held)
        held |= needed
        soonest = sorted(
            held - needed,
            key=lambda tool: next((n for n, job in enumerate(order[at:]) if tool in job), len(order)),
        )
        held = needed | set(soonest[: places - len(needed)])
    return count


def many_hoopings(order: list[frozenset[int]]) -> list[list[int]]:
    """Return jobs of so many hoopings that no thread of a job may leave the machine before it ends."""
    return [sorted(job) for job in order for _ in range(12)]


def test_jobs_in_a_fixed_order_are_threaded_as_seldom_as_keeping_what_is_needed_soonest():
    rng = np.random.default_rng(1988)
    for _, places, jobs, least in tool_switching():
        for _ in range(4):
            order = [jobs[at] for at in rng.permutation(len(jobs))]
            plan = needle_places(many_hoopings(order), needles=places)
            assert plan.threadings == loadings(order, places) >= least


def best_order(jobs: list[frozenset[int]], places: int, *, most: int) -> list[frozenset[int]] | None:
    """Return an order of the jobs with at most so many loadings, None if there is none: every state is looked at.

    A state is the jobs done and the tools held. It is left where even one loading of each tool still missing is
    too much.
    """
    everything = (1 << len(jobs)) - 1
    wanted = [
        frozenset().union(*(job for at, job in enumerate(jobs) if not done >> at & 1))
        for done in range(everything + 1)
    ]
    states: dict[tuple[int, frozenset[int]], tuple[int, list[int]]] = {(0, frozenset()): (0, [])}
    for _ in jobs:
        following: dict[tuple[int, frozenset[int]], tuple[int, list[int]]] = {}
        for (done, held), (count, order) in states.items():
            for at, job in enumerate(jobs):
                if done >> at & 1:
                    continue
                after, loaded = done | 1 << at, count + len(job - held)
                others = held - job
                kept = min(places - len(job), len(others))
                for stay in combinations(sorted(others), kept):
                    now = job.union(stay)
                    if loaded + len(wanted[after] - now) > most:
                        continue
                    known = following.get((after, now))
                    if known is None or loaded < known[0]:
                        following[after, now] = loaded, [*order, at]
        states = following
    return [jobs[at] for at in min(states.values())[1]] if states else None


@pytest.mark.thorough
@pytest.mark.parametrize(("instance", "places", "jobs", "least"), tool_switching())
def test_the_published_least_loadings_over_all_orders_are_met_and_not_undercut(instance, places, jobs, least):
    order = best_order(jobs, places, most=least)
    assert order is not None
    assert needle_places(many_hoopings(order), needles=places).threadings == least
    assert best_order(jobs, places, most=least - 1) is None
