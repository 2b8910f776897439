"""Thread beside a grey card: the card makes the light neutral, and what cannot be measured is refused."""

import numpy as np
import pytest

from inventory.compute.colour.knowing import USUAL_SIGMA
from inventory.compute.colour.lab import delta_e_00
from inventory.compute.colour.photograph import PhotographUnclear, PhotoRegion, colour_in_photograph

with np.printoptions():  # the import changes NumPy's print options for the whole process
    import colour as reference

CARD, THREAD = PhotoRegion(0.0, 0.0, 0.5, 1.0), PhotoRegion(0.5, 0.0, 0.5, 1.0)


def photographed(thread_light, *, card_light=(0.18, 0.18, 0.18), light=(1.0, 1.0, 1.0), noise=0.0, rng=None):
    """A picture of linear lights, left the card and right the thread, under a light of this colour."""
    picture = np.empty((60, 120, 3))
    picture[:, :60], picture[:, 60:] = card_light, thread_light
    if rng is not None:
        picture *= rng.normal(1.0, noise, picture.shape)
    lit = np.clip(picture * light, 0, 1)
    encoded = np.where(lit <= 0.0031308, 12.92 * lit, 1.055 * lit ** (1 / 2.4) - 0.055)
    return np.round(encoded * 255).astype(np.uint8)


def reference_lab(linear):
    xyz = reference.RGB_to_XYZ(
        np.array(linear), "sRGB", apply_cctf_decoding=False, chromatic_adaptation_transform=None
    )
    white = reference.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    return reference.XYZ_to_Lab(xyz, white)


@pytest.mark.parametrize(
    "thread", [(0.55, 0.05, 0.06), (0.03, 0.12, 0.40), (0.6, 0.55, 0.5), (0.02, 0.02, 0.025)]
)
def test_in_even_light_the_colour_is_that_of_the_reference_library(thread):
    found = colour_in_photograph(photographed(thread), card=CARD, thread=THREAD)
    assert delta_e_00(reference_lab(thread), [tuple(found.lab)])[0] < 1.0


@pytest.mark.parametrize("light", [(1.0, 0.8, 0.5), (0.7, 0.9, 1.0), (0.5, 0.5, 0.5)])
def test_the_card_takes_the_colour_of_the_light_away(light):
    thread = (0.45, 0.08, 0.10)
    lit = colour_in_photograph(photographed(thread, light=light), card=CARD, thread=THREAD)
    assert delta_e_00(reference_lab(thread), [tuple(lit.lab)])[0] < 3.5
    naive = colour_in_photograph(
        photographed(np.array(thread) * light), card=CARD, thread=THREAD
    )  # as if the card had been grey under daylight
    assert delta_e_00(reference_lab(thread), [tuple(naive.lab)])[0] > 4.0


def test_it_says_how_far_the_pixels_lie_apart_and_that_it_is_approximate():
    rng = np.random.default_rng(5)
    plain = colour_in_photograph(photographed((0.4, 0.1, 0.1)), card=CARD, thread=THREAD)
    rough = colour_in_photograph(photographed((0.4, 0.1, 0.1), noise=0.1, rng=rng), card=CARD, thread=THREAD)
    assert (plain.source, plain.spread) == ("photo", pytest.approx(0.0, abs=1e-6))
    assert rough.spread > 1.0
    assert rough.sigma > plain.sigma >= USUAL_SIGMA["photo"]
    assert plain.count == 60 * 60


@pytest.mark.parametrize(
    ("picture", "card", "words"),
    [
        (photographed((0.4, 0.1, 0.1), card_light=(1.0, 1.0, 1.0)), CARD, "too bright or too dark"),
        (photographed((0.4, 0.1, 0.1)), PhotoRegion(0.25, 0.0, 0.5, 1.0), "not evenly grey"),
        (photographed((1.0, 1.0, 1.0)), CARD, "blown out"),
        (photographed((0.4, 0.1, 0.1)), PhotoRegion(0.9, 0.0, 0.5, 1.0), "beyond the picture"),
        (photographed((0.4, 0.1, 0.1)), PhotoRegion(0.0, 0.0, 0.01, 0.1), "fewest that say anything"),
        (photographed((0.4, 0.1, 0.1)), PhotoRegion(float("nan"), 0.0, 0.1, 0.1), "beyond the picture"),
    ],
)
def test_what_cannot_be_measured_is_refused_in_words(picture, card, words):
    with pytest.raises(PhotographUnclear, match=words):
        colour_in_photograph(picture, card=card, thread=THREAD)


# The CIE's illuminants (CIE 015:2018), from colour-science: daylight, tungsten, tubes of three kinds, LEDs.
LAMPS = (
    *("D65", "D50", "D75", "A", "FL2", "FL4", "FL7", "FL9", "FL11", "FL12"),
    *("LED-B1", "LED-B2", "LED-B3", "LED-B4", "LED-B5", "LED-BH1", "LED-V1"),
)
WAVES = reference.SpectralShape(400, 700, 5)
OBSERVER = reference.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(WAVES).values
SURFACES = np.array(
    [each.copy().align(WAVES).values for each in reference.SDS_COLOURCHECKERS["BabelColor Average"].values()]
)


def linear_light(lamp, surfaces):
    """The linear sRGB of surfaces under a lamp, as a camera that sees like an eye and is set to daylight has it."""
    power = reference.SDS_ILLUMINANTS[lamp].copy().align(WAVES).values
    xyz = (surfaces * power) @ OBSERVER / (power @ OBSERVER[:, 1])
    return reference.XYZ_to_RGB(xyz, "sRGB", chromatic_adaptation_transform=None)


@pytest.mark.parametrize("lamp", LAMPS)
def test_the_stated_error_holds_under_lamps(lamp):
    """Each of 24 painted surfaces beside a card: 95 in a hundred lie within what three such sigmas make up."""
    card = linear_light(lamp, np.full((1, WAVES.range().size), 0.18))[0]
    within, square = 0, 0.0
    sigmas = []
    for light, surface in zip(linear_light(lamp, SURFACES), SURFACES, strict=True):
        exposed = min(1.0, 0.95 / max(light.max(), 1e-6))
        found = colour_in_photograph(
            photographed(light * exposed, card_light=card * exposed), card=CARD, thread=THREAD
        )
        truth = reference_lab(linear_light("D65", surface[None])[0])
        error = float(delta_e_00(truth, [tuple(found.lab)])[0])
        within += error <= 2.795 * found.sigma  # the 95 % point of a length with three normal errors
        square += error**2 / 3
        sigmas.append(found.sigma)
    assert within >= 23
    assert np.sqrt(square / len(SURFACES)) <= np.mean(sigmas)


def test_a_coloured_light_is_noted_and_makes_the_colour_less_sure():
    by_day = colour_in_photograph(photographed((0.45, 0.08, 0.10)), card=CARD, thread=THREAD)
    lamp = linear_light("A", np.ones((1, WAVES.range().size)))[0]
    lit = colour_in_photograph(photographed((0.40, 0.08, 0.10), light=lamp), card=CARD, thread=THREAD)
    assert by_day.notes == ()
    assert "light was coloured" in lit.notes[0]
    assert lit.sigma > by_day.sigma + 1


@pytest.mark.parametrize(
    ("card", "thread", "words"),
    [
        ((0.55, 0.05, 0.06), (0.18, 0.18, 0.18), "not grey in any light"),
        ((0.03, 0.03, 0.05), (0.18, 0.18, 0.18), "too dark"),
        ((0.80, 0.80, 0.75), (0.18, 0.18, 0.18), "too light"),
        ((0.08, 0.08, 0.08), (0.85, 0.85, 0.85), "a colour that no thread has"),
        ((0.03, 0.30, 0.05), (0.18, 0.18, 0.18), "not grey in any light"),
        ((0.30, 0.02, 0.45), (0.18, 0.18, 0.18), "not grey in any light"),
    ],
)
def test_what_is_no_grey_card_is_refused(card, thread, words):
    with pytest.raises(PhotographUnclear, match=words):
        colour_in_photograph(photographed(thread, card_light=card), card=CARD, thread=THREAD)


def test_no_swapped_pair_makes_a_colour_lighter_than_white():
    rng = np.random.default_rng(11)
    kept = 0
    for _ in range(200):
        thread = rng.uniform(0.01, 0.8, 3)
        try:
            found = colour_in_photograph(photographed(thread), card=THREAD, thread=CARD)
        except PhotographUnclear:
            continue
        kept += 1
        assert found.lab.L <= 80
    assert kept < 60  # what is kept has a lamp's colour or none, and about the lightness of the card
