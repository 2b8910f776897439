"""From sRGB to CIE XYZ and L*a*b* and back: one colour at a time, colormath's steps in its order, to the last bit.

colormath finds its way from one space to another on a graph, for which it imports networkx: 20 MB that every page would
keep, and ten times the time, for three steps that are always the same. Its constants are used: the white points of
ASTM E308 under the 2° observer, the matrices of IEC 61966-2-1 (sRGB) and of Bradford's adaptation. Where CIE 15 has
(29/6)²/3 it has 7.787; a test holds each colour to what colormath converts.
"""

import math
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from colormath.color_constants import ADAPTATION_MATRICES, CIE_E, ILLUMINANTS
from colormath.color_objects import sRGBColor

Triple = tuple[float, float, float]


def xyz_from_srgb(channels: Triple) -> Triple:
    """Return XYZ under D65 of an sRGB colour whose channels go from 0 to 1.

    >>> [round(each, 4) for each in xyz_from_srgb((1.0, 1.0, 1.0))]
    [0.9505, 1.0, 1.089]
    """
    linear = [each / 12.92 if each <= 0.04045 else math.pow((each + 0.055) / 1.055, 2.4) for each in channels]
    return _positive(np.dot(sRGBColor.conversion_matrices["rgb_to_xyz"], np.array(linear)))


def srgb_from_xyz(xyz: Triple) -> Triple:
    """Return the sRGB channels of XYZ under D65: not below 0, and above 1 where no screen can show the colour.

    >>> [round(each, 3) for each in srgb_from_xyz((0.4124, 0.2127, 0.0193))]
    [1.0, 0.001, 0.0]
    """
    linear = _positive(np.dot(sRGBColor.conversion_matrices["xyz_to_rgb"], np.array(xyz)))
    red, green, blue = (
        each * 12.92 if each <= 0.0031308 else 1.055 * math.pow(each, 1 / 2.4) - 0.055 for each in linear
    )
    return red, green, blue


def lab_from_xyz(xyz: Triple, white: str) -> Triple:
    """Return L*, a*, b* of XYZ under a ``white``: d50 or d65.

    >>> [round(each, 6) + 0 for each in lab_from_xyz((0.95047, 1.0, 1.08883), "d65")]
    [100.0, 0.0, 0.0]
    """
    x, y, z = (_root(each / whole) for each, whole in zip(xyz, ILLUMINANTS["2"][white], strict=True))
    return 116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)


def xyz_from_lab(lab: Triple, white: str) -> Triple:
    """Return XYZ of L*, a*, b* under a ``white``: d50 or d65.

    >>> xyz_from_lab((100.0, 0.0, 0.0), "d65")
    (0.95047, 1.0, 1.08883)
    """
    L, a, b = lab
    y = (L + 16.0) / 116.0
    x, z = a / 500.0 + y, y - b / 200.0
    of_x, of_y, of_z = ILLUMINANTS["2"][white]
    return of_x * _cube(x), of_y * _cube(y), of_z * _cube(z)


def xyz_d65_from_d50(xyz: Triple) -> Triple:
    """Return XYZ under D65 of the colour that is ``xyz`` under D50, adapted by Bradford's method.

    >>> [round(each, 5) for each in xyz_d65_from_d50((0.96422, 1.0, 0.82521))]
    [0.95047, 1.0, 1.08883]
    """
    x, y, z = (float(each) for each in np.dot(_bradford(), np.array(xyz)))
    return x, y, z


@lru_cache(maxsize=1)
def _bradford() -> npt.NDArray[np.float64]:
    sharp = np.asarray(ADAPTATION_MATRICES["bradford"], dtype=np.float64)
    of_d50, of_d65 = (np.dot(sharp, ILLUMINANTS["2"][white]) for white in ("d50", "d65"))
    return np.asarray(np.dot(np.dot(np.linalg.pinv(sharp), np.diag(of_d65 / of_d50)), sharp))


def _positive(values: npt.NDArray[np.float64]) -> Triple:
    x, y, z = (max(float(each), 0.0) for each in values)
    return x, y, z


def _root(share: float) -> float:
    return math.pow(share, 1.0 / 3.0) if share > CIE_E else 7.787 * share + 16.0 / 116.0


def _cube(root: float) -> float:
    cube = math.pow(root, 3)
    return cube if cube > CIE_E else (root - 16.0 / 116.0) / 7.787
