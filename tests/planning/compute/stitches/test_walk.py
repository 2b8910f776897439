"""The walk through stitch records: what lays thread, what cuts it, and what a person is told."""

import itertools
import math
from dataclasses import dataclass, field

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyembroidery import EmbConstant

from planning.compute.stitches import walk as walking
from planning.compute.stitches.walk import (
    COLOUR_CHANGE,
    END,
    JUMP,
    NEEDLE_SET,
    SEQUIN_EJECT,
    STITCH,
    STOP,
    TRIM,
    FileThread,
    StitchRecords,
    Walked,
    walk,
)

SEQUIN_MODE, SLOW = 6, 11
RED, BLUE = FileThread("#ff0000", "red", "1"), FileThread("#0000ff", "blue", "2")
GREEN = FileThread("#00ff00", "green", "3")

Step = tuple[int, int, int]  # command, dx, dy in 0.1 mm


def records(steps: list[Step], *threads: FileThread) -> StitchRecords:
    moves = (
        np.array([step[1:] for step in steps], dtype=np.int32).reshape(-1, 2).cumsum(axis=0, dtype=np.int32)
    )
    command = np.array([step[0] for step in steps], dtype=np.uint8)
    return StitchRecords(moves[:, 0], moves[:, 1], command, threads)


def walked(steps: list[Step], *threads: FileThread, trims: walking.Trims = "explicit", **rule: int) -> Walked:
    return walk(records(steps, *threads), trims=trims, record_limit_tenths=121, **rule)


def sew(*distances: int) -> list[Step]:
    return [(STITCH, distance, 0) for distance in distances]


def drawn_mm(design: Walked) -> list[float]:
    lengths = []
    for block in design.blocks:
        steps = np.hypot(*np.diff(block.points_mm, axis=0).T)
        steps[block.run_starts[1:] - 1] = 0
        lengths.append(round(float(steps.sum()), 6))
    return lengths


@dataclass
class SlowBlock:
    points: list[tuple[int, int]] = field(default_factory=list)
    records: list[int] = field(default_factory=list)
    run_starts: list[int] = field(default_factory=list)
    trims: int = 0
    stops: int = 0
    zero_length: int = 0
    jumped_tenths: float = 0.0


@dataclass
class SlowWalk:
    """The rules once more, one record at a time, as a reader would follow them with a finger."""

    blocks: list[SlowBlock] = field(default_factory=list)
    untrimmed_travels: int = 0


def slow_walk(steps: list[Step], *, trims: str, limit: int | None, trim_at: int) -> SlowWalk:
    x = y = 0
    design, block = SlowWalk(), SlowBlock()
    last: tuple[int, int] | None = None  # the last penetration, while its thread is whole
    jumps_since = 0
    saw_long_row = False

    def needed(dx: int, dy: int) -> int:
        return math.ceil(max(abs(dx), abs(dy)) / limit) if limit else 0

    def close() -> None:
        if block.points:
            design.blocks.append(block)

    for place, (command, dx, dy) in enumerate(steps):
        if command == END:
            break
        row_starts = command == JUMP and (place == 0 or steps[place - 1][0] != JUMP)
        if row_starts and trims == "jumps":
            row = list(itertools.takewhile(lambda step: step[0] == JUMP, steps[place:]))
            forced = needed(sum(step[1] for step in row), sum(step[2] for step in row))
            if len(row) >= trim_at and len(row) > forced:
                block.trims += last is not None
                last = None
            elif len(row) >= trim_at:
                saw_long_row = saw_long_row or last is not None
        x, y = x + dx, y + dy
        if command in (STITCH, SEQUIN_EJECT):
            if last is None:
                block.run_starts.append(len(block.points))
            else:
                move = x - last[0], y - last[1]
                block.zero_length += move == (0, 0)
                most = max(needed(*move), 1)
                if jumps_since and (jumps_since >= most or most > 2):
                    block.jumped_tenths += math.hypot(*move)
                design.untrimmed_travels += saw_long_row
            block.points.append((x, y))
            block.records.append(place)
            last, jumps_since, saw_long_row = (x, y), 0, False
        elif command == JUMP:
            jumps_since += 1
        elif command == TRIM:
            block.trims += last is not None
            last, saw_long_row = None, False
        elif command in (COLOUR_CHANGE, NEEDLE_SET):
            close()
            block, last, saw_long_row = SlowBlock(), None, False
        elif command == STOP:
            block.stops += 1
        if last is None:
            jumps_since, saw_long_row = 0, False
    close()
    return design


move = st.one_of(st.just(0), st.integers(-130, 130), st.integers(-1000, 1000))
command = st.one_of(
    st.sampled_from([STITCH, STITCH, JUMP]),
    st.sampled_from(
        [STITCH, JUMP, JUMP, TRIM, STOP, COLOUR_CHANGE, NEEDLE_SET, SEQUIN_EJECT, SEQUIN_MODE, SLOW]
    ),
)
steps_of_a_file = st.lists(st.tuples(command, move, move), max_size=60)


@given(
    steps=steps_of_a_file,
    ending=st.lists(st.tuples(st.sampled_from([END, STITCH, JUMP]), move, move), max_size=4),
    trims=st.sampled_from(["explicit", "jumps"]),
    limit=st.sampled_from([None, 1, 60, 121, 127, 2047]),
    trim_at=st.integers(1, 5),
)
def test_the_fast_walk_agrees_with_one_that_goes_record_by_record(
    steps: list[Step], ending: list[Step], trims: walking.Trims, limit: int | None, trim_at: int
) -> None:
    steps = steps + ending
    fast = walk(records(steps), trims=trims, record_limit_tenths=limit, trim_at_jumps=trim_at)
    slow = slow_walk(steps, trims=trims, limit=limit, trim_at=trim_at)
    assert len(fast.blocks) == len(slow.blocks)
    for number, (block, expected) in enumerate(zip(fast.blocks, slow.blocks, strict=True), start=1):
        assert block.number == number
        assert np.rint(block.points_mm * 10).astype(int).tolist() == [
            list(point) for point in expected.points
        ]
        assert block.run_starts.tolist() == expected.run_starts
        assert (block.trims, block.stops, block.zero_length) == (
            expected.trims,
            expected.stops,
            expected.zero_length,
        )
        assert block.jumped_mm == pytest.approx(expected.jumped_tenths / 10)
        assert (block.first_record, block.last_record) == (expected.records[0], expected.records[-1])
    assert fast.stitches == sum(len(block.points) for block in slow.blocks)
    assert fast.trims == sum(block.trims for block in slow.blocks)
    told = next((text for text in fast.warnings if "not trimmed" in text), "0 long")
    assert int(told.split(" long")[0]) == slow.untrimmed_travels


def test_the_command_numbers_are_those_of_the_reading_library() -> None:
    ours = (STITCH, JUMP, TRIM, STOP, END, COLOUR_CHANGE, SEQUIN_EJECT, NEEDLE_SET)
    names = ["STITCH", "JUMP", "TRIM", "STOP", "END", "COLOR_CHANGE", "SEQUIN_EJECT", "NEEDLE_SET"]
    assert ours == tuple(getattr(EmbConstant, name) for name in names)


def test_a_stitch_lays_thread_from_the_last_one() -> None:
    design = walked([*sew(0, 30), (STITCH, 0, 40), (END, 0, 0)])
    assert drawn_mm(design) == [7.0]
    assert (design.stitches, design.width_mm, design.height_mm, design.warnings) == (3, 3.0, 4.0, ())


def test_a_file_that_starts_with_jumps_adds_no_thread() -> None:
    design = walked([(JUMP, 500, 0), (JUMP, 500, 0), *sew(10, 20), (END, 0, 0)])
    assert drawn_mm(design) == [2.0]
    assert (design.min_x_mm, design.width_mm, design.jumps) == (101.0, 2.0, 2)


def test_thread_is_dragged_over_a_jump_that_does_not_trim() -> None:
    design = walked([*sew(0, 20), (JUMP, 100, 0), *sew(0), (END, 0, 0)])
    assert drawn_mm(design) == [12.0]
    assert design.blocks[0].jumped_mm == 10.0


def test_a_long_satin_stitch_written_as_a_jump_and_a_stitch_is_no_travel() -> None:
    design = walked([*sew(0, 20), (JUMP, 85, 0), *sew(85), (END, 0, 0)])
    assert drawn_mm(design) == [19.0]
    assert design.blocks[0].jumped_mm == 0.0


def test_a_trim_cuts_and_the_next_stitch_starts_a_run() -> None:
    design = walked([*sew(0, 20), (TRIM, 0, 0), (JUMP, 300, 0), *sew(0, 20), (END, 0, 0)])
    assert drawn_mm(design) == [4.0]
    assert design.blocks[0].run_starts.tolist() == [0, 2]
    assert design.trims == 1


def test_a_trim_with_nothing_sewn_since_the_last_cut_is_not_counted() -> None:
    steps = [
        (TRIM, 0, 0),
        *sew(0, 20),
        (TRIM, 0, 0),
        (TRIM, 0, 0),
        (COLOUR_CHANGE, 0, 0),
        (TRIM, 0, 0),
        *sew(0, 9),
    ]
    assert [block.trims for block in walked(steps).blocks] == [1, 0]


def test_a_colour_change_cuts_and_begins_a_block() -> None:
    design = walked([*sew(0, 20), (COLOUR_CHANGE, 0, 0), *sew(300, 20), (END, 0, 0)])
    assert drawn_mm(design) == [2.0, 2.0]
    assert (design.colour_changes, design.trims) == (1, 0)


def test_a_stop_pauses_and_cuts_nothing() -> None:
    design = walked([*sew(0, 20), (STOP, 0, 0), *sew(20), (END, 0, 0)])
    assert drawn_mm(design) == [4.0]
    assert (len(design.blocks), design.blocks[0].stops, design.stops) == (1, 1, 1)


def test_nothing_counts_after_the_end_record() -> None:
    assert walked([*sew(0, 20), (END, 0, 0), *sew(500, 500)]).stitches == 2


def test_a_file_without_an_end_record_is_told() -> None:
    assert "without an end record" in walked(sew(0, 20)).warnings[0]


@pytest.mark.parametrize("jumps", [3, 4, 7])
def test_three_jumps_in_a_row_or_more_are_a_trim_where_the_file_has_no_other(jumps: int) -> None:
    steps = [*sew(0, 20), *[(JUMP, 40, 0)] * jumps, *sew(0, 20), (END, 0, 0)]
    design = walked(steps, trims="jumps")
    assert (design.trims, drawn_mm(design), design.warnings) == (1, [4.0], ())


def test_two_jumps_in_a_row_are_no_trim_unless_the_machine_says_so() -> None:
    steps = [*sew(0, 20), (JUMP, 40, 0), (JUMP, 40, 0), *sew(0), (END, 0, 0)]
    assert walked(steps, trims="jumps").trims == 0
    assert walked(steps, trims="jumps", trim_at_jumps=2).trims == 1


def test_jumps_in_a_row_are_no_trim_where_the_file_has_trims_of_its_own() -> None:
    steps = [*sew(0, 20), *[(JUMP, 40, 0)] * 5, *sew(0), (END, 0, 0)]
    assert walked(steps, trims="explicit").trims == 0


def test_a_travel_of_37_mm_needs_its_four_jumps_and_is_dragged_with_a_warning() -> None:
    steps = [*sew(0, 20), (JUMP, 93, 0), (JUMP, 92, 0), (JUMP, 93, 0), (JUMP, 92, 0), *sew(0), (END, 0, 0)]
    design = walked(steps, trims="jumps")
    assert (design.trims, drawn_mm(design), design.blocks[0].jumped_mm) == (0, [39.0], 37.0)
    assert design.warnings == (
        "1 long travel (up to 37 mm) is not trimmed in the file. Some machines trim there: that leaves more "
        "thread ends and lays less thread.",
    )


def test_a_travel_of_37_mm_with_more_jumps_than_it_needs_is_a_trim() -> None:
    steps = [*sew(0, 20), (JUMP, 2, 2), (JUMP, -2, -2), *[(JUMP, 74, 0)] * 5, *sew(0), (END, 0, 0)]
    assert walked(steps, trims="jumps").trims == 1


def test_two_rows_of_jumps_in_one_travel_are_told_as_one() -> None:
    row = [(JUMP, 120, 0)] * 3
    design = walked([*sew(0, 20), *row, (STOP, 0, 0), *row, *sew(0), (END, 0, 0)], trims="jumps")
    assert design.warnings[0].startswith("1 long travel (up to 72 mm)")


def test_a_long_travel_to_the_end_of_a_block_drags_nothing() -> None:
    steps = [*sew(0, 20), *[(JUMP, 120, 0)] * 4, (COLOUR_CHANGE, 0, 0), *sew(0, 20), (END, 0, 0)]
    design = walked(steps, trims="jumps")
    assert (drawn_mm(design), design.warnings) == ([2.0, 2.0], ())


def test_empty_blocks_are_dropped_before_the_threads_are_given_out() -> None:
    steps = [
        (COLOUR_CHANGE, 0, 0),
        *sew(0, 20),
        (COLOUR_CHANGE, 0, 0),
        (COLOUR_CHANGE, 0, 0),
        *sew(0, 20),
        (COLOUR_CHANGE, 0, 0),
        (END, 0, 0),
    ]
    design = walked(steps, RED, BLUE)
    assert [(block.number, block.thread) for block in design.blocks] == [(1, RED), (2, BLUE)]
    assert design.warnings == ()


def test_a_thread_list_with_a_place_for_every_empty_block_is_read_place_by_place() -> None:
    steps = [*sew(0, 20), (COLOUR_CHANGE, 0, 0), (COLOUR_CHANGE, 0, 0), *sew(0, 20), (END, 0, 0)]
    assert [block.thread for block in walked(steps, RED, GREEN, BLUE).blocks] == [RED, BLUE]


def test_a_needle_set_before_the_first_stitch_threads_the_first_block() -> None:
    steps = [(NEEDLE_SET, 0, 0), *sew(0, 20), (NEEDLE_SET, 0, 0), (NEEDLE_SET, 0, 0), *sew(0, 9), (END, 0, 0)]
    assert [block.thread for block in walked(steps, RED, BLUE).blocks] == [RED, BLUE]
    assert [block.thread for block in walked(steps, RED, GREEN, BLUE).blocks] == [RED, BLUE]


def test_blocks_beyond_the_threads_of_the_file_are_uncoloured() -> None:
    design = walked([*sew(0, 20), (COLOUR_CHANGE, 0, 0), *sew(0, 20), (END, 0, 0)], RED)
    assert [block.thread for block in design.blocks] == [RED, None]
    assert "1 thread for 2 colour blocks" in design.warnings[0]


def test_more_threads_than_blocks_are_told() -> None:
    design = walked([*sew(0, 20), (END, 0, 0)], RED, BLUE, GREEN)
    assert design.blocks[0].thread == RED
    assert "3 threads for 1 colour block:" in design.warnings[0]


def test_a_thread_of_which_nothing_is_known_leaves_its_block_uncoloured() -> None:
    assert walked([*sew(0, 20), (END, 0, 0)], FileThread(None, "", "")).blocks[0].thread is None


def test_equal_neighbouring_colours_are_told_as_one_threading() -> None:
    steps = [*sew(0, 20), (COLOUR_CHANGE, 0, 0), *sew(0, 20), (COLOUR_CHANGE, 0, 0), *sew(0, 20), (END, 0, 0)]
    design = walked(steps, BLUE, RED, RED)
    assert len(design.blocks) == 3
    assert design.warnings == ("Neighbouring blocks 2 and 3 ask for the same colour: that is one threading.",)
    assert walked(steps, RED, BLUE, RED).warnings == ()
    nameless = (FileThread("#ff0000", "", ""), FileThread("#0000ff", "", ""), FileThread("#00ff00", "", ""))
    assert walked(steps, *nameless).warnings == ()


def test_a_block_with_one_stitch_is_told() -> None:
    steps = [*sew(0, 20), (COLOUR_CHANGE, 0, 0), *sew(5), (COLOUR_CHANGE, 0, 0), *sew(5), (END, 0, 0)]
    assert walked(steps).warnings == ("Blocks 2, 3 have a single stitch: check that nothing is missing.",)


def test_the_share_of_stitches_without_length_is_told_where_it_is_large() -> None:
    design = walked([*sew(0, *[20] * 15, 0, 0, 0, 0), (END, 0, 0)])
    assert design.blocks[0].zero_length == 4
    assert design.warnings[0].startswith("20% of the stitches (4 of 20) have no length")
    assert walked([*sew(0, *[20] * 98, 0), (END, 0, 0)]).warnings == ()


def test_an_empty_design_has_no_blocks_and_no_size() -> None:
    design = walked([(JUMP, 100, 100), (COLOUR_CHANGE, 0, 0), (END, 0, 0)])
    assert (design.blocks, design.stitches, design.width_mm, design.colour_changes) == ((), 0, 0.0, 0)
    assert walked([]).blocks == ()
