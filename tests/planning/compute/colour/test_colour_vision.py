"""Colours as eyes without one kind of cone see them, against a reference library."""

import numpy as np
import pytest

from inventory.compute.colour.lab import delta_e_00_matrix
from inventory.compute.colour.light import labs_of_light, light_of_labs
from planning.compute.colour.vision import MATRICES, fallen_together, seen_with

with np.printoptions():  # the import changes NumPy's print options for the whole process
    import colour as reference
    from colour.blindness import CVD_MATRICES_MACHADO2010

NAMES = {"protanopia": "Protanomaly", "deuteranopia": "Deuteranomaly", "tritanopia": "Tritanomaly"}


@pytest.mark.parametrize("viewer", MATRICES)
def test_the_matrices_are_those_of_the_reference_library(viewer):
    assert np.allclose(MATRICES[viewer], CVD_MATRICES_MACHADO2010[NAMES[viewer]][1.0], atol=1e-6)


@pytest.mark.parametrize("viewer", MATRICES)
def test_what_is_seen_is_what_the_reference_library_computes(viewer):
    rng = np.random.default_rng(4)
    light = rng.uniform(0, 1, (200, 3))
    seen = np.clip(light @ CVD_MATRICES_MACHADO2010[NAMES[viewer]][1.0].T, 0, 1)
    expected = reference_labs(seen)
    found = seen_with(viewer, reference_labs(light))
    assert np.abs(found - expected).max() < 0.1


def reference_labs(light):
    xyz = reference.RGB_to_XYZ(light, "sRGB", apply_cctf_decoding=False, chromatic_adaptation_transform=None)
    return reference.XYZ_to_Lab(xyz, reference.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"])


def test_light_and_lab_turn_into_each_other():
    light = np.random.default_rng(1).uniform(0, 1, (500, 3))
    assert np.allclose(light_of_labs(labs_of_light(light)), light, atol=1e-9)
    assert np.abs(labs_of_light(light) - reference_labs(light)).max() < 0.05


@pytest.mark.parametrize("viewer", MATRICES)
def test_grey_is_grey_to_everybody(viewer):
    greys = [(L, 0.0, 0.0) for L in (10.0, 50.0, 90.0)]
    assert np.abs(seen_with(viewer, greys) - greys).max() < 0.5


def test_red_and_green_that_lightness_told_apart_fall_together_when_it_is_gone():
    asked = [(35.0, 45.0, 30.0), (70.0, -35.0, 40.0)]
    rng = np.random.default_rng(0)
    # Of reds and greens of like lightness, some pair is far apart for most and close for some.
    greens = [
        (float(L), float(a), float(b)) for L, a, b in rng.uniform((35, -50, 20), (60, -10, 60), (400, 3))
    ]
    red = (48.0, 40.0, 40.0)
    found = [fallen_together(asked, [red, green]) for green in greens]
    told = [(green, each[0]) for green, each in zip(greens, found, strict=True) if each]
    assert told
    for green, pair in told:
        assert (pair.one, pair.other) == (0, 1)
        assert delta_e_00_matrix([red], [green])[0, 0] >= 5.0
        for viewer in pair.viewers:
            seen = seen_with(viewer, [red, green])
            assert delta_e_00_matrix(seen[:1], seen[1:])[0, 0] < 5.0
    assert {"protanopia", "deuteranopia"} & {viewer for _, pair in told for viewer in pair.viewers}


def test_what_fell_together_as_asked_for_is_no_news():
    asked = [(48.0, 40.0, 40.0), (48.0, -20.0, 45.0)]
    assert [each for each in fallen_together(asked, asked) if each.viewers] == []


def test_what_falls_together_for_everybody_is_told_elsewhere():
    assert (
        fallen_together([(40.0, 40.0, 20.0), (60.0, -30.0, 20.0)], [(50.0, 0.0, 0.0), (50.0, 0.5, 0.0)]) == []
    )
