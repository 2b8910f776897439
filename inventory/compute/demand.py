"""How much of a material is used in a week: the rate of movers, and of slow movers by Croston, SBA or TSB."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from inventory.compute.errors import WorkshopError, require_not_negative
from inventory.compute.spoken import N_, _, plainly

Method = Literal["normal", "croston", "sba", "tsb", "none"]

# Mean weeks from one use to the next from which a material counts as a slow mover: Syntetos, Boylan and Croston,
# On the categorization of demand patterns, J. Oper. Res. Soc. 56 (2005), from memory.
SLOW_FROM_WEEKS = 1.32
# Croston's rate errs upward by about alpha / 2; where uses are this close together that is left to stand.
CROSTON_UP_TO_WEEKS = 2.0
# Silent for so many times its usual interval, a material may be going out of use: only TSB lets its rate fall.
SILENT_AFTER_INTERVALS = 3.0
# The last so many weeks of a mover make its rate: common practice, no source.
WINDOW_WEEKS = 13
ALPHA = 0.1
BETA = 0.1


@dataclass(frozen=True)
class WeeklyDemand:
    """What a week takes: its mean and standard deviation, and the method that found them.

    ``interval_weeks`` is the mean number of weeks from one use to the next, infinite where nothing was used;
    ``size_mean`` and ``size_sd`` tell of the weeks in which something was.
    """

    method: Method
    mean: float
    sd: float
    interval_weeks: float
    size_mean: float
    size_sd: float
    weeks: int

    @property
    def is_slow(self) -> bool:
        return self.method in ("croston", "sba", "tsb")


def croston(history: Sequence[float], *, alpha: float = ALPHA) -> float:
    """Return the demand a period by Croston's method: smoothed size over smoothed interval.

    Both begin at the first use. Product C of Hyndman and Athanasopoulos, *Forecasting: principles and practice*
    (2nd edition), section 12.2:

    >>> product_c = [0, 2, 0, 1, 0, 11, 0, 0, 0, 0, 2, 0, 6, 3, 0, 0, 0, 0, 0, 7, 0, 0, 0, 0, 0, 0, 0, 3, 1, 0,
    ...              0, 1, 0, 1, 0, 0]
    >>> round(croston(product_c), 5)
    0.9846
    """
    _check(history, alpha)
    size = interval = 0.0
    since = 1
    for used in history:
        if used > 0:
            size, interval = (
                (size + alpha * (used - size), interval + alpha * (since - interval))
                if interval
                else (float(used), float(since))
            )
            since = 1
        else:
            since += 1
    return size / interval if interval else 0.0


def sba(history: Sequence[float], *, alpha: float = ALPHA) -> float:
    """Return Croston's rate without its upward bias, after Syntetos and Boylan.

    >>> round(sba([0, 2, 0, 1, 0, 3], alpha=0.2), 4)
    0.918
    """
    return croston(history, alpha=alpha) * (1 - alpha / 2)


def tsb(history: Sequence[float], *, alpha: float = ALPHA, beta: float = BETA) -> float:
    """Return the demand a period after Teunter, Syntetos and Babai: size times the chance of a use.

    The chance falls with every period without a use, so that what goes out of use is forgotten. The size begins
    at the first use, the chance with the first period.

    >>> tsb([4, 0, 0], alpha=0.5, beta=0.5)
    1.0
    """
    _check(history, alpha)
    _check(history, beta)
    if not any(history):
        return 0.0
    size = float(next(used for used in history if used > 0))
    chance = float(history[0] > 0)
    for used in history:
        if used > 0:
            size += alpha * (used - size)
        chance += beta * (float(used > 0) - chance)
    return size * chance


def weekly_demand(history: Sequence[float]) -> WeeklyDemand:
    """Return what a week takes, from what the last weeks took, oldest first.

    The rule: uses less than 1.32 weeks apart on average make a mover, whose mean and standard deviation are those
    of the last 13 weeks. Others are slow movers: TSB where it has been silent for more than three of its
    intervals, Croston where uses are at most two weeks apart, SBA otherwise.

    >>> weekly_demand([3, 5, 4, 4]).method, weekly_demand([3, 5, 4, 4]).mean
    ('normal', 4.0)
    >>> weekly_demand([0, 0, 6, 0, 0, 0, 5, 0]).method, weekly_demand([6, 0, 5, 0]).method
    ('sba', 'croston')
    >>> weekly_demand([5] + 9 * [0]).method, weekly_demand([0, 0]).method
    ('tsb', 'none')
    """
    _check(history, ALPHA)
    weeks = len(history)
    sizes = np.array([used for used in history if used > 0], dtype=float)
    if not sizes.size:
        return WeeklyDemand("none", 0.0, 0.0, math.inf, 0.0, 0.0, weeks)
    size_mean, size_sd = float(sizes.mean()), float(sizes.std(ddof=1)) if sizes.size > 1 else 0.0
    interval = weeks / sizes.size
    if interval < SLOW_FROM_WEEKS:
        recent = np.array(history[-WINDOW_WEEKS:], dtype=float)
        sd = float(recent.std(ddof=1)) if recent.size > 1 else 0.0
        return WeeklyDemand("normal", float(recent.mean()), sd, interval, size_mean, size_sd, weeks)
    silent = next(weeks_ago for weeks_ago, used in enumerate(reversed(history)) if used > 0)
    method: Method
    if silent > SILENT_AFTER_INTERVALS * (weeks - silent) / sizes.size:
        method, mean = "tsb", tsb(history)
    elif interval <= CROSTON_UP_TO_WEEKS:
        method, mean = "croston", croston(history)
    else:
        method, mean = "sba", sba(history)
    # A week brings a use with the chance mean / size: the variance of such a compound.
    chance = min(1.0, mean / size_mean)
    sd = math.sqrt(chance * size_sd**2 + chance * (1 - chance) * size_mean**2)
    return WeeklyDemand(method, mean, sd, interval, size_mean, size_sd, weeks)


def _check(history: Sequence[float], share: float) -> None:
    if not 0 < share <= 1:
        raise WorkshopError(
            _("A smoothing share of {share} is not possible; give one above 0, up to 1.").format(
                share=plainly(share)
            )
        )
    for used in history:
        require_not_negative(used, what=N_("use in a week"))
