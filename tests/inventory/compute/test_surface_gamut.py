"""Colours are brought onto the gamut of real surfaces: Pointer's data and colour-science as oracle."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.compute.colour.lab import delta_e_00, labs_from_hexes
from inventory.compute.surfaces.gamut import greatest_chroma, in_surface_gamut, onto_surface_gamut
from inventory.compute.surfaces.pointer_1980 import GREATEST_CHROMA, HUES_DEG, LIGHTNESSES

with np.printoptions():  # the import changes NumPy's print options for the whole process
    import colour as reference

WHITE_D65 = np.array([0.95047, 1.0, 1.08883])
WHITE_C = reference.xy_to_XYZ(reference.models.CCS_ILLUMINANT_POINTER_GAMUT)
lab = st.tuples(st.floats(0, 100), st.floats(-120, 120), st.floats(-120, 120))


def random_wishes(n: int, *, seed: int = 8) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return np.column_stack([rng.uniform(0, 100, n), rng.uniform(-110, 110, (n, 2))])


def under_c(labs: np.ndarray) -> np.ndarray:
    """Return XYZ under illuminant C of colours under D65, adapted by the reference library."""
    xyz = reference.Lab_to_XYZ(labs, reference.XYZ_to_xy(WHITE_D65))
    return reference.adaptation.chromatic_adaptation_VonKries(xyz, WHITE_D65, WHITE_C, transform="Bradford")


def under_d65(labs_c: np.ndarray) -> np.ndarray:
    xyz = reference.Lab_to_XYZ(labs_c, reference.models.CCS_ILLUMINANT_POINTER_GAMUT)
    xyz = reference.adaptation.chromatic_adaptation_VonKries(xyz, WHITE_C, WHITE_D65, transform="Bradford")
    return reference.XYZ_to_Lab(xyz, reference.XYZ_to_xy(WHITE_D65))


def hue_deg(labs: np.ndarray) -> np.ndarray:
    return np.degrees(np.arctan2(labs[:, 2], labs[:, 1]))


def test_the_table_is_pointers() -> None:
    ours = [
        (L, chroma, hue)
        for L, row in zip(LIGHTNESSES, GREATEST_CHROMA, strict=True)
        for hue, chroma in zip(HUES_DEG, row, strict=True)
    ]
    assert ours == [tuple(each) for each in reference.models.DATA_POINTER_GAMUT_VOLUME.tolist()]


def test_each_printed_colour_lies_on_the_edge_under_d65() -> None:
    printed = under_d65(reference.models.LCHab_to_Lab(reference.models.DATA_POINTER_GAMUT_VOLUME))
    inner = np.abs(printed[:, 0] - 52.5) < 36  # the outermost levels lean over the ends of the table
    edge = greatest_chroma(printed[inner, 0], hue_deg(printed[inner]) % 360)
    off = np.abs(edge - np.hypot(printed[inner, 1], printed[inner, 2]))
    # Between its levels our table is drawn with straight lines: at the sharpest corners that costs a little.
    assert np.percentile(off, 95) < 1.0
    assert off.max() < 3.0


def test_what_is_brought_in_is_inside_for_the_reference_library() -> None:
    brought = onto_surface_gamut(random_wishes(600))
    assert in_surface_gamut(brought).all()
    printed = brought[(brought[:, 0] > 15.5) & (brought[:, 0] < 89.5)]
    assert len(printed) > 300
    # The reference holds colours against the hull of the printed points in XYZ, which cuts curves short: where
    # the gamut bulges, what lies between two printed points is outside of it by a few hundredths of its chroma.
    assert reference.is_within_pointer_gamut(under_c(printed * [1, 0.99, 0.99])).mean() > 0.99
    assert reference.is_within_pointer_gamut(under_c(printed * [1, 0.95, 0.95])).all()


def test_what_the_reference_calls_outside_is_moved() -> None:
    wishes = random_wishes(2_000, seed=9)
    wishes = wishes[(wishes[:, 0] > 16) & (wishes[:, 0] < 89)]
    outside = ~reference.is_within_pointer_gamut(under_c(wishes), tolerance=0.05)
    moved = delta_many(wishes, onto_surface_gamut(wishes)) > 0
    assert outside.sum() > 500
    assert moved[outside].mean() > 0.995


def delta_many(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    return np.array([delta_e_00(a, [b])[0] for a, b in zip(one, other, strict=True)])


def test_hue_is_kept() -> None:
    wishes = random_wishes(10_000)
    brought = onto_surface_gamut(wishes)
    coloured = np.hypot(brought[:, 1], brought[:, 2]) > 0.01
    turn = (hue_deg(brought) - hue_deg(wishes) + 180) % 360 - 180
    assert np.abs(turn[coloured]).max() < 1e-6  # asked for: 0.5


@pytest.mark.parametrize(
    "hexes", [["#ff0000", "#00ff00", "#0000ff", "#ffff00", "#00ffff", "#ff00ff", "#000000"]]
)
def test_screen_colours_lie_outside_and_come_in_by_the_least_difference(hexes: list[str]) -> None:
    wishes = labs_from_hexes(hexes)
    assert not in_surface_gamut(wishes).any()
    assert_least(wishes)


def test_no_colour_of_that_hue_inside_is_nearer() -> None:
    assert_least(random_wishes(25, seed=10))


def assert_least(wishes: np.ndarray) -> None:
    """Hold the answer against a fine grid of all lightnesses and chromas of the wish's hue."""
    brought = onto_surface_gamut(wishes)
    for wish, ours in zip(wishes, brought, strict=True):
        hue = float(np.arctan2(wish[2], wish[1]))
        L, share = np.meshgrid(np.linspace(15, 100, 341), np.linspace(0, 1, 101), indexing="ij")
        chroma = share * greatest_chroma(L, np.full_like(L, np.degrees(hue) % 360))
        grid = np.column_stack([L.ravel(), (chroma * np.cos(hue)).ravel(), (chroma * np.sin(hue)).ravel()])
        least = delta_e_00(wish, grid).min()
        assert delta_e_00(wish, [ours])[0] <= least + 1e-3


def test_of_the_screens_colours_about_two_in_five_lie_outside() -> None:
    steps = [round(each * 255 / 15) for each in range(16)]
    grid = labs_from_hexes([f"#{r:02x}{g:02x}{b:02x}" for r in steps for g in steps for b in steps])
    assert (~in_surface_gamut(grid)).mean() == pytest.approx(0.40, abs=0.04)


def test_white_stays_white_and_black_becomes_the_darkest_that_is_dyed() -> None:
    assert onto_surface_gamut(labs_from_hexes(["#ffffff"]))[0] == pytest.approx([100, 0, 0], abs=0.01)
    assert onto_surface_gamut(labs_from_hexes(["#000000"]))[0] == pytest.approx([15, 0, 0], abs=0.01)


@given(lab)
def test_what_is_inside_stays_and_what_was_brought_in_is_brought_no_further(wish) -> None:
    once = onto_surface_gamut([wish])
    assert in_surface_gamut(once).all()
    assert onto_surface_gamut(once)[0] == pytest.approx(once[0], abs=1e-9)
    if in_surface_gamut([wish])[0]:
        assert once[0].tolist() == list(wish)


@given(st.lists(lab, max_size=5))
def test_many_at_once_are_each_alone(wishes) -> None:
    alone = [onto_surface_gamut([wish])[0].tolist() for wish in wishes]
    assert onto_surface_gamut(np.array(wishes).reshape(-1, 3)) == pytest.approx(
        np.array(alone).reshape(-1, 3)
    )
