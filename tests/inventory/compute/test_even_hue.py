"""Screen colours brought onto real surfaces along lines of one hue as people see it."""

import colour
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.compute.colour.lab import Lab, delta_e_00, hex_from_lab, lab_from_hex
from inventory.compute.names.plain import hue_word
from inventory.compute.surfaces.even_hue import onto_surface_gamut_by_even_hue
from inventory.compute.surfaces.gamut import in_surface_gamut, onto_surface_gamut

screen = st.integers(0, 0xFFFFFF).map(lambda value: lab_from_hex(f"#{value:06x}"))


def oklab_hue_deg(lab: Lab) -> float:
    """By colour-science, which has Oklab of its own."""
    xyz = colour.Lab_to_XYZ(tuple(lab), colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"])
    _, a, b = colour.XYZ_to_Oklab(xyz)
    return float(np.degrees(np.arctan2(b, a)))


@settings(max_examples=60, deadline=None)
@given(screen)
def test_hue_is_kept_and_the_colour_is_one_of_real_surfaces(lab: Lab) -> None:
    brought = onto_surface_gamut_by_even_hue(lab)
    assert in_surface_gamut([tuple(brought)])[0]
    if np.hypot(brought.a, brought.b) > 5.0:
        turn = oklab_hue_deg(lab) - oklab_hue_deg(brought)
        # The printed matrix and the reference library's differ in the fourth figure.
        assert abs((turn + 180) % 360 - 180) < 0.5


@settings(max_examples=40, deadline=None)
@given(screen)
def test_what_is_inside_stays(lab: Lab) -> None:
    inside = Lab(*onto_surface_gamut([tuple(lab)])[0].tolist())
    assert onto_surface_gamut_by_even_hue(inside) == inside


@pytest.mark.parametrize("hex", ["#0000ff", "#ff0000", "#00ff00", "#ffff00", "#ff00ff", "#00ffff"])
def test_nothing_of_one_hue_in_cielab_is_nearer_unless_it_is_another_hue(hex: str) -> None:
    wish = lab_from_hex(hex)
    brought = onto_surface_gamut_by_even_hue(wish)
    along_cielab = Lab(*onto_surface_gamut([tuple(wish)])[0].tolist())
    nearer = delta_e_00(tuple(wish), [tuple(brought)])[0] - delta_e_00(tuple(wish), [tuple(along_cielab)])[0]
    assert nearer < 8.0


def test_the_blue_of_a_screen_stays_blue() -> None:
    wish = lab_from_hex("#0000ff")
    along_cielab = Lab(*onto_surface_gamut([tuple(wish)])[0].tolist())
    assert hue_word(onto_surface_gamut_by_even_hue(wish)) == "blue"
    # Along CIELAB's hue its red rises as its blue falls: what thread is nearest to that is violet.
    assert int(hex_from_lab(along_cielab)[1:3], 16) > 4 * int(
        hex_from_lab(onto_surface_gamut_by_even_hue(wish))[1:3], 16
    )


def test_black_and_white_have_no_hue_to_keep() -> None:
    assert [round(value) for value in onto_surface_gamut_by_even_hue(Lab(0.0, 0.0, 0.0))] == [15, 0, 0]
    assert [round(value) for value in onto_surface_gamut_by_even_hue(Lab(100.0, 0.0, 0.0))] == [100, 0, 0]
