"""How much the free metres of many shades cover, all at once: what ``geometry_covered`` says of each."""

import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from inventory.compute.later import later
from planning.compute.certainty.curves import curves
from planning.compute.certainty.enough import (
    _NEGLIGIBLE,
    _NODES,
    _STOCK_EDGES,
    _WEIGHTS,
    _Z_EDGES,
    Factor,
    _check_certainty,
    geometry_covered,
)

if TYPE_CHECKING:
    from scipy.special import ndtr, ndtri
else:
    ndtr, ndtri = later("scipy.special", "ndtr", "ndtri")


def geometries_covered(
    factor: Factor,
    *,
    free_mm: NDArray[np.float64],
    free_sigma_mm: NDArray[np.float64],
    certainty: float = 0.95,
) -> NDArray[np.float64]:
    """Return ``geometry_covered`` of many shades at once, shape (n,), to 1e-9 of it and on the sure side.

    >>> from planning.compute.certainty.enough import NEEDLE_PRIOR
    >>> free = np.array([1000.0, 1000.0, 0.0])
    >>> sigma = np.array([0.0, 900.0, 0.0])
    >>> geometries_covered(NEEDLE_PRIOR, free_mm=free, free_sigma_mm=sigma).round(1).tolist()
    [802.0, 0.0, 0.0]
    """
    _check_certainty(certainty)
    if factor.parts:
        return curves(factor, certainty).covered(free_mm, free_sigma_mm)
    covered = np.zeros(len(free_mm))
    z, spread = float(ndtri(certainty)), factor.predictive_sigma
    if z < 0:  # less than even odds are nobody's rule; each is found by itself
        alone = [
            geometry_covered(factor, free_mm=float(free), free_sigma_mm=float(sigma), certainty=certainty)
            for free, sigma in zip(free_mm, free_sigma_mm, strict=True)
        ]
        return np.array(alone, dtype=float)
    some = free_mm - z * free_sigma_mm > 0
    stock_is_known = free_sigma_mm <= _NEGLIGIBLE * np.abs(free_mm)
    trifle = 1 - 1e-10
    covered[some & stock_is_known] = (
        free_mm[some & stock_is_known] / (factor.median * math.exp(z * spread)) * trifle
    )
    rows = np.flatnonzero(some & ~stock_is_known)
    if spread < _NEGLIGIBLE:
        covered[rows] = (free_mm[rows] - z * free_sigma_mm[rows]) / factor.median * trifle
        return covered
    # A secant on the normal scale, where the chance of enough is nearly straight in the log of the need.
    free, sigma = free_mm[rows], free_sigma_mm[rows]

    def beyond(log_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        p = _p_both_uncertain_each(np.exp(log_mm), spread, free, sigma)
        return np.asarray(ndtri(np.clip(p, 1e-15, 1 - 1e-15)) - z)

    both = np.hypot(spread, sigma / np.maximum(free, 1e-300))
    before = np.log(free)
    now = before - z * both
    at_before, at_now = beyond(before), beyond(now)
    for _ in range(8):
        slope = at_now - at_before
        step = np.where(slope == 0, 0.0, -at_now * (now - before) / np.where(slope == 0, 1.0, slope))
        before, at_before = now, at_now
        now = now + np.clip(step, -1.0, 1.0)
        at_now = beyond(now)
        if np.abs(now - before).max(initial=0.0) < 1e-8:
            break
    sure, unsure = now - 1e-10, now + 1e-9
    met = (beyond(sure) >= 0) & (beyond(unsure) < 0)
    covered[rows] = np.exp(sure) / factor.median
    for row in rows[~met]:
        covered[row] = geometry_covered(
            factor,
            free_mm=float(free_mm[row]),
            free_sigma_mm=float(free_sigma_mm[row]),
            certainty=certainty,
        )
    return covered


def _p_both_uncertain_each(
    median_mm: NDArray[np.float64],
    spread: float,
    free_mm: NDArray[np.float64],
    free_sigma_mm: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return ``_p_both_uncertain`` of many at once: shape (n,)."""
    stock_mm = free_mm[:, None] + _STOCK_EDGES * free_sigma_mm[:, None]
    stock_z = (np.log(np.maximum(stock_mm, 1e-300)) - np.log(median_mm)[:, None]) / spread
    edges = np.concatenate(
        [np.broadcast_to(_Z_EDGES, (len(free_mm), len(_Z_EDGES))), np.clip(stock_z, -9.0, 9.0)], axis=1
    )
    edges.sort(axis=1)
    half = np.diff(edges, axis=1)[:, :, None] / 2
    z = (edges[:, :-1, None] + half) + half * _NODES
    density = np.exp(-z * z / 2) / math.sqrt(2 * math.pi)
    need_mm = median_mm[:, None, None] * np.exp(spread * z)
    enough = ndtr((free_mm[:, None, None] - need_mm) / free_sigma_mm[:, None, None])
    return np.clip((half * _WEIGHTS * density * enough).sum(axis=(1, 2)), 0.0, 1.0)
