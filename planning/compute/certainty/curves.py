"""One curve per factor and certainty, from which every verdict of a season is read.

What free stock covers is free × h(σ / free): the curve h depends on the factor and the certainty alone. So does k in
*needed stock = geometry × k(σ / geometry)*. Both are tabulated and read linearly: the length told is off by less than
``CURVE_ERROR`` of the stock, on the sure side.
"""

import math
from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from inventory.compute.later import later
from planning.compute.certainty.factor import Factor
from planning.compute.search.root import root_between

if TYPE_CHECKING:
    from scipy.special import ndtri
else:
    ndtri = later("scipy.special", "ndtri")

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

CURVE_ERROR = (
    1e-4  # of the stock, or of the geometry; beyond the 2e-4 of probability of the factor's own table
)

_POINTS = 129
_MOST_RATIO = 3.0  # stock known worse than this is reckoned by itself
_MOST_LOG = 30.0  # a stock that would have to be e^30 times the geometry is none
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(16)
_EDGES = np.linspace(0.0, 1.0, 17)
_HALF = np.diff(_EDGES)[:, None] / 2
# Gauss–Legendre in 16 panels of the unit interval: shape (256,).
_SHARE = ((_EDGES[:-1, None] + _HALF) + _HALF * _NODES).ravel()
_OF_SHARE = (_HALF * _WEIGHTS / math.sqrt(2 * math.pi) * np.ones((16, 1))).ravel()
_FAR = 6.4  # sigmas; beyond them lies less than 1e-10


def chance(factor: Factor, *, geometry_mm: float, free_mm: float, free_sigma_mm: float) -> float:
    """Return P(free ≥ geometry × e^Z) for a mixture; free is normal and independent of Z."""
    if free_sigma_mm <= 1e-9 * max(geometry_mm, abs(free_mm)):
        return float(factor.cumulative(math.log(free_mm / geometry_mm))) if free_mm > 0 else 0.0
    # From where the stock is none, so that no panel holds that cliff.
    none = max(-_FAR, -free_mm / free_sigma_mm)
    if none >= _FAR:
        return 0.0
    u = none + (_FAR - none) * _SHARE
    z = np.log(np.maximum(free_mm + free_sigma_mm * u, 1e-300) / geometry_mm)
    weights = _OF_SHARE * np.exp(-u * u / 2)
    return float(weights @ np.interp(z, *factor.table)) * (_FAR - none)


def chances(factor: Factor, *, log_stock: Floats, ratio: Floats) -> Floats:
    """Return P(stock ≥ e^Z) of many: the stock's mean is e^``log_stock``, its sigma that times ``ratio``: (n,)."""
    none = np.maximum(-_FAR, -1 / np.maximum(ratio, 1e-9))[:, None]
    u = none + (_FAR - none) * _SHARE
    z = np.log(np.maximum(1 + ratio[:, None] * u, 1e-300)) + log_stock[:, None]
    weights = _OF_SHARE * np.exp(-u * u / 2)
    found = (weights * np.interp(z, *factor.table)).sum(axis=1) * (_FAR - none[:, 0])
    known = ratio <= 1e-9
    found[known] = factor.cumulative(log_stock[known])
    return np.asarray(found)


class Curves:
    """The curves h and k of one factor at one certainty."""

    def __init__(self, factor: Factor, certainty: float) -> None:
        self.factor, self.certainty = factor, certainty
        self._z = z = float(ndtri(certainty))
        most = min(_MOST_RATIO, 1 / z) if z > 0 else _MOST_RATIO
        # Where the stock may be none at all nothing is sure: h falls to 0 at the last ratio, if z is above 1/3.
        inside = np.linspace(0.0, most, _POINTS)
        ends_at_nothing = z > 1 / _MOST_RATIO
        asked = inside[:-1] if ends_at_nothing else inside
        log_stock = self._solve(asked)
        h = np.exp(-log_stock)
        self._ratios, self._h = inside, np.append(h, 0.0) if ends_at_nothing else h
        # The same points told the other way round: σ / geometry, and the stock that it takes.
        self._spreads, self._k = asked * np.exp(log_stock), np.exp(log_stock)

    def covered(self, free_mm: Floats, free_sigma_mm: Floats) -> Floats:
        """Return the geometry in mm that each stock covers at the certainty: shape (n,)."""
        free = np.maximum(free_mm, 1e-300)
        ratio = free_sigma_mm / free
        h = np.interp(ratio, self._ratios, self._h, right=0.0)
        found = free * np.maximum(h - CURVE_ERROR / 2, 0.0)
        found[free_mm - self._z * free_sigma_mm <= 0] = 0.0
        for at in np.flatnonzero((ratio > self._ratios[-1]) & (free_mm - self._z * free_sigma_mm > 0)):
            found[at] = free_mm[at] * math.exp(-self._solve_one(float(ratio[at])))
        return np.asarray(found)

    def covered_one(self, free_mm: float, free_sigma_mm: float) -> float:
        """Return the geometry in mm that one stock covers at the certainty."""
        if free_mm <= 0 or free_mm - self._z * free_sigma_mm <= 0:
            return 0.0
        ratio = free_sigma_mm / free_mm
        if ratio > self._ratios[-1]:
            return free_mm * math.exp(-self._solve_one(ratio))
        return free_mm * max(0.0, float(np.interp(ratio, self._ratios, self._h)) - CURVE_ERROR / 2)

    def needed(self, geometry_mm: float, free_sigma_mm: float) -> float:
        """Return the stock in mm, known to ``free_sigma_mm``, that is enough for a geometry at the certainty."""
        spread = free_sigma_mm / geometry_mm
        # The last points lie far apart, where the stock is hardly known: there it is reckoned by itself.
        if spread > self._spreads[-8]:

            def over(k: float) -> float:
                return self._p(math.log(k), spread / k) - self.certainty

            low = max(1e-9, self._z * spread * 0.5)
            high = self._k[0] + (abs(self._z) + 2) * spread
            while over(high) < 0:
                high *= 2
            k = root_between(over, low, high, within=2e-12, share=1e-10) if over(low) < 0 else low
        else:
            k = float(np.interp(spread, self._spreads, self._k))
        return geometry_mm * k * (1 + CURVE_ERROR / 2)

    def _p(self, log_stock: float, ratio: float) -> float:
        return float(chances(self.factor, log_stock=np.array([log_stock]), ratio=np.array([ratio]))[0])

    def _solve_one(self, ratio: float) -> float:
        start = self.factor.quantile(self.certainty)
        low, high = start - 1.0, start + 1.0
        while self._p(low, ratio) >= self.certainty:
            low -= 2.0
        while self._p(high, ratio) < self.certainty and high < _MOST_LOG:
            high += 2.0
        if self._p(high, ratio) < self.certainty:
            return _MOST_LOG
        return root_between(lambda each: self._p(each, ratio) - self.certainty, low, high, within=1e-10)

    def _solve(self, ratios: Floats) -> Floats:
        """Return ln of the mean stock that is enough for a geometry of 1, at each ratio σ / stock: shape (n,)."""
        # Both errors taken as lognormal give a first guess.
        both = np.hypot(self.factor.predictive_sigma, ratios) / max(self.factor.predictive_sigma, 1e-9)
        return _rising_root(
            lambda log_stock, at: chances(self.factor, log_stock=log_stock, ratio=ratios[at]),
            target=self.certainty,
            start=self.factor.mean_log + (self.factor.quantile(self.certainty) - self.factor.mean_log) * both,
        )


def curves(factor: Factor, certainty: float) -> Curves:
    """Return the curves of ``factor`` at ``certainty``, made once for each factor there is."""
    if certainty not in factor.made:
        factor.made[certainty] = Curves(factor, certainty)
    found = factor.made[certainty]
    assert isinstance(found, Curves)
    return found


def _rising_root(p: Callable[[Floats, Ints], Floats], *, target: float, start: Floats) -> Floats:
    """Return for each place the x where a rising probability reaches ``target``, from a start near the root.

    Secants on the normal scale, where the chance is nearly straight; what they miss is bracketed.
    """
    every, z = np.arange(len(start)), float(ndtri(target))

    def beyond(x: Floats) -> Floats:
        return np.asarray(ndtri(np.clip(p(x, every), 1e-12, 1 - 1e-12)) - z)

    before, now = start, start + 0.05
    at_before, at_now = beyond(before), beyond(now)
    for _ in range(12):
        rise = at_now - at_before
        step = np.where(np.abs(rise) < 1e-13, 0.0, -at_now * (now - before) / np.where(rise == 0, 1.0, rise))
        before, at_before = now, at_now
        now = now + np.clip(step, -0.5, 0.5)
        if np.abs(now - before).max() < 1e-7:
            break
        at_now = beyond(now)
    missed = np.flatnonzero(~((p(now - 1e-5, every) <= target) & (p(now + 1e-5, every) >= target)))
    for place in missed:
        here = np.array([place])

        def over(x: float, here: Ints = here) -> float:
            return float(p(np.array([x]), here)[0]) - target

        low, high = float(start[place]) - 0.5, float(start[place]) + 0.5
        while over(low) >= 0 and low > -_MOST_LOG:
            low -= 1.0
        while over(high) < 0 and high < _MOST_LOG:
            high += 1.0
        now[place] = root_between(over, low, high, within=1e-9) if over(high) >= 0 else _MOST_LOG
    return np.asarray(now)
