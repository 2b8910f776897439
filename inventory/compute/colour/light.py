"""Screen colours as amounts of light, and light as Lab: whole arrays at once."""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

# Columns are what red, green and blue light of sRGB add to X, Y and Z (IEC 61966-2-1), white Y = 1 under D65.
_TO_XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)
_WHITE = _TO_XYZ.sum(axis=1)
_FROM_XYZ = np.linalg.inv(_TO_XYZ)
_BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
_BEND = 6 / 29  # where the cube root of CIE L*a*b* gives way to a straight line (CIE 15)


def light_of_screen(values: npt.NDArray[np.uint8]) -> Floats:
    """Return sRGB values from 0 to 255, (n, 3), as shares of red, green and blue light (IEC 61966-2-1).

    >>> light_of_screen(np.array([[0, 118, 255]], dtype=np.uint8)).round(3).tolist()
    [[0.0, 0.181, 1.0]]
    """
    share = values / 255.0
    return np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)


def labs_of_light(light: npt.ArrayLike) -> Floats:
    """Return CIE L*a*b* under D65, (n, 3), of shares of red, green and blue light, (n, 3).

    >>> labs_of_light([[1.0, 1.0, 1.0], [1.0, 0.0, 0.0]]).round(1).tolist()
    [[100.0, 0.0, 0.0], [53.2, 80.1, 67.2]]
    """
    share = np.maximum(np.asarray(light, dtype=np.float64) @ _TO_XYZ.T, 0.0) / _WHITE
    f = np.where(share > _BEND**3, np.cbrt(share), share / (3 * _BEND**2) + 4 / 29)
    return np.column_stack([116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])]) + 0.0


def xyz_of_light(light: npt.ArrayLike) -> Floats:
    """Return XYZ, (n, 3), of shares of red, green and blue light, white Y = 1 under D65.

    >>> xyz_of_light([[1.0, 1.0, 1.0]]).round(4).tolist()
    [[0.9505, 1.0, 1.0888]]
    """
    return np.asarray(np.asarray(light, dtype=np.float64) @ _TO_XYZ.T)


def light_under_daylight(light: npt.ArrayLike, *, white_xyz: npt.ArrayLike) -> Floats:
    """Return light, (n, 3), as it would be if what was ``white_xyz``, (3,), had been white under D65.

    The adaptation is Bradford's: under lamps it errs half as much as scaling each channel of the screen.

    >>> lamp = np.array([1.845, 0.826, 0.233])
    >>> light_under_daylight([lamp / 2], white_xyz=xyz_of_light([lamp])[0]).round(3).tolist()
    [[0.5, 0.5, 0.5]]
    """
    gain = (_BRADFORD @ _WHITE) / (_BRADFORD @ np.asarray(white_xyz, dtype=np.float64))
    adapted = xyz_of_light(light) @ (np.linalg.inv(_BRADFORD) @ np.diag(gain) @ _BRADFORD).T
    return np.asarray(adapted @ _FROM_XYZ.T)


def light_of_labs(labs: npt.ArrayLike) -> Floats:
    """Return shares of red, green and blue light, (n, 3); below 0 or above 1 where no screen shows the colour.

    >>> light_of_labs([[100.0, 0.0, 0.0]]).round(6).tolist()
    [[1.0, 1.0, 1.0]]
    """
    L, a, b = np.asarray(labs, dtype=np.float64).reshape(-1, 3).T
    middle = (L + 16) / 116
    f = np.column_stack([middle + a / 500, middle, middle - b / 200])
    share = np.where(f > _BEND, f**3, 3 * _BEND**2 * (f - 4 / 29))
    return np.asarray((share * _WHITE) @ _FROM_XYZ.T)
