"""Colour: Lab under D65 / 2°, from hex and back, and how far apart two colours are.

The conversions are those of ``spaces`` beside this module; colormath holds the difference formulas. Its matrix
forms are used throughout: its scalar forms call a NumPy function that no longer exists. Arrays of colours have one
row a colour and the columns L, a, b.
"""

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from inventory.compute.colour.spaces import (
    lab_from_xyz,
    srgb_from_xyz,
    xyz_d65_from_d50,
    xyz_from_lab,
    xyz_from_srgb,
)
from inventory.compute.errors import WorkshopError
from inventory.compute.later import later
from inventory.compute.spoken import _, plainly

if TYPE_CHECKING:
    from colormath.color_diff_matrix import delta_e_cie1976, delta_e_cie2000
else:
    delta_e_cie1976, delta_e_cie2000 = later(
        "colormath.color_diff_matrix", "delta_e_cie1976", "delta_e_cie2000"
    )

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]

_HEX = re.compile(r"#?(?:[0-9a-f]{6}|[0-9a-f]{3})", re.IGNORECASE)
_LAB = re.compile(r"(?P<kind>lab|lab50)\s*:(?P<values>.*)", re.IGNORECASE)
_LAB_VALUE = re.compile(r"\s*[-+−]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)\s*")
_WIDEST_A_OR_B = 200.0  # beyond any surface colour
_PART = 32  # colours that are held against many
_AT_ONCE = 60_000  # numbers; more at a time no longer fit the processor's own memory


class ColourNotUnderstood(WorkshopError):
    """The text looks like a colour but is not one."""


@dataclass(frozen=True)
class Lab:
    """A colour in CIE L*a*b* under D65 and the 2° observer; unpacks as L, a, b."""

    L: float
    a: float
    b: float

    def __iter__(self) -> Iterator[float]:
        return iter((self.L, self.a, self.b))


@lru_cache(maxsize=16_384)
def lab_from_hex(hex: str) -> Lab:
    """Return the Lab colour of an sRGB colour written #rrggbb or #rgb, with or without the #.

    >>> red = lab_from_hex("#ff0000")
    >>> [round(value, 2) for value in red]
    [53.24, 80.09, 67.2]
    """
    written = hex.strip()
    if not _HEX.fullmatch(written):
        raise ColourNotUnderstood(_('"{hex}" is not a colour. Write it like #1f4e79.').format(hex=hex))
    digits = written.removeprefix("#")
    if len(digits) == 3:
        digits = "".join(2 * digit for digit in digits)
    red, green, blue = (int(digits[at : at + 2], 16) / 255 for at in (0, 2, 4))
    return Lab(*lab_from_xyz(xyz_from_srgb((red, green, blue)), "d65"))


def labs_from_hexes(hexes: Sequence[str]) -> Floats:
    """Return the Lab colours of many hex colours as an array of shape (n, 3).

    >>> (labs_from_hexes(["#000", "#ffffff"]).round(0) + 0).tolist()
    [[0.0, 0.0, 0.0], [100.0, 0.0, 0.0]]
    """
    return np.array([tuple(lab_from_hex(hex)) for hex in hexes], dtype=np.float64).reshape(-1, 3)


@lru_cache(maxsize=16_384)
def hex_from_lab(lab: Lab) -> str:
    """Return the sRGB colour #rrggbb of a Lab colour, each channel clipped where a screen cannot show it.

    >>> hex_from_lab(Lab(53.24, 80.09, 67.2))
    '#ff0000'
    """
    channels = srgb_from_xyz(xyz_from_lab((lab.L, lab.a, lab.b), "d65"))
    return "#" + "".join(f"{math.floor(0.5 + 255 * min(max(each, 0.0), 1.0)):02x}" for each in channels)


def lab_d65_from_d50(lab: Lab) -> Lab:
    """Return the D65 colour that matches a Lab colour measured under D50, adapted by Bradford's method.

    >>> [round(value, 1) for value in lab_d65_from_d50(Lab(54.29, 80.81, 69.88))]
    [53.2, 80.1, 67.2]
    """
    return Lab(*lab_from_xyz(xyz_d65_from_d50(xyz_from_lab((lab.L, lab.a, lab.b), "d50")), "d65"))


def parse_colour(text: str) -> Lab | None:
    """Return the colour written as #rrggbb, #rgb, lab:L,a,b (D65) or lab50:L,a,b (D50), else None.

    None leaves the caller free to look for a shade code. Text that starts as Lab and does not go on as Lab
    raises ColourNotUnderstood.

    >>> parse_colour("lab:53.24,80.09,67.2")
    Lab(L=53.24, a=80.09, b=67.2)
    >>> parse_colour("1147") is None
    True
    """
    written = text.strip()
    if written.startswith("#") and _HEX.fullmatch(written):
        return lab_from_hex(written.lower())
    lab = _LAB.fullmatch(written)
    if lab is None:
        return None
    values = lab["values"].split(",")
    if len(values) != 3 or not all(_LAB_VALUE.fullmatch(value) for value in values):
        raise ColourNotUnderstood(
            _('"{written}" is not a colour. Write it like lab:53.2,80.1,67.2.').format(written=written)
        )
    L, a, b = (float(value.replace("−", "-")) for value in values)
    if not (0 <= L <= 100 and abs(a) <= _WIDEST_A_OR_B and abs(b) <= _WIDEST_A_OR_B):
        raise ColourNotUnderstood(
            _(
                '"{written}" is not a colour. L goes from 0 to 100, a and b from -{widest} to {widest}.'
            ).format(written=written, widest=plainly(_WIDEST_A_OR_B))
        )
    return lab_d65_from_d50(Lab(L, a, b)) if lab["kind"].lower() == "lab50" else Lab(L, a, b)


def delta_e_00(reference: npt.ArrayLike, others: npt.ArrayLike) -> Floats:
    """Return the CIEDE2000 difference, (n,), of one colour, (3,), from each of ``others``, (n, 3).

    Sharma, Wu and Dalal, Color Research & Application 30 (2005) 21–30. colormath does not reduce the mean hue
    to one turn, which moves a result by up to 0.0002.

    >>> delta_e_00((50, 2.6772, -79.7751), [(50, 0, -82.7485)]).round(4).tolist()
    [2.0425]
    """
    return np.asarray(delta_e_cie2000(_colour(reference), _columns(others)))


def delta_e_00_matrix(a: npt.ArrayLike, b: npt.ArrayLike) -> Floats:
    """Return the CIEDE2000 difference, (m, n), of each colour in ``a``, (m, 3), from each in ``b``, (n, 3).

    >>> delta_e_00_matrix([(50, 2.6772, -79.7751), (50, 0, -82.7485)], [(50, 0, -82.7485)]).round(4).tolist()
    [[2.0425], [0.0]]
    """
    rows, columns = _columns(a), _columns(b)
    if len(rows) > len(columns):
        # The difference is symmetric, and few long passes are quicker than many short ones.
        return delta_e_00_matrix(columns, rows).T
    if rows.size * len(columns) <= _AT_ONCE:
        return _of_pairs(rows[:, None], columns[None])
    differences = np.empty((len(rows), len(columns)))
    for row, colour in enumerate(rows):
        differences[row] = delta_e_cie2000(colour, columns)
    return differences


def nearest_00(some: npt.ArrayLike, others: npt.ArrayLike) -> tuple[Ints, Floats]:
    """Return for each of ``some``, (m, 3), the place of the nearest of ``others``, (n, 3), and CIEDE2000 to it: (m,).

    Of two as near it is the first. There must be others.

    >>> places, differences = nearest_00([(50, 0, 0), (80, 0, 0)], [(20, 0, 0), (81, 0, 0), (52, 0, 0)])
    >>> places.tolist(), differences.round(1).tolist()
    ([2, 1], [2.0, 0.7])
    """
    rows, columns = _columns(some), _columns(others)
    # A part at a time: all differences of a large shelf take megabytes. Few long passes are quicker than many short.
    place, difference = np.zeros(len(rows), dtype=np.intp), np.full(len(rows), np.inf)
    if len(rows) < len(columns):
        for row in range(0, len(rows), _PART):
            part = delta_e_00_matrix(rows[row : row + _PART], columns)
            place[row : row + _PART] = at = part.argmin(axis=1)
            difference[row : row + _PART] = part[np.arange(len(part)), at]
        return place, difference
    for start in range(0, len(columns), _PART):
        part = delta_e_00_matrix(rows, columns[start : start + _PART])
        at = part.argmin(axis=1)
        apart = part[np.arange(len(rows)), at]
        nearer = apart < difference
        place[nearer], difference[nearer] = start + at[nearer], apart[nearer]
    return place, difference


def delta_e_00_of_pairs(some: npt.ArrayLike, others: npt.ArrayLike) -> Floats:
    """Return the CIEDE2000 difference, (n,), of each colour of ``some``, (n, 3), from the one in its place: (n, 3).

    >>> delta_e_00_of_pairs([(50, 2.6772, -79.7751)], [(50, 0, -82.7485)]).round(4).tolist()
    [2.0425]
    """
    return _of_pairs(_columns(some), _columns(others))


def _of_pairs(one: Floats, other: Floats) -> Floats:
    """Return CIEDE2000 of colours (..., 3) that broadcast: colormath's steps in its order, to the last bit.

    Its own form takes one colour at a time, which for few others is all overhead.
    """
    (L_1, a_1, b_1), (L_2, a_2, b_2) = np.moveaxis(one, -1, 0), np.moveaxis(other, -1, 0)
    C_bar_7 = np.power((np.sqrt(a_1**2 + b_1**2) + np.sqrt(a_2**2 + b_2**2)) / 2, 7.0)
    G = 0.5 * (1 - np.sqrt(C_bar_7 / (C_bar_7 + 25.0**7)))
    a_p1, a_p2 = (1 + G) * a_1, (1 + G) * a_2
    C_p1, C_p2 = np.sqrt(a_p1**2 + b_1**2), np.sqrt(a_p2**2 + b_2**2)
    h_p1, h_p2 = np.degrees(np.arctan2(b_1, a_p1)), np.degrees(np.arctan2(b_2, a_p2))
    h_p1, h_p2 = h_p1 + (h_p1 < 0) * 360, h_p2 + (h_p2 < 0) * 360
    apart = h_p2 - h_p1
    C_p_bar, L_p_bar = (C_p1 + C_p2) / 2, (L_1 + L_2) / 2
    h_p_bar = ((np.abs(h_p1 - h_p2) > 180) * 360 + h_p1 + h_p2) / 2
    T = (
        1
        - 0.17 * np.cos(np.radians(h_p_bar - 30))
        + 0.24 * np.cos(np.radians(2 * h_p_bar))
        + 0.32 * np.cos(np.radians(3 * h_p_bar + 6))
        - 0.2 * np.cos(np.radians(4 * h_p_bar - 63))
    )
    turn = apart + (np.abs(apart) > 180) * 360 - (h_p2 > h_p1) * 720
    from_grey = (L_p_bar - 50) ** 2
    S_L = 1 + 0.015 * from_grey / np.sqrt(20 + from_grey)
    S_C, S_H = 1 + 0.045 * C_p_bar, 1 + 0.015 * C_p_bar * T
    C_p_bar_7 = np.power(C_p_bar, 7.0)
    R_C = np.sqrt(C_p_bar_7 / (C_p_bar_7 + 25.0**7))
    R_T = -2 * R_C * np.sin(2 * np.radians(30 * np.exp(-(((h_p_bar - 275) / 25) ** 2))))
    L, C = (L_2 - L_1) / S_L, (C_p2 - C_p1) / S_C
    H = 2 * np.sqrt(C_p2 * C_p1) * np.sin(np.radians(turn) / 2) / S_H
    return np.asarray(np.sqrt(L**2 + C**2 + H**2 + R_T * C * H))


def delta_e_76(reference: npt.ArrayLike, others: npt.ArrayLike) -> Floats:
    """Return ΔE*ab (CIE 1976), (n,), of one colour, (3,), from each of ``others``, (n, 3).

    >>> delta_e_76((50, 0, 0), [(50, 3, 4)]).tolist()
    [5.0]
    """
    return np.asarray(delta_e_cie1976(_colour(reference), _columns(others)))


def lower_bound_00(reference: npt.ArrayLike, others: npt.ArrayLike) -> Floats:
    """Return |ΔL| / S_L, which CIEDE2000 never falls below, for colours (..., 3) that broadcast.

    The chroma, hue and rotation terms together are never negative (|R_T| < 2), so that leaving them out
    bounds the difference from below, up to rounding in the last digits. It costs a small part of the full
    formula and discards candidates without computing it.

    >>> lower_bound_00((50, 0, 0), [(60, 30, 0), (50, 30, 0)]).round(3).tolist()
    [9.471, 0.0]
    """
    L_1 = np.asarray(reference, dtype=np.float64)[..., 0]
    L_2 = np.asarray(others, dtype=np.float64)[..., 0]
    from_grey_squared = ((L_1 + L_2) / 2 - 50) ** 2
    S_L = 1 + 0.015 * from_grey_squared / np.sqrt(20 + from_grey_squared)
    return np.asarray(np.abs(L_1 - L_2) / S_L)


def _colour(values: npt.ArrayLike) -> Floats:
    colour = np.asarray(values, dtype=np.float64)
    if colour.shape != (3,):
        raise ValueError(f"one colour has shape (3,), not {colour.shape}")
    return colour


def _columns(values: npt.ArrayLike) -> Floats:
    """Return colours as an array of shape (n, 3) whose columns lie together, as the formulas read them."""
    colours = np.asfortranarray(values, dtype=np.float64)
    if colours.size == 0:
        return np.empty((0, 3), order="F")
    if colours.ndim != 2 or colours.shape[1] != 3:
        raise ValueError(f"colours have shape (n, 3), not {colours.shape}")
    return colours
