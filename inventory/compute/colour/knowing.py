"""How well a colour is known, and what that leaves open of a difference between two.

A colour's sigma is the one-sigma error along each of the three axes of CIEDE2000 (lightness, chroma, hue), so that
sigmas of two colours add as squares whatever the colours are.
"""

import math
from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

# Common practice, no source: a meter repeats itself on thread to a few tenths; a maker's figures are of another
# dye lot; a screen colour was picked by eye; a photograph has its own light, lens and shine.
USUAL_SIGMA: Mapping[str, float] = MappingProxyType(
    {"measured": 0.3, "maker": 1.0, "screen": 2.5, "photo": 3.5}
)
# How far two meters that are both in order may read apart. Common practice, no source.
METER_SIGMA = 0.2
COVERAGE = 0.95

_STEP, _FARTHEST = 0.01, 10.0  # in sigmas
_Z = 1.959963984540054  # 95 % of a normal lies within as many sigmas


def usual_sigma(source: str) -> float:
    """Return how far a colour from ``source`` may be off where nothing better is known.

    >>> usual_sigma("measured") < usual_sigma("maker") < usual_sigma("photo")
    True
    """
    return USUAL_SIGMA[source]


def difference_between(delta_e: float, *sigmas: float) -> tuple[float, float]:
    """Return between which two the true difference lies, 95 times in a hundred, of colours that differ by ``delta_e``.

    Both ends are of the unified construction of Feldman and Cousins, Physical Review D 57 (1998) 3873–3889 (from
    memory), for the length of a vector of three normal errors: unlike ``delta_e`` ± 2 sigma it is right close to
    zero, where errors only ever make a difference look larger.

    >>> difference_between(2.4)
    (2.4, 2.4)
    >>> [round(end, 1) for end in difference_between(2.4, 0.3)]
    [1.8, 3.0]
    >>> difference_between(0.5, 1.0)[0]
    0.0
    """
    sigma = math.hypot(*sigmas)
    if sigma <= 1e-9:
        return delta_e, delta_e
    seen = delta_e / sigma
    if seen >= _FARTHEST - _STEP:
        middle = seen - 1 / seen  # the mean length of d with errors is d + 1/d far from zero
        return (middle - _Z) * sigma, (middle + _Z) * sigma
    lowest, highest = _belt()
    at = seen / _STEP
    low, part = int(at), at - int(at)
    return (
        float(lowest[low] * (1 - part) + lowest[low + 1] * part) * sigma,
        float(highest[low] * (1 - part) + highest[low + 1] * part) * sigma,
    )


@lru_cache(maxsize=1)
def _belt() -> tuple[Floats, Floats]:
    """For each difference that may be seen, in sigmas: the least and the greatest true one that it agrees with.

    Each true difference accepts the seen ones that are likeliest compared with the best true one for them, until
    they make up the coverage.
    """
    true = np.arange(0.0, _FARTHEST + 5.0, _STEP)
    seen = np.arange(0.0, _FARTHEST + 9.0, _STEP)
    likeliest = np.full(len(seen), 1e-300)
    # A few rows at a time, and each of them twice: all of them at once would take twenty megabytes, and seventy more
    # on the way.
    for first in range(0, len(true), 100):
        rows = _density(seen[None, :], true[first : first + 100, None])
        likeliest = np.maximum(likeliest, rows.max(axis=0))
    lowest, highest = np.full(len(seen), np.inf), np.zeros(len(seen))
    for each in true:
        density = _density(seen, np.asarray(each))
        best = np.argsort(-(density / likeliest), kind="stable")
        share = np.cumsum(density[best]) * _STEP
        accepted = best[: int(np.searchsorted(share, COVERAGE)) + 1]
        lowest[accepted] = np.minimum(lowest[accepted], each)
        highest[accepted] = each
    needed = int(_FARTHEST / _STEP) + 2
    lowest, highest = lowest[:needed], highest[:needed]
    # Nothing is seen of length zero exactly: no density tells one true difference from another there.
    lowest[0], highest[0] = lowest[1], highest[1]
    return lowest, highest


def _density(seen: Floats, true: Floats) -> Floats:
    """The density of the length ``seen`` of a vector of length ``true`` with three standard normal errors."""
    product = seen * true
    ratio = np.where(product > 1e-6, -np.expm1(-2 * product) / np.maximum(2 * product, 1e-300), 1.0)
    return np.asarray(math.sqrt(2 / math.pi) * seen**2 * np.exp(-((seen - true) ** 2) / 2) * ratio)


def combine_readings(spread: float, readings: int) -> float:
    """Return the sigma of the mean of ``readings`` of one meter that lie apart by ``spread`` (one sigma).

    >>> round(combine_readings(0.4, 4), 2), combine_readings(0.0, 1)
    (0.28, 0.3)
    """
    if readings < 2:
        return USUAL_SIGMA["measured"]
    return math.hypot(METER_SIGMA, spread / math.sqrt(readings))
