"""How much of a material the weeks until an order comes will take, as a quantile: movers, short histories, slow uses.

The rules are those of a study by simulation: forecasts are held against what came of forecasts like them, so that a
trend or a season counts in; what few weeks cannot tell is taken from the shelf; few uses count as few.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from inventory.compute.demand import WINDOW_WEEKS
from inventory.compute.later import later

if TYPE_CHECKING:
    from scipy.special import gammainccinv, gammaln, ndtr, stdtr, stdtrit
else:
    gammainccinv, gammaln, ndtr, stdtr, stdtrit = later(
        "scipy.special", "gammainccinv", "gammaln", "ndtr", "stdtr", "stdtrit"
    )

Floats = NDArray[np.float64]

ORIGINS = 52  # forecasts that are held against what came
# Damped trend (Gardner and McKenzie 1985, from memory); it is used where it did better than the mean by so much.
LEVEL_SHARE, TREND_SHARE, DAMPING = 0.2, 0.05, 0.95
TREND_IF_BELOW = 0.85
LEAST_OF_MEAN = 0.25
# What a mover's weeks stray by where a shelf tells nothing yet: judgement, no source.
USUAL_CV = 0.5
SHELF_WEEKS = 0.5  # the shelf's level is worth half a week of a material's own
SLOW_MEMORY = 0.99  # of a week's use, from week to week
SIZE_SD = 0.7  # of the logarithm of a use, before any was seen; worth two uses
SIZE_WORTH = 2.0
MOST_TIMES = 1000.0  # the largest use seen: none is thought of that is larger, however much uses differ
FARTHEST = 12.0
_CELLS = 4096


@dataclass(frozen=True)
class ShelfUse:
    """What the movers of the whole shelf tell of one that is new: how weeks stray (sd / mean), and a week's use."""

    cv: float = USUAL_CV
    level: float | None = None


def shelf_use(histories: Sequence[Sequence[float]]) -> ShelfUse:
    """Return what those of ``histories`` tell that were used nearly every week of at least thirteen.

    >>> shelf_use([[10.0, 14.0] * 10, [5.0]]).level
    12.0
    """
    cvs, levels = [], []
    for history in histories:
        used = np.asarray(history, dtype=np.float64)
        if len(used) >= WINDOW_WEEKS and (used > 0).mean() > 0.75:
            levels.append(float(used.mean()))
            cvs.append(float(used.std(ddof=1) / used.mean()))
    return ShelfUse(float(np.median(cvs)), float(np.median(levels))) if cvs else ShelfUse()


@dataclass(frozen=True)
class LeadTimeUse:
    """What the lead time takes: its mean, and the stock that covers it with the probability asked for."""

    mean: float
    point: float
    rests_on: str  # mean, trend, short, slow


def mover_use(
    history: Sequence[float], *, weeks: float, weeks_sd: float, level: float, shelf: ShelfUse
) -> LeadTimeUse:
    """Return what ``weeks`` weeks of a mover take, whose weeks took ``history``, oldest first.

    >>> steady = mover_use([10.0, 12.0, 8.0, 10.0] * 13, weeks=2, weeks_sd=0, level=0.95, shelf=ShelfUse())
    >>> steady.rests_on, 20 < steady.point < 27
    ('mean', True)
    """
    used = np.asarray(history, dtype=np.float64)
    whole = math.ceil(weeks)
    if len(used) - WINDOW_WEEKS - whole + 1 < WINDOW_WEEKS:
        return _short(used, weeks=weeks, weeks_sd=weeks_sd, level=level, shelf=shelf)
    by_mean, by_trend, came = _forecasts(used, whole)
    square = [float(np.mean((came - each[:-1]) ** 2)) for each in (by_mean, by_trend)]
    has_trend = square[1] <= TREND_IF_BELOW * square[0]
    forecast = by_trend if has_trend else by_mean
    errors = (came - forecast[:-1]) / np.maximum(forecast[:-1], 1e-12 + used.mean() * 1e-3)
    n = len(errors) / whole
    up = max(0.0, float(errors.mean())) * n / (n + 2)
    spread = math.sqrt(float(np.mean((errors - up) ** 2)))
    now = float(forecast[-1]) * weeks / whole
    sd = math.hypot(now * spread * math.sqrt(1 + 1 / n), now / weeks * weeks_sd)
    point = _gamma_at(float(stdtrit(n + 2, level)), mean=now * (1 + up), sd=sd)
    return LeadTimeUse(now, point, "trend" if has_trend else "mean")


def _forecasts(used: Floats, whole: int) -> tuple[Floats, Floats, Floats]:
    """Return forecasts of ``whole`` weeks by mean and by trend, from each of the last origins and from now, and what
    came of all but the last: shapes (origins + 1,), (origins + 1,), (origins,)."""
    total = np.concatenate([[0.0], np.cumsum(used)])
    first = max(WINDOW_WEEKS, len(used) - whole - ORIGINS + 1)
    at = np.append(np.arange(first, len(used) - whole + 1), len(used))
    by_mean = (total[at] - total[at - WINDOW_WEEKS]) / WINDOW_WEEKS * whole
    came = total[at[:-1] + whole] - total[at[:-1]]
    ahead = np.cumsum(np.cumsum(DAMPING ** np.arange(1, whole + 1)))[-1]
    level, trend = float(used[:WINDOW_WEEKS].mean()), 0.0
    by_week = np.zeros(len(used) + 1)
    for week, quantity in enumerate(used, start=1):
        before, ahead_of = level, level + DAMPING * trend
        level = ahead_of + LEVEL_SHARE * (float(quantity) - ahead_of)
        trend = TREND_SHARE * (level - before) + (1 - TREND_SHARE) * DAMPING * trend
        by_week[week] = level * whole + trend * ahead
    return by_mean, np.maximum(by_week[at], LEAST_OF_MEAN * by_mean), came


def _short(used: Floats, *, weeks: float, weeks_sd: float, level: float, shelf: ShelfUse) -> LeadTimeUse:
    """Return what weeks take of which few are known: their spread is partly the shelf's, and so is their level."""
    recent = used[-WINDOW_WEEKS * 2 :]
    k, mean = float(len(recent)), float(recent.mean())
    if shelf.level is not None:
        mean = (float(recent.sum()) + SHELF_WEEKS * shelf.level) / (k + SHELF_WEEKS)
    strays = float(((recent - recent.mean()) ** 2).sum())
    variance = (2 * (shelf.cv * mean) ** 2 + strays) / (k + 1)
    sd = math.hypot(math.sqrt(variance * (weeks + weeks**2 / k)), mean * weeks_sd)
    point = _gamma_at(float(stdtrit(k + 1, level)), mean=mean * weeks, sd=sd)
    return LeadTimeUse(mean * weeks, point, "short")


def slow_use(history: Sequence[float], *, weeks: float, level: float) -> LeadTimeUse:
    """Return what ``weeks`` weeks take of something that is used now and then, and not alike each time.

    How many of the weeks bring a use is beta-binomial (Jeffreys' prior, older weeks counting less), how large a use is
    lognormal with mean and spread as far as the uses tell; the sums are made by Fourier transform.

    >>> slow = slow_use([0, 0, 6, 0, 0, 0, 5, 0] * 4, weeks=2, level=0.95)
    >>> 6 < slow.point < 14
    True
    """
    used = np.asarray(history, dtype=np.float64)
    weight = SLOW_MEMORY ** np.arange(len(used) - 1, -1, -1)
    some = used > 0
    a, b = 0.5 + float(weight[some].sum()), 0.5 + float(weight[~some].sum())
    chances = _beta_binomial(math.ceil(weeks), a, b)
    logs = np.log(used[some])
    k, middle = len(logs), float(logs.mean())
    freedom = k - 1 + SIZE_WORTH
    variance = (SIZE_WORTH * SIZE_SD**2 + float(((logs - middle) ** 2).sum())) / freedom
    scale = math.sqrt(variance * (1 + 1 / k))
    mean_use = float(used[some].mean())
    largest = float(used.max())
    thought_of = math.exp(min(middle + 3 * scale, math.log(largest * MOST_TIMES)))
    most = max(largest, thought_of) * (2 + math.ceil(weeks) / 2)
    step = most / (_CELLS // 2)
    edges = np.log(np.arange(1, _CELLS // 2 + 1) * step)
    below = stdtr(freedom, (edges - middle) / scale)
    size = np.zeros(_CELLS)
    size[1 : _CELLS // 2 + 1] = np.diff(below, prepend=0.0)
    size[_CELLS // 2] += 1 - below[-1]  # uses beyond all that is thought of count as the largest that is
    one = np.fft.rfft(size)
    total = np.zeros_like(one)
    power = np.ones_like(one)
    for chance in chances:
        total += chance * power
        power = power * one
    cumulative = np.cumsum(np.maximum(np.fft.irfft(total, _CELLS), 0.0))
    # A step that is larger than rounding: where nothing is likely enough, nothing is kept.
    at = int(np.searchsorted(cumulative, level * cumulative[-1]))
    return LeadTimeUse(a / (a + b) * weeks * mean_use, float(at * step), "slow")


def _beta_binomial(trials: int, a: float, b: float) -> Floats:
    """Return the chances of 0 … ``trials`` uses: shape (trials + 1,)."""
    n = np.arange(trials + 1)
    logs = (
        gammaln(trials + 1) - gammaln(n + 1) - gammaln(trials - n + 1)
        + gammaln(n + a) + gammaln(trials - n + b) - gammaln(trials + a + b)
        + gammaln(a + b) - gammaln(a) - gammaln(b)
    )  # fmt: skip
    return np.asarray(np.exp(logs))


def _gamma_at(score: float, *, mean: float, sd: float) -> float:
    """Return a gamma distribution's point that is as rare as a normal ``score``.

    From the far side, where a share would round to 1; beyond twelve sigmas nothing is rarer.
    """
    if sd <= 1e-12 * mean or mean <= 0:
        return mean
    shape = (mean / sd) ** 2
    return float(gammainccinv(shape, ndtr(-min(score, FARTHEST)))) * sd**2 / mean
