"""Colours from hex and Lab, against colour-science and published values."""

import numpy as np
import pytest
from colormath.color_conversions import convert_color
from colormath.color_objects import LabColor, XYZColor, sRGBColor
from hypothesis import given
from hypothesis import strategies as st

from inventory.compute.colour.lab import (
    ColourNotUnderstood,
    Lab,
    delta_e_00,
    hex_from_lab,
    lab_d65_from_d50,
    lab_from_hex,
    labs_from_hexes,
    parse_colour,
)

with np.printoptions():  # the import changes NumPy's print options for the whole process
    import colour as reference

WHITE_POINTS = reference.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]
LABS = st.builds(Lab, st.floats(0, 100), st.floats(-200, 200), st.floats(-200, 200))
HEXES = st.integers(min_value=0, max_value=0xFFFFFF).map(lambda value: f"#{value:06x}")

# sRGB red under each white point: computed with colormath; colour-science gives the same within 0.04.
RED_D65 = (53.24, 80.09, 67.20)
RED_D50 = (54.29, 80.81, 69.88)


def grid_of_hexes() -> list[str]:
    steps = (*range(0, 256, 17), 1, 5, 10, 11, 12, 254)
    return [f"#{r:02x}{g:02x}{b:02x}" for r in steps for g in steps for b in steps]


def test_srgb_becomes_the_lab_of_the_reference_library() -> None:
    hexes = grid_of_hexes()
    rgb = np.array([[int(h[i : i + 2], 16) for i in (1, 3, 5)] for h in hexes]) / 255
    expected = reference.XYZ_to_Lab(reference.sRGB_to_XYZ(rgb), WHITE_POINTS["D65"])
    difference = np.abs(labs_from_hexes(hexes) - expected).max(axis=0)
    assert difference[0] < 0.01
    assert difference[1] < 0.03
    assert difference[2] < 0.03


def test_red_is_red_under_d65_and_not_under_d50() -> None:
    red = tuple(lab_from_hex("#ff0000"))
    assert red == pytest.approx(RED_D65, abs=0.01)
    assert red != pytest.approx(RED_D50, abs=0.5)


def test_lab_under_d50_is_adapted_before_it_is_used() -> None:
    assert tuple(lab_d65_from_d50(Lab(*RED_D50))) == pytest.approx(RED_D65, abs=0.01)
    assert tuple(parse_colour("lab50:54.29,80.81,69.88") or ()) == pytest.approx(RED_D65, abs=0.01)
    # Read as D65 by mistake, the same numbers are another colour.
    mistaken = parse_colour("lab:54.29,80.81,69.88")
    assert mistaken == Lab(*RED_D50)
    assert delta_e_00(RED_D65, [RED_D50])[0] > 1


def test_d50_is_adapted_as_the_reference_library_does_it() -> None:
    rng = np.random.default_rng(7)
    d50 = np.column_stack([rng.uniform(5, 95, 300), rng.uniform(-60, 60, 300), rng.uniform(-60, 60, 300)])
    xyz = reference.Lab_to_XYZ(d50, WHITE_POINTS["D50"])
    xyz_d65 = reference.chromatic_adaptation(
        xyz,
        reference.xy_to_XYZ(WHITE_POINTS["D50"]),
        reference.xy_to_XYZ(WHITE_POINTS["D65"]),
        method="Von Kries",
        transform="Bradford",
    )
    expected = reference.XYZ_to_Lab(xyz_d65, WHITE_POINTS["D65"])
    adapted = np.array([tuple(lab_d65_from_d50(Lab(*row))) for row in d50])
    assert np.abs(adapted - expected).max() < 0.03


def test_white_stays_white_whatever_the_white_point() -> None:
    assert tuple(lab_d65_from_d50(Lab(100, 0, 0))) == pytest.approx((100, 0, 0), abs=1e-6)
    assert tuple(lab_from_hex("#ffffff")) == pytest.approx((100, 0, 0), abs=0.01)
    assert tuple(lab_from_hex("#000000")) == pytest.approx((0, 0, 0), abs=1e-6)


@given(HEXES)
def test_a_screen_colour_survives_the_way_through_lab(hex: str) -> None:
    assert hex_from_lab(lab_from_hex(hex)) == hex


@given(
    st.floats(min_value=0, max_value=100),
    st.floats(min_value=-200, max_value=200),
    st.floats(min_value=-200, max_value=200),
)
def test_a_colour_no_screen_shows_is_clipped_to_one_it_does(L: float, a: float, b: float) -> None:
    clipped = hex_from_lab(Lab(L, a, b))
    assert len(clipped) == 7
    assert clipped[0] == "#"
    assert 0 <= int(clipped[1:], 16) <= 0xFFFFFF


def test_clipping_keeps_the_channel_that_overflows_at_its_end() -> None:
    # A green far outside sRGB: full green, no red.
    assert hex_from_lab(Lab(87, -200, 80))[1:5] == "00ff"


@given(st.lists(HEXES, max_size=20))
def test_many_colours_are_each_what_the_library_gives_for_one(hexes: list[str]) -> None:
    expected = [
        convert_color(sRGBColor.new_from_rgb_hex(h), LabColor, target_illuminant="d65").get_value_tuple()
        for h in hexes
    ]
    labs = labs_from_hexes(hexes)
    assert labs.shape == (len(hexes), 3)
    assert labs.tolist() == [list(lab) for lab in expected]


@given(LABS)
def test_colours_come_out_as_the_library_has_them(lab: Lab) -> None:
    shown = convert_color(LabColor(*lab, illuminant="d65"), sRGBColor)
    clipped = sRGBColor(shown.clamped_rgb_r, shown.clamped_rgb_g, shown.clamped_rgb_b)
    assert hex_from_lab(lab) == clipped.get_rgb_hex()
    under_d65 = convert_color(LabColor(*lab, illuminant="d50"), XYZColor)
    under_d65.apply_adaptation("d65", adaptation="bradford")
    assert tuple(lab_d65_from_d50(lab)) == convert_color(under_d65, LabColor).get_value_tuple()


def test_hex_is_read_short_or_long_in_either_case() -> None:
    assert lab_from_hex("#F80") == lab_from_hex("ff8800") == lab_from_hex(" #FF8800 ")


@pytest.mark.parametrize("hex", ["", "#", "#12345", "#gggggg", "#1234567", "navy", "#12 456", "#१२३"])
def test_a_hex_colour_that_is_none_is_refused(hex: str) -> None:
    with pytest.raises(ColourNotUnderstood, match="is not a colour"):
        lab_from_hex(hex)


def test_a_colour_is_read_as_people_write_it() -> None:
    assert parse_colour("#f00") == parse_colour(" #FF0000 ") == lab_from_hex("#ff0000")
    assert parse_colour("lab:50,-1.5,2") == parse_colour("LAB: 50, -1.5, +2.0") == Lab(50, -1.5, 2)
    assert parse_colour("lab:50,−1.5,2") == Lab(50, -1.5, 2)


@pytest.mark.parametrize("text", ["", "1147", "#1147", "GH-204", "navy", "ff0000", "label:1,2,3"])
def test_a_shade_code_is_not_taken_for_a_colour(text: str) -> None:
    assert parse_colour(text) is None


@pytest.mark.parametrize(
    "text",
    ["lab:", "lab:50", "lab:50,1", "lab:50,1,2,3", "lab:50;1;2", "lab:x,1,2", "lab:nan,0,0", "lab50:1,2"],
)
def test_half_a_lab_colour_is_refused_in_words(text: str) -> None:
    with pytest.raises(ColourNotUnderstood, match=r"Write it like lab:53\.2,80\.1,67\.2"):
        parse_colour(text)


@pytest.mark.parametrize("text", ["lab:101,0,0", "lab:-1,0,0", "lab:50,201,0", "lab50:50,0,-300"])
def test_a_lab_colour_beyond_any_surface_is_refused(text: str) -> None:
    with pytest.raises(ColourNotUnderstood, match="L goes from 0 to 100"):
        parse_colour(text)
