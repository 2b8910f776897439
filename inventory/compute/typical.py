"""What the words on a spool let one expect of it before anything is measured: its tex and its empty weight.

Both are guesses with a wide error, to be replaced by the maker's figure or a weighing as soon as there is one.
"""

from typing import NamedTuple

import numpy as np

from inventory.compute.errors import require_positive
from inventory.compute.names.weight_labels import weight_of_label
from inventory.compute.spoken import N_

# Threads sold as "40 wt" have 24 to 44 tex. Other numbers scale as if they were kilometres in a kilogram, which is
# what the trade means by them: common practice, no source.
LEAST_TEX_OF_40, MOST_TEX_OF_40 = 24.0, 44.0
USUAL_LABEL = "40"
_THINNEST, _THICKEST = 4.0, 200.0

# What an empty spool or cone weighs by the metres that it is sold with: judged, no source.
_FULL_M = (100.0, 200.0, 500.0, 1_000.0, 2_500.0, 5_000.0, 10_000.0)
_EMPTY_G = (4.0, 5.0, 8.0, 11.0, 24.0, 32.0, 60.0)
# One sigma of that as a share of it: judged, no source.
TYPICAL_EMPTY_SIGMA = 0.3


class Typical(NamedTuple):
    """A guess at a quantity and one sigma of it as a share of it."""

    value: float
    sigma: float


def typical_tex(label: str) -> Typical:
    """Return the tex that a weight label lets one expect; one that names no number stands for 40.

    Any tex between the least and the most is as likely as the next: a rectangle, whose sigma is its half-width by
    the root of three (JCGM 100:2008, 4.3.7).

    >>> typical_tex("40 wt"), typical_tex("60").value
    (Typical(value=34.0, sigma=0.17), 22.67)
    """
    number = _number(weight_of_label(label) or USUAL_LABEL)
    least, most = (tex * 40.0 / number for tex in (LEAST_TEX_OF_40, MOST_TEX_OF_40))
    middle = (least + most) / 2
    return Typical(round(middle, 2), round((most - least) / 2 / middle / 3**0.5, 3))


def typical_empty_mg(full_mm: int) -> Typical:
    """Return what a spool weighs without thread, in mg, by the length that it is sold with.

    >>> typical_empty_mg(1_000_000)
    Typical(value=11000.0, sigma=0.3)
    """
    full_m = require_positive(full_mm, what=N_("length of a full spool in mm")) / 1000
    return Typical(float(round(float(np.interp(full_m, _FULL_M, _EMPTY_G)) * 1000)), TYPICAL_EMPTY_SIGMA)


def _number(label: str) -> float:
    try:
        number = float(label)
    except ValueError:
        return float(USUAL_LABEL)
    return number if _THINNEST <= number <= _THICKEST else float(USUAL_LABEL)
