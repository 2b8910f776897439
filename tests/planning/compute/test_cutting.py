"""Equal pieces come from offcuts first, then from strips in the better direction."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.compute.errors import WorkshopError
from planning.compute.cutting import Flat, Roll, cut_equal_pieces


def cut(width, height, pieces, *rolls, flats=(), may_turn=True):
    return cut_equal_pieces(
        width_mm=width, height_mm=height, pieces=pieces, rolls=rolls, flats=flats, may_turn=may_turn
    )


def test_pieces_are_turned_where_that_takes_less_roll():
    answer = cut(180, 240, 10, Roll("R1", 500, 20_000))
    assert answer.roll_mm == 900  # turned: two across, five strips of 180; upright: two across, five of 240


def test_grain_forbids_turning():
    assert cut(180, 240, 10, Roll("R1", 500, 20_000), may_turn=False).roll_mm == 1200


def test_offcuts_and_sheets_go_first():
    flats = [Flat("C1", 400, 250), Flat("H1", 200, 250, count=3)]
    answer = cut(180, 240, 10, Roll("R1", 500, 20_000), flats=flats)
    assert answer.from_flats == (("C1", 2), ("H1", 3))
    assert answer.roll_mm == 540


def test_a_short_roll_is_followed_by_the_next():
    answer = cut(180, 240, 10, Roll("R1", 500, 400), Roll("R2", 500, 5_000))
    assert [(each.label, each.pieces) for each in answer.from_rolls] == [("R1", 4), ("R2", 6)]


def test_what_cannot_be_cut_is_missing():
    assert cut(180, 240, 10, Roll("R1", 500, 400)).missing == 6
    assert cut(600, 700, 3, Roll("R1", 500, 9_000)).missing == 3


def test_a_piece_without_a_size_is_refused():
    with pytest.raises(WorkshopError, match="cannot be cut"):
        cut(0, 240, 10, Roll("R1", 500, 400))


@given(
    st.integers(50, 400),
    st.integers(50, 400),
    st.integers(1, 40),
    st.integers(300, 1500),
    st.integers(0, 9_000),
)
def test_one_roll_gives_the_shortest_length_in_one_direction(width, height, pieces, roll_width, free):
    """Against the closed form: strips of one direction, as many across as fit."""
    answer = cut(width, height, pieces, Roll("R1", roll_width, free))
    lengths = []
    for across_mm, along_mm in ((width, height), (height, width)):
        across = roll_width // across_mm
        if across and -(-pieces // across) * along_mm <= free:
            lengths.append(-(-pieces // across) * along_mm)
    if lengths:
        assert answer.missing == 0
        assert answer.roll_mm == min(lengths)
        assert answer.bound_mm <= answer.roll_mm
    else:
        assert answer.missing > 0
    assert answer.roll_mm <= free
