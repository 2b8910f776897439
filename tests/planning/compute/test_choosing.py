"""Shades are chosen one by one: nearest first, with enough metres, never one shade for two colours."""

import pytest

from inventory.compute.colour import delta_e_00_matrix, lab_from_hex
from planning.compute.certainty import NEEDLE_PRIOR
from planning.compute.choosing import ColourRequest, OwnedShade, OwnedSpool, choose_shades


def shade(id, hex, *, metres=10_000.0, sigma_mm=0.0):
    spools = (OwnedSpool(id, f"S{id:04}", round(metres * 1000), sigma_mm),)
    return OwnedShade(id, 1, "Skerry", "Forty", str(id), hex, hex, lab_from_hex(hex), spools)


def request(hex, *, metres=100.0):
    return ColourRequest(hex, lab_from_hex(hex) if hex else None, metres * 1000)


def choose(requests, shades, *, colour_limit=5.0):
    return choose_shades(requests, shades, factor=NEEDLE_PRIOR, certainty=0.95, colour_limit=colour_limit)


def test_the_nearest_shade_with_enough_metres_is_chosen():
    (choice,) = choose([request("#b01c2e")], [shade(1, "#2040a0"), shade(2, "#b21d30"), shade(3, "#b81c2e")])
    assert choice.shade.id == 2
    assert choice.near_enough


def test_a_near_shade_with_too_little_gives_way_to_the_next_near_one():
    (choice,) = choose([request("#b01c2e")], [shade(2, "#b01c2e", metres=20), shade(3, "#b21e30")])
    assert choice.shade.id == 3


def test_where_none_has_enough_the_nearest_is_named():
    (choice,) = choose([request("#b01c2e")], [shade(2, "#b01c2e", metres=20), shade(3, "#b21e30", metres=30)])
    assert choice.shade.id == 2


def test_a_shade_beyond_the_limit_is_not_near_enough():
    (choice,) = choose([request("#b01c2e")], [shade(1, "#2040a0")])
    assert choice.shade.id == 1
    assert not choice.near_enough


def test_two_colours_never_share_one_shade():
    choices = choose(
        [request("#b01c2e"), request("#a02028", metres=50)], [shade(1, "#a81e2b"), shade(2, "#981e28")]
    )
    assert [choice.shade.id for choice in choices] == [1, 2]


def test_equal_colours_may_share_a_shade_as_long_as_both_fit():
    asked = [request("#b01c2e", metres=100), request("#b01c2f", metres=100)]
    roomy = choose(asked, [shade(1, "#b01c2e", metres=1000), shade(2, "#b21e30")])
    assert [choice.shade.id for choice in roomy] == [1, 1]
    tight = choose(asked, [shade(1, "#b01c2e", metres=150), shade(2, "#b21e30")])
    assert [choice.shade.id for choice in tight] == [1, 2]


def test_a_block_without_a_colour_gets_no_shade():
    (choice,) = choose([request("")], [shade(1, "#b01c2e")])
    assert choice.shade is None


def test_an_empty_shelf_gives_no_shade():
    assert choose([request("#b01c2e")], [])[0].shade is None


def test_the_difference_told_is_the_difference_of_the_two():
    (choice,) = choose([request("#b01c2e")], [shade(2, "#b21d30")])
    expected = delta_e_00_matrix([tuple(lab_from_hex("#b01c2e"))], [tuple(lab_from_hex("#b21d30"))])[0, 0]
    assert choice.delta_e_00 == pytest.approx(expected)
