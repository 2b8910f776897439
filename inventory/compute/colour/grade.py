"""The textile trade's grade of a colour difference: by the instrumental method, and in words."""

import math
from bisect import bisect_right
from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _, plainly

Floats = npt.NDArray[np.float64]

# Grey scale for assessing change in colour: the difference of each step's two greys (ISO 105-A02).
GREY_SCALE: Mapping[str, float] = {
    "5": 0.0,
    "4-5": 0.8,
    "4": 1.7,
    "3-4": 2.5,
    "3": 3.4,
    "2-3": 4.8,
    "2": 6.8,
    "1-2": 9.6,
    "1": 13.6,
}
_GRADES = tuple(GREY_SCALE)
_MIDPOINTS = (0.4, 1.25, 2.1, 2.95, 4.1, 5.8, 8.2, 11.6)


class NotADifference(WorkshopError):
    """A colour difference must be zero or above."""


def delta_e_f(reference: npt.ArrayLike, others: npt.ArrayLike) -> Floats:
    """Return ΔE_F of the instrumental method, (n,), of one colour, (3,), from each of ``others``, (n, 3).

    ISO 105-A05:1997, read in two independent implementations. A difference of chroma or hue between strong
    colours is seen less than one between greys, for which ΔE_F is ΔE*ab.

    >>> delta_e_f((33.492, 18.218, 18.757), [(34.124, 18.985, 19.086)]).round(3).tolist()
    [0.922]
    >>> delta_e_f((50, 0, 0), [(53.4, 0, 0)]).round(3).tolist()
    [3.4]
    """
    L_1, a_1, b_1 = np.asarray(reference, dtype=np.float64).reshape(3)
    L_2, a_2, b_2 = np.asarray(others, dtype=np.float64).reshape(-1, 3).T
    C_1, C_2 = np.hypot(a_1, b_1), np.hypot(a_2, b_2)
    C_M = (C_1 + C_2) / 2
    h_1, h_2 = np.degrees(np.arctan2(b_1, a_1)), np.degrees(np.arctan2(b_2, a_2))
    # A grey has no hue: the other colour's is that of the pair.
    h_1, h_2 = np.where(C_1 > 0, h_1, h_2), np.where(C_2 > 0, h_2, h_1)
    turn = (h_2 - h_1 + 180) % 360 - 180
    h_M = (h_1 + turn / 2) % 360
    delta_C = C_2 - C_1
    delta_H = 2 * np.sqrt(C_1 * C_2) * np.sin(np.radians(turn) / 2)
    from_blue = np.abs(h_M - 280)
    x = (np.where(from_blue > 180, 360 - from_blue, from_blue) / 30) ** 2
    D = delta_C * C_M * np.exp(-x) / 100
    delta_C_F = (delta_C - D) / (1 + (20 * C_M / 1000) ** 2)
    delta_H_F = (delta_H - D) / (1 + (10 * C_M / 1000) ** 2)
    return np.asarray(np.sqrt((L_2 - L_1) ** 2 + delta_C_F**2 + delta_H_F**2))


def instrumental_grade(delta_e_f: float) -> float:
    """Return the grade of a ΔE_F between the steps too, from 5 (no difference) to 1.

    >>> round(instrumental_grade(0.922), 2), instrumental_grade(3.4), instrumental_grade(40)
    (4.46, 3.0, 1.0)
    """
    _refuse_negative(delta_e_f)
    grade = 5 - delta_e_f / 1.7 if delta_e_f <= 3.4 else 5 - math.log2(delta_e_f / 0.85)
    return min(max(grade, 1.0), 5.0)


def grey_scale_grade(delta_e: float) -> str:
    """Return the step of the grey scale nearest to a difference; halfway is the worse grade.

    The difference is ΔE_F for colours (ISO 105-A05); for greys, of which the scale is made, it is ΔE*ab as well.

    >>> grey_scale_grade(0.3), grey_scale_grade(0.4), grey_scale_grade(3.0)
    ('5', '4-5', '3')
    """
    _refuse_negative(delta_e)
    return _GRADES[bisect_right(_MIDPOINTS, delta_e)]


def grade_between(reference: npt.ArrayLike, other: npt.ArrayLike) -> str:
    """Return the grade of the difference between two colours, (3,) each.

    >>> grade_between((80, 5, 75), (80, 5, 81))
    '4'
    """
    return grey_scale_grade(float(delta_e_f(reference, np.asarray(other).reshape(1, 3))[0]))


def _refuse_negative(difference: float) -> None:
    if math.isnan(difference) or difference < 0:
        raise NotADifference(
            _("A colour difference must be zero or above, not {difference}.").format(
                difference=plainly(difference)
            )
        )
