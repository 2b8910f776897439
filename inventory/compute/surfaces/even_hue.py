"""A colour brought onto the gamut of real surfaces along a line on which people see one hue.

Along a line of one CIELAB hue blue turns violet, and red orange: so far from the gamut as screens reach, the nearest
surface of the same CIELAB hue is then another colour. Oklab (Ottosson 2020, "A perceptual color space for image
processing") was fitted to data of equal hue, and keeps blue blue.
"""

from functools import lru_cache

import numpy as np
import numpy.typing as npt

from inventory.compute.colour.lab import Lab, delta_e_00
from inventory.compute.colour.light import labs_of_light, light_of_labs
from inventory.compute.surfaces.gamut import in_surface_gamut, onto_surface_gamut

Floats = npt.NDArray[np.float64]

# Linear sRGB to the cone responses, and their cube roots to Oklab: the figures as Ottosson printed them in 2021.
_TO_CONES = np.array(
    [
        [0.4122214708, 0.5363325363, 0.0514459929],
        [0.2119034982, 0.6806995451, 0.1073969566],
        [0.0883024619, 0.2817188376, 0.6299787005],
    ]
)
_TO_OKLAB = np.array(
    [
        [0.2104542553, 0.7936177850, -0.0040720468],
        [1.9779984951, -2.4285922050, 0.4505937099],
        [0.0259040371, 0.7827717662, -0.8086757660],
    ]
)
_NO_HUE = 0.005  # below this chroma of Oklab a colour has no hue to keep
_STEPS, _FINER, _TIMES_FINER = 49, 13, 3


@lru_cache(maxsize=4_096)
def onto_surface_gamut_by_even_hue(lab: Lab) -> Lab:
    """Return the surface colour nearest to ``lab`` by CIEDE2000 among those of its hue in Oklab; one inside stays.

    >>> blue = onto_surface_gamut_by_even_hue(Lab(32.3, 79.2, -107.9))
    >>> [round(value, -1) for value in blue]
    [30.0, 40.0, -70.0]
    """
    asked = np.array([tuple(lab)])
    if in_surface_gamut(asked)[0]:
        return lab
    _, a, b = _oklab(light_of_labs(asked))[0]
    if np.hypot(a, b) < _NO_HUE:
        return Lab(*onto_surface_gamut(asked)[0].tolist())
    low, high = np.array([0.0, 0.0]), np.array([1.0, 1.0])
    steps, best, found = _STEPS, np.zeros(2), asked[0]
    for _ in range(1 + _TIMES_FINER):
        lightness = np.linspace(low[0], high[0], steps)
        share = np.linspace(low[1], high[1], steps)
        pairs = np.stack(np.meshgrid(lightness, share, indexing="ij"), axis=-1).reshape(-1, 2)
        labs = labs_of_light(_light(np.column_stack([pairs[:, 0], pairs[:, 1] * a, pairs[:, 1] * b])))
        inside = np.flatnonzero(in_surface_gamut(labs))
        at = inside[int(delta_e_00(tuple(lab), labs[inside]).argmin())]
        best, found = pairs[at], labs[at]
        width = (high - low) / (steps - 1)
        low, high = np.clip(best - width, 0.0, 1.0), np.clip(best + width, 0.0, 1.0)
        steps = _FINER
    return Lab(*found.tolist())


def _oklab(light: Floats) -> Floats:
    return np.asarray(np.cbrt(light @ _TO_CONES.T) @ _TO_OKLAB.T)


def _light(oklab: Floats) -> Floats:
    return np.asarray((oklab @ np.linalg.inv(_TO_OKLAB).T) ** 3 @ np.linalg.inv(_TO_CONES).T)
