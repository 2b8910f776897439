"""Plain colour names: centroids of the ISCC-NBS system, and what people call the colours of a screen."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.compute.colour.lab import Lab, delta_e_00_matrix, hex_from_lab, lab_from_hex, labs_from_hexes
from inventory.compute.names.iscc_nbs import CENTROIDS
from inventory.compute.names.plain import (
    basic_hue,
    colour_of_name,
    plain_name,
    plain_name_of_hex,
    plain_names,
    share_a_hue,
)
from inventory.compute.surfaces.gamut import from_c_to_d65

# P. Centore, "sRGB centroids for the ISCC-NBS colour system" (2016).
CENTORE = {
    "vivid red": (213, 28, 60),
    "strong red": (191, 52, 75),
    "vivid pink": (253, 121, 146),
    "light pink": (248, 195, 206),
    "strong orange yellow": (240, 161, 33),
    "deep yellowish brown": (103, 63, 11),
    "dark yellowish green": (47, 93, 58),
    "moderate green": (51, 119, 98),
    "vivid violet": (121, 49, 211),
    "pale purplish blue": (142, 146, 183),
    "dark red": (116, 36, 52),
    "moderate reddish brown": (125, 66, 59),
    "vivid orange": (247, 118, 11),
    "strong brown": (138, 68, 22),
    "vivid yellow": (241, 191, 21),
    "moderate olive": (100, 89, 26),
    "strong yellow green": (130, 161, 43),
    "strong bluish green": (13, 143, 130),
    "dark blue": (23, 52, 89),
    "strong purple": (147, 82, 168),
    "deep reddish purple": (118, 26, 106),
    "medium grey": (138, 132, 137),
}
lab = st.builds(Lab, st.floats(0, 100), st.floats(-110, 110), st.floats(-110, 110))


def under_d65(hex: str) -> Lab:
    return Lab(*from_c_to_d65(labs_from_hexes([hex]))[0].tolist())


@pytest.mark.parametrize(("name", "rgb"), CENTORE.items())
def test_a_centroid_has_its_own_name(name: str, rgb: tuple[int, int, int]) -> None:
    hex = "#{:02x}{:02x}{:02x}".format(*rgb)
    assert (name, hex) in CENTROIDS
    assert plain_name(under_d65(hex)) == name


def test_every_centroid_has_its_own_name() -> None:
    assert [name for name, hex in CENTROIDS if plain_name(under_d65(hex)) != name] == []


def test_there_are_the_systems_names_but_one() -> None:
    assert len({name for name, _ in CENTROIDS}) == len({hex for _, hex in CENTROIDS}) == 267 - 1


def test_light_is_lighter_than_moderate_than_dark_in_every_hue() -> None:
    L = {name: under_d65(hex).L for name, hex in CENTROIDS}
    ladder = ("very light", "light", "moderate", "dark", "very dark")
    for hue in {name.split(" ", 1)[1] for name in L if name.startswith("moderate ")}:
        rungs = [L[f"{word} {hue}"] for word in ladder if f"{word} {hue}" in L]
        assert rungs == sorted(rungs, reverse=True), hue
    for hue in {name.split(" ", 1)[1] for name in L if name.startswith("deep ")}:
        if f"strong {hue}" in L:
            assert L[f"strong {hue}"] > L[f"deep {hue}"], hue


@pytest.mark.parametrize(
    ("hex", "name"),
    [
        ("#ffffff", "white"),
        ("#000000", "black"),
        ("#c0c0c0", "light grey"),
        ("#808080", "medium grey"),
        ("#404040", "dark grey"),
        ("#ffff00", "vivid greenish yellow"),
        ("#00ff00", "vivid yellowish green"),
        ("#0000ff", "vivid purplish blue"),
        # A screen's red is an orange red: so says the system too.
        ("#ff0000", "vivid reddish orange"),
    ],
)
def test_the_colours_of_a_screen_have_the_names_of_the_surfaces_nearest_to_them(hex: str, name: str) -> None:
    assert plain_name(lab_from_hex(hex)) == name


def test_the_first_level_has_thirteen_colours() -> None:
    assert {basic_hue(name) for name, _ in CENTROIDS} == {
        *("pink", "red", "orange", "brown", "yellow", "olive", "yellow green", "green", "blue", "purple"),
        *("white", "grey", "black"),
    }


@pytest.mark.parametrize(
    ("one", "other", "share"),
    [
        ("#ff0000", "#c8102e", True),  # a screen's red and a thread's
        ("#0000ff", "#1f4e9e", True),
        ("#00ff00", "#2e8b3d", True),
        ("#ffff00", "#f1bf15", True),
        ("#000000", "#24242a", True),
        ("#800080", "#8b1a2b", False),
        ("#800080", "#1f4e79", False),
        ("#00ff00", "#1f4e9e", False),
        ("#ffffff", "#c8102e", False),
        ("#808080", "#1f4e9e", False),
    ],
)
def test_two_colours_share_a_hue_as_people_name_them(one: str, other: str, share: bool) -> None:
    assert share_a_hue(lab_from_hex(one), lab_from_hex(other)) is share


@given(lab, lab)
def test_sharing_a_hue_is_mutual_and_every_colour_shares_its_own(one: Lab, other: Lab) -> None:
    assert share_a_hue(one, one)
    assert share_a_hue(one, other) == share_a_hue(other, one)


def test_no_two_centroids_are_one_colour() -> None:
    labs = np.array([tuple(under_d65(hex)) for _, hex in CENTROIDS])
    apart = delta_e_00_matrix(labs, labs) + np.eye(len(labs)) * 100
    assert apart.min() > 1.0


@given(lab)
def test_a_colour_and_its_swatch_have_one_name(colour: Lab) -> None:
    assert plain_name_of_hex(hex_from_lab(colour)) == plain_name(colour)


@given(st.lists(lab, max_size=4))
def test_many_at_once_are_called_as_each_alone(colours: list[Lab]) -> None:
    assert plain_names([tuple(each) for each in colours]) == [plain_name(each) for each in colours]


@pytest.mark.parametrize("text", ["dark blue", "Dark  BLUE", "light gray", "strong red", "red", "white"])
def test_a_name_stands_for_a_colour_that_has_it(text: str) -> None:
    found = colour_of_name(text)
    assert found is not None
    words = text.casefold().replace("gray", "grey").split()
    assert set(words) <= set(plain_name(found).split())


@pytest.mark.parametrize("text", ["", "147", "Tar Black", "dark", "very blue"])
def test_other_words_stand_for_no_colour(text: str) -> None:
    assert colour_of_name(text) is None
