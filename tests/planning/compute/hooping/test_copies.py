"""Copies in a hoop: the grid, the smallest hoop, and what many at a time save."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.compute.errors import WorkshopError
from planning.compute.batch.asked import AskedBlock, AskedDesign, Terms
from planning.compute.batch.carrying import carry
from planning.compute.batch.copies_compared import compare_copies
from planning.compute.hooping.copies import HoopField, copy_grid, fewer, most_copies, smallest_hoop
from planning.compute.hooping.pieces import pieces_to_stitch
from planning.compute.hooping.timing import MachineTimes
from planning.compute.stabilizer.supply import LayerNeed
from planning.compute.stitches.thread_length import KAPPA_GRID, BlockSums, ThreadSettings

sizes = st.floats(20, 120)


def boxes_of(grid, width, height):
    across, along = (height, width) if grid.turned else (width, height)
    return [(x - across / 2, y - along / 2, x + across / 2, y + along / 2) for x, y in grid.centres_mm]


@given(sizes, sizes, st.floats(20, 400), st.floats(20, 400), st.floats(0, 20))
def test_copies_lie_in_the_field_and_keep_their_distance(width, height, field_width, field_height, spacing):
    hoop = HoopField("hoop", field_width, field_height)
    grid = copy_grid(width, height, hoop, spacing_mm=spacing)
    boxes = boxes_of(grid, width, height)
    assert len(boxes) == grid.count
    for left, top, right, bottom in boxes:
        assert max(-left, right) <= field_width / 2 + 1e-5
        assert max(-top, bottom) <= field_height / 2 + 1e-5
    for number, one in enumerate(boxes):
        for other in boxes[:number]:
            across = max(one[0], other[0]) - min(one[2], other[2])
            along = max(one[1], other[1]) - min(one[3], other[3])
            assert max(across, along) >= spacing - 1e-5


@given(sizes, sizes, st.floats(20, 400), st.floats(20, 400), st.floats(0, 20))
def test_no_straight_grid_holds_more(width, height, field_width, field_height, spacing):
    grid = copy_grid(width, height, HoopField("hoop", field_width, field_height), spacing_mm=spacing)
    most = 0
    for across, along in ((width, height), (height, width)):
        for columns in range(1, 22):
            for rows in range(1, 22):
                fits_across = columns * across + (columns - 1) * spacing <= field_width - 1e-5
                fits_along = rows * along + (rows - 1) * spacing <= field_height - 1e-5
                if not fits_along:
                    break
                if fits_across:
                    most = max(most, columns * rows)
    assert grid.count >= most


def test_turning_is_chosen_where_it_holds_more():
    grid = copy_grid(60, 120, HoopField("wide", 130, 65))
    assert (grid.count, grid.turned) == (1, True)


def test_a_design_that_does_not_fit_gives_no_copy():
    assert copy_grid(300, 300, HoopField("small", 100, 100)).count == 0
    assert most_copies([(300, 300)], HoopField("small", 100, 100)) == 0
    assert smallest_hoop([(300, 300)], [HoopField("small", 100, 100)]) is None


def test_every_hooping_of_a_piece_must_hold_the_copies():
    hoop = HoopField("large", 200, 200)
    assert most_copies([(60, 60)], hoop) == 9
    assert most_copies([(60, 60), (120, 120)], hoop) == 1


def test_more_than_a_grid_holds_is_refused():
    grid = copy_grid(60, 40, HoopField("medium", 130, 180))
    with pytest.raises(WorkshopError, match="7 copies do not lie in a grid of 6"):
        fewer(grid, 7)
    with pytest.raises(WorkshopError, match="spacing"):
        copy_grid(60, 40, HoopField("medium", 130, 180), spacing_mm=-1)


def design(*colours, width=60.0, height=40.0, hooping=0):
    sums = BlockSums(
        drawn_mm=1000.0,
        penetrations=500,
        back_draw_mm=100.0,
        bobbin_path_mm=(500.0,) * len(KAPPA_GRID),
        runs=1,
    )
    blocks = tuple(AskedBlock(number, colour, None, "", sums) for number, colour in enumerate(colours, 1))
    return AskedDesign(
        name="badge",
        sha256="",
        format="PES",
        width_mm=width,
        height_mm=height,
        stitches=500 * len(colours),
        trims=len(colours),
        stops=0,
        warnings=(),
        blocks=blocks,
        hooping=hooping,
    )


SMALL = HoopField("small", 100, 100, (140, 140))
LARGE = HoopField("large", 200, 300, (240, 340))
TERMS = Terms(
    thread=ThreadSettings(),
    times=MachineTimes(needles=1),
    layers=(LayerNeed("tear-away", 0, 100, "hooped", 2),),
    piece_mm=(140, 140),
    hoops=(SMALL, LARGE),
)


def carried(designs, pieces, copies, terms=TERMS):
    to_stitch = pieces_to_stitch(pieces, test_pieces=0, spoilage=0)
    return carry(designs, to_stitch=to_stitch, terms=replace(terms, copies_per_hooping=copies))


def test_copies_are_stitched_colour_by_colour():
    loads = carried([design("#aa0000", "#00aa00")], 5, 2)
    assert [len(load) for load in loads.loads] == [2, 2, 1]
    assert loads.stitched_blocks(0) == [(0, 0), (1, 1)]
    assert loads.stitched_blocks(2) == [(0,), (1,)]
    assert loads.hoopings() == 3
    # Two changes inside no load but the one between its colours, and one between loads.
    assert loads.thread_changes() == 3 * 1 + 2


def test_two_hoopings_a_piece_are_two_a_load():
    loads = carried([design("#aa0000"), design("#aa0000", hooping=1)], 6, 3)
    assert loads.hoopings() == 4


def test_names_that_differ_go_together_only_where_they_ask_for_one_colour():
    names = [design("#aa0000", "#0000aa"), design("#aa0000"), design("#00aa00")]
    to_stitch = pieces_to_stitch(3, test_pieces=0, spoilage=0)
    loads = carry(
        [design("#ffffff")], lettering=names, to_stitch=to_stitch, terms=replace(TERMS, copies_per_hooping=3)
    )
    colours = [[loads.blocks[index].block.hex for index in block] for block in loads.stitched_blocks(0)]
    assert colours == [["#ffffff"] * 3, ["#aa0000"] * 2, ["#00aa00"], ["#0000aa"]]


def test_pieces_hooped_together_share_the_threaded_path():
    alone, together = (
        carried([design("#aa0000", "#00aa00")], 8, 1),
        carried([design("#aa0000", "#00aa00")], 8, 4),
    )
    (stitched, lost), (same, shared) = (each.cumulative_needle_mm([0]) for each in (alone, together))
    assert stitched.tolist() == same.tolist()
    saved = lost[-1] - shared[-1]
    assert saved == pytest.approx((8 - 2) * TERMS.thread.threaded_path_mm)


def test_what_is_needed_of_a_load_is_what_its_pieces_need():
    for copies in (1, 3, 7):
        loads = carried([design("#aa0000", "#00aa00"), design("#aa0000", hooping=1)], 10, copies)
        geometry_mm, path_mm = loads.cumulative_needle_mm([0, 2])
        assert np.sum([sum(load) for load in loads.needle_loads([0, 2], median=1.5)]) == pytest.approx(
            geometry_mm[-1] * 1.5 + path_mm[-1]
        )
        assert sum(map(sum, loads.bobbin_loads(median=1.25))) == pytest.approx(
            10 * 1.25 * sum(block.bobbin_geometry_mm for block in loads.blocks)
        )


def test_one_and_many_stand_side_by_side_each_in_the_smallest_hoop_that_holds_them():
    options = compare_copies(carried([design("#aa0000", "#00aa00")], 24, 1), TERMS, bobbin_mm=None)
    table = {option.copies: option for option in options}
    assert sorted(table) == [1, 2, 18]
    large = table[18]  # 60 × 40 mm, 10 mm apart: three across 200 mm, six along 300 mm
    assert (large.hoop.name, large.hoopings, large.rethreads, large.stabilizer_pieces) == ("large", 2, 4, 4)
    assert large.stabilizer_mm2 == 4 * 240 * 340
    assert table[1].stabilizer_mm2 == 48 * 140 * 140
    hooping_and_threading_s = 24 * 300 + 48 * 60
    assert table[1].hands_on_min == pytest.approx(hooping_and_threading_s / 60)
    assert table[1].is_planned
    assert not large.is_planned
