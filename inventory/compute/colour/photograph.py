"""The colour of thread in a photograph that shows a grey card beside it."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from inventory.compute.colour.knowing import USUAL_SIGMA
from inventory.compute.colour.lab import Lab, delta_e_00, delta_e_00_matrix
from inventory.compute.colour.light import labs_of_light, light_of_screen, light_under_daylight, xyz_of_light
from inventory.compute.colour.readings import KnownColour
from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _, figure
from inventory.compute.surfaces.gamut import onto_surface_gamut

Pixels = npt.NDArray[np.uint8]
Floats = npt.NDArray[np.float64]

# Grey cards reflect 18 % of the light at every wavelength: common practice, no source.
CARD_REFLECTANCE = 0.18
GREY_CARD_L = 49.5
FEWEST_PIXELS = 100
MOST_COMPARED = 4_000
_DARKEST, _LIGHTEST = 4, 251  # beyond them a channel has run out, and says nothing any more
MOST_RUN_OUT = 0.05
MOST_CARD_SPREAD = 8.0

# How a grey card of 18 % may come out: exposed by one and a half stops too much or too little, and in the colour of
# a lamp. Reckoned from the CIE's illuminants: tungsten and warm lamps make it as strong as C* 40, at hues from 60° to
# 95°; skylight bluish; tubes a little greenish. A sodium lamp (C* 65) is no light to look at colours by.
DARKEST_CARD_L, LIGHTEST_CARD_L = 30.0, 77.0
WELL_EXPOSED_L = (38.0, 63.0)
MOST_LAMP_CHROMA, NO_LAMP_CHROMA, PLAIN_CHROMA = 50.0, 15.0, 10.0
LAMP_HUES_DEG = ((50.0, 115.0), (215.0, 300.0))
# What a lamp leaves open after the adaptation, for each unit of the card's chroma; from the same reckoning.
SIGMA_PER_CHROMA = 0.1
# A thread beyond the gamut of surfaces by more than this was measured by something else than the card.
MOST_BEYOND_GAMUT = 6.0


class PhotographUnclear(WorkshopError):
    """The photograph does not show what a colour can be read from."""


@dataclass(frozen=True)
class PhotoRegion:
    """A rectangle of a picture, each number a share of its width or height from the upper left corner."""

    left: float
    top: float
    width: float
    height: float

    def of(self, pixels: Pixels) -> Pixels:
        """Return the pixels inside, (n, 3). Raises PhotographUnclear.

        >>> PhotoRegion(0.5, 0.0, 0.5, 1.0).of(np.zeros((20, 20, 3), dtype=np.uint8)).shape
        (200, 3)
        """
        numbers = (self.left, self.top, self.width, self.height)
        inside = self.left + self.width <= 1 + 1e-9 and self.top + self.height <= 1 + 1e-9
        if not (all(math.isfinite(each) for each in numbers) and min(numbers) >= 0 and inside):
            raise PhotographUnclear(
                _("A region reaches beyond the picture. Give its left, top, width and height.")
            )
        high, wide = pixels.shape[:2]
        rows = slice(round(self.top * high), round((self.top + self.height) * high))
        columns = slice(round(self.left * wide), round((self.left + self.width) * wide))
        found = pixels[rows, columns].reshape(-1, 3)
        if len(found) < FEWEST_PIXELS:
            raise PhotographUnclear(
                _(
                    "A region holds {count} pixels; {fewest} are the fewest that say anything. Mark a "
                    "larger one, or come closer with the camera."
                ).format(count=len(found), fewest=FEWEST_PIXELS)
            )
        return np.asarray(found)


def read_region(text: str) -> PhotoRegion:
    """Return the region written as left, top, width and height in hundredths of the picture.

    >>> read_region("10, 20, 30, 40")
    PhotoRegion(left=0.1, top=0.2, width=0.3, height=0.4)
    """
    parts = text.replace(";", " ").replace(",", " ").split()
    try:
        left, top, width, height = (float(part) / 100 for part in parts)
    except ValueError:
        raise WorkshopError(
            _(
                '"{text}" is no region. Write left, top, width and height in hundredths of the picture: 10, '
                "20, 30, 40."
            ).format(text=text)
        ) from None
    return PhotoRegion(left, top, width, height)


def colour_in_photograph(pixels: Pixels, *, card: PhotoRegion, thread: PhotoRegion) -> KnownColour:
    """Return the colour of the ``thread`` region of sRGB ``pixels``, (h, w, 3), in light that makes the card grey.

    The light is adapted so that the card's mean is neutral and reflects 18 % (Bradford): right for the card and
    close for the rest. So the colour stays approximate, and its sigma is that of a photograph, or more where the
    thread's pixels differ much or a lamp was coloured. Raises PhotographUnclear, also where the card is not grey, not
    of its lightness, or makes the thread a colour that none has.

    >>> picture = np.full((40, 80, 3), 118, dtype=np.uint8)
    >>> picture[:, 40:] = (200, 60, 40)
    >>> found = colour_in_photograph(picture, card=PhotoRegion(0, 0, 0.5, 1), thread=PhotoRegion(0.5, 0, 0.5, 1))
    >>> [round(value) for value in found.lab], found.source
    ([46, 54, 43], 'photo')
    """
    card_light = light_of_screen(_sound(card.of(pixels), what="card"))
    white_xyz = xyz_of_light(card_light.mean(axis=0, keepdims=True))[0] / CARD_REFLECTANCE
    if _spread(labs_of_light(light_under_daylight(card_light, white_xyz=white_xyz))) > MOST_CARD_SPREAD:
        raise PhotographUnclear(
            _("The card's region is not evenly grey. Mark only the card, out of shadows and shine.")
        )
    cast, notes = _cast(labs_of_light(card_light.mean(axis=0, keepdims=True))[0])
    thread_light = light_under_daylight(
        light_of_screen(_sound(thread.of(pixels), what="thread")), white_xyz=white_xyz
    )
    lab = labs_of_light(thread_light.mean(axis=0, keepdims=True))[0]
    _refuse_no_thread(lab)
    spread = _spread(labs_of_light(_thinned(thread_light)))
    # Between shine and shade the mean depends on where the camera stood: a part of the spread is open.
    sigma = math.hypot(USUAL_SIGMA["photo"], spread / 4, SIGMA_PER_CHROMA * cast)
    return KnownColour(Lab(*map(float, lab)), "photo", sigma, spread, len(thread_light), notes)


def _cast(card: Floats) -> tuple[float, tuple[str, ...]]:
    """Return how strong a colour the light gave the card, and what there is to be noted. Raises PhotographUnclear."""
    L, chroma = float(card[0]), math.hypot(card[1], card[2])
    if not DARKEST_CARD_L <= L <= LIGHTEST_CARD_L:
        told = (
            _(
                "What is marked as the card came out too dark (L {L}) for a grey card of 18 %, which is L {grey_L}. "
                "Check that card and thread are not swapped, or expose for the card."
            )
            if L < DARKEST_CARD_L
            else _(
                "What is marked as the card came out too light (L {L}) for a grey card of 18 %, which is L {grey_L}. "
                "Check that card and thread are not swapped, or expose for the card."
            )
        )
        raise PhotographUnclear(told.format(L=figure(L), grey_L=figure(GREY_CARD_L)))
    hue = math.degrees(math.atan2(card[2], card[1])) % 360
    is_lamp = any(low <= hue <= high for low, high in LAMP_HUES_DEG)
    if chroma > MOST_LAMP_CHROMA or (chroma > NO_LAMP_CHROMA and not is_lamp):
        raise PhotographUnclear(
            _(
                "What is marked as the card is not grey in any light to look at colours by. Check that card "
                "and thread are not swapped, and photograph by daylight or under a white lamp."
            )
        )
    notes = []
    if chroma > PLAIN_CHROMA:
        notes.append(_("The light was coloured, so the colour is less sure; by daylight it would be surer."))
    if not WELL_EXPOSED_L[0] <= L <= WELL_EXPOSED_L[1]:
        notes.append(
            _("The card came out dark: make sure that it is a grey card of 18 %.")
            if WELL_EXPOSED_L[0] > L
            else _("The card came out light: make sure that it is a grey card of 18 %.")
        )
    return chroma, tuple(notes)


def _refuse_no_thread(lab: Floats) -> None:
    beyond = float(delta_e_00(onto_surface_gamut([lab])[0], [lab])[0])
    if beyond > MOST_BEYOND_GAMUT or lab[0] > 100:
        raise PhotographUnclear(
            _(
                "By this card the thread would be L {L}, a {a}, b {b}, a colour that no thread "
                "has. Check that card and thread are not swapped, and that the card is an 18 % grey."
            ).format(L=figure(lab[0]), a=figure(lab[1]), b=figure(lab[2]))
        )


def _sound(region: Pixels, *, what: str) -> Pixels:
    """Return the pixels of a region in which no channel has run out; raise where too many have."""
    sound = ((region >= _DARKEST) & (region <= _LIGHTEST)).all(axis=1)
    if what == "card" and (~sound).mean() > MOST_RUN_OUT:
        raise PhotographUnclear(
            _(
                "The card is too bright or too dark in this photograph to be measured by. Expose it so that "
                "it comes out a middle grey."
            )
        )
    # A deep colour may well be dark in one channel; only what is blown out is left out of it.
    keep = sound if what == "card" else (region <= _LIGHTEST).all(axis=1)
    if keep.mean() < 0.5:
        raise PhotographUnclear(
            _("Most of the thread's region is blown out. Take the photograph a little darker.")
        )
    return region[keep]


def _thinned(light: Floats) -> Floats:
    return light[:: max(1, len(light) // MOST_COMPARED)]


def _spread(labs: Floats) -> float:
    some = labs[:: max(1, len(labs) // MOST_COMPARED)]
    apart = delta_e_00_matrix(some.mean(axis=0, keepdims=True), some)[0]
    return float(np.sqrt((apart**2).mean() / 3))
