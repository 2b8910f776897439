"""The colour of thread in a photograph that shows a grey card beside it."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from inventory.compute.colour import Lab, delta_e_00_matrix
from inventory.compute.colour_knowing import USUAL_SIGMA
from inventory.compute.errors import WorkshopError
from inventory.compute.light import labs_of_light, light_of_screen
from inventory.compute.readings import KnownColour

Pixels = npt.NDArray[np.uint8]
Floats = npt.NDArray[np.float64]

# Grey cards reflect 18 % of the light at every wavelength: common practice, no source.
CARD_REFLECTANCE = 0.18
FEWEST_PIXELS = 100
MOST_COMPARED = 4_000
_DARKEST, _LIGHTEST = 4, 251  # beyond them a channel has run out, and says nothing any more
MOST_RUN_OUT = 0.05
MOST_CARD_SPREAD = 8.0


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
                "A region reaches beyond the picture. Give its left, top, width and height."
            )
        high, wide = pixels.shape[:2]
        rows = slice(round(self.top * high), round((self.top + self.height) * high))
        columns = slice(round(self.left * wide), round((self.left + self.width) * wide))
        found = pixels[rows, columns].reshape(-1, 3)
        if len(found) < FEWEST_PIXELS:
            raise PhotographUnclear(
                f"A region holds {len(found)} pixels; {FEWEST_PIXELS} are the fewest that say anything. "
                "Mark a larger one, or come closer with the camera."
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
            f'"{text}" is no region. Write left, top, width and height in hundredths of the picture: 10, 20, 30, 40.'
        ) from None
    return PhotoRegion(left, top, width, height)


def colour_in_photograph(pixels: Pixels, *, card: PhotoRegion, thread: PhotoRegion) -> KnownColour:
    """Return the colour of the ``thread`` region of sRGB ``pixels``, (h, w, 3), in light that makes the card grey.

    Each channel of light is scaled so that the card's mean is neutral and reflects 18 %: a change of light by
    channel (von Kries, 1902), right for the card and close for the rest. So the colour stays approximate, and its
    sigma is that of a photograph, or more where the thread's pixels differ much. Raises PhotographUnclear.

    >>> picture = np.full((40, 80, 3), 118, dtype=np.uint8)
    >>> picture[:, 40:] = (200, 60, 40)
    >>> found = colour_in_photograph(picture, card=PhotoRegion(0, 0, 0.5, 1), thread=PhotoRegion(0.5, 0, 0.5, 1))
    >>> [round(value) for value in found.lab], found.source
    ([46, 54, 43], 'photo')
    """
    card_light = light_of_screen(_sound(card.of(pixels), what="card"))
    mean_card = card_light.mean(axis=0)
    gain = CARD_REFLECTANCE / mean_card
    if _spread(labs_of_light(card_light * gain)) > MOST_CARD_SPREAD:
        raise PhotographUnclear(
            "The card's region is not evenly grey. Mark only the card, out of shadows and shine."
        )
    thread_light = light_of_screen(_sound(thread.of(pixels), what="thread")) * gain
    lab = labs_of_light(thread_light.mean(axis=0, keepdims=True))[0]
    spread = _spread(labs_of_light(_thinned(thread_light)))
    # Between shine and shade the mean depends on where the camera stood: a part of the spread is open.
    sigma = math.hypot(USUAL_SIGMA["photo"], spread / 4)
    return KnownColour(Lab(*map(float, lab)), "photo", sigma, spread, len(thread_light))


def _sound(region: Pixels, *, what: str) -> Pixels:
    """Return the pixels of a region in which no channel has run out; raise where too many have."""
    sound = ((region >= _DARKEST) & (region <= _LIGHTEST)).all(axis=1)
    if what == "card" and (~sound).mean() > MOST_RUN_OUT:
        raise PhotographUnclear(
            "The card is too bright or too dark in this photograph to be measured by. Expose it so that it "
            "comes out a middle grey."
        )
    # A deep colour may well be dark in one channel; only what is blown out is left out of it.
    keep = sound if what == "card" else (region <= _LIGHTEST).all(axis=1)
    if keep.mean() < 0.5:
        raise PhotographUnclear(
            "Most of the thread's region is blown out. Take the photograph a little darker."
        )
    return region[keep]


def _thinned(light: Floats) -> Floats:
    return light[:: max(1, len(light) // MOST_COMPARED)]


def _spread(labs: Floats) -> float:
    some = labs[:: max(1, len(labs) // MOST_COMPARED)]
    apart = delta_e_00_matrix(some.mean(axis=0, keepdims=True), some)[0]
    return float(np.sqrt((apart**2).mean() / 3))
