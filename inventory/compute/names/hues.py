"""What ``share_a_hue`` says of many colours at once, from what each is called, found once for each."""

from functools import lru_cache
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from colormath.color_objects import sRGBColor

from inventory.compute.colour.lab import delta_e_00_of_pairs, lower_bound_00
from inventory.compute.names.iscc_nbs import CENTROIDS
from inventory.compute.names.plain import EITHER_WAY, NEXT_TO_DEG, basic_hue, centroids, joined_hues
from inventory.compute.surfaces.gamut import onto_surface_gamut

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

_WHITE = np.array([0.95047, 1.0, 1.08883])  # CIE 15: D65, 2°
_CIE_E = 216.0 / 24389.0


class Hues(NamedTuple):
    """Of each colour, shape (n,): its basic colour, those it may go by, those its name joins (bits), and its turn."""

    basic: Ints
    may_be: Ints
    joined: Ints
    turn_deg: Floats

    def of(self, which: int | Ints | Bools) -> "Hues":
        return Hues(*(np.atleast_1d(each[which]) for each in self))


def hues_of(labs: npt.ArrayLike) -> Hues:
    """Return the hues of ``labs``, (n, 3), under D65.

    >>> hues = hues_of([(53.0, 71.0, 60.0), (45.0, 62.0, 40.0), (30.0, 59.0, -36.0)])
    >>> share_hues(hues.of(0), hues).tolist()
    [True, True, False]
    """
    asked = np.asarray(labs, dtype=np.float64).reshape(-1, 3)
    if not len(asked):
        nothing = np.zeros(0, dtype=np.int64)
        return Hues(nothing, nothing, nothing, np.zeros(0))
    apart = _from_centroids(screen_colours(asked))
    basics, joins = _bits()
    near = apart <= apart.min(axis=1, keepdims=True) + EITHER_WAY
    may_be = np.bitwise_or.reduce(np.where(near, basics, 0), axis=1)
    # A name goes by the colour to three digits, as ``plain_name`` has it: hardly ever another.
    rounded = screen_colours(asked.round(3))
    other = np.flatnonzero((rounded != screen_colours(asked)).any(axis=1))
    named = apart.argmin(axis=1)
    if len(other):
        named[other] = _from_centroids(rounded[other]).argmin(axis=1)
    turn = np.degrees(np.arctan2(asked[:, 2], asked[:, 1]))
    return Hues(basics[named], may_be, joins[named], turn)


def share_hues(one: Hues, others: Hues) -> Bools:
    """Return whether the colour of ``one``, shape (1,), and each of the others may go by one basic colour: (n,)."""
    by_name = (
        (one.basic == others.basic) | ((others.basic & one.may_be) != 0) | ((one.basic & others.may_be) != 0)
    )
    joined = ((others.basic & one.joined) != 0) | ((one.basic & others.joined) != 0)
    turn = np.abs((one.turn_deg - others.turn_deg + 180) % 360 - 180)
    return np.asarray(by_name | (joined & (turn <= NEXT_TO_DEG)))


def screen_colours(labs: Floats) -> Ints:
    """Return the channels 0 to 255 that ``hex_from_lab`` writes for each of ``labs``: (n, 3).

    >>> screen_colours(np.array([(53.24, 80.09, 67.2)])).tolist()
    [[255, 0, 0]]
    """
    y = (labs[:, 0] + 16.0) / 116.0
    root = np.column_stack([labs[:, 1] / 500.0 + y, y, y - labs[:, 2] / 200.0])
    cube = root**3
    light = _WHITE * np.where(cube > _CIE_E, cube, (root - 16.0 / 116.0) / 7.787)
    linear = np.maximum(light @ _matrix("xyz_to_rgb").T, 0.0)
    shown = np.where(
        linear <= 0.0031308, linear * 12.92, 1.055 * np.maximum(linear, 1e-9) ** (1 / 2.4) - 0.055
    )
    return np.asarray(np.floor(0.5 + np.clip(shown, 0.0, 1.0) * 255), dtype=np.int64)


def labs_of_screen(channels: Ints) -> Floats:
    """Return the colours under D65 of channels 0 to 255, (n, 3), as ``lab_from_hex`` does.

    >>> labs_of_screen(np.array([[255, 0, 0]])).round(2).tolist()
    [[53.24, 80.09, 67.2]]
    """
    part = channels / 255
    linear = np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)
    share = linear @ _matrix("rgb_to_xyz").T / _WHITE
    root = np.where(share > _CIE_E, np.cbrt(share), 7.787 * share + 16.0 / 116.0)
    return np.column_stack(
        [116.0 * root[:, 1] - 16.0, 500.0 * (root[:, 0] - root[:, 1]), 200.0 * (root[:, 1] - root[:, 2])]
    )


def _from_centroids(channels: Ints) -> Floats:
    """Return CIEDE2000 of each colour from each centroid, (n, centroids), endless where another is surely nearer.

    A colour may go by a centroid that is no more than ``EITHER_WAY`` farther than the nearest. By lightness alone most
    lie farther than that from the one that is nearest by the older, simpler difference.
    """
    distinct, where = np.unique(channels, axis=0, return_inverse=True)
    labs, middles = onto_surface_gamut(labs_of_screen(distinct)), centroids()
    simply = ((labs[:, None] - middles[None]) ** 2).sum(axis=2).argmin(axis=1)
    within = delta_e_00_of_pairs(labs, middles[simply]) + EITHER_WAY + 1e-6
    one, other = np.nonzero(lower_bound_00(labs[:, None], middles[None]) <= within[:, None])
    apart = np.full((len(labs), len(middles)), np.inf)
    apart[one, other] = delta_e_00_of_pairs(labs[one], middles[other])
    return np.asarray(apart[where.reshape(-1)])


@lru_cache(maxsize=2)
def _matrix(name: str) -> Floats:
    return np.asarray(sRGBColor.conversion_matrices[name], dtype=np.float64)


@lru_cache(maxsize=1)
def _bits() -> tuple[Ints, Ints]:
    """Return the bit of each centroid's basic colour, and those that its name joins."""
    every = sorted({hue for name, _ in CENTROIDS for hue in joined_hues(name)})
    bit = {hue: 1 << at for at, hue in enumerate(every)}
    basics = np.array([bit[basic_hue(name)] for name, _ in CENTROIDS], dtype=np.int64)
    joins = np.array([sum(bit[hue] for hue in joined_hues(name)) for name, _ in CENTROIDS], dtype=np.int64)
    return basics, joins
