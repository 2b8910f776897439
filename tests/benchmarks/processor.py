"""Seconds of the processor, and a yardstick to hold them against: a busy or a slow machine changes neither ratio.

The yardstick is a fixed piece of plain Python and of sorting, about 0.06 s of a core of today, so that 17 of them are a
second. It is taken right beside what is measured, so that a clock or a neighbour that slows one slows the other.
"""

import os
import time
from collections.abc import Callable

import numpy as np

_NUMBERS = np.random.default_rng(1).random(1_000_000)


def processor_s(work: Callable[[], object]) -> float:
    """Return the seconds of the processor that ``work`` takes in this process and in those it waits for."""
    start = _spent_s()
    work()
    return _spent_s() - start


def yardsticks(work: Callable[[], object]) -> float:
    """Return how many times as much of the processor ``work`` takes as the yardstick does beside it."""
    before = processor_s(_yardstick)
    taken = processor_s(work)
    return taken / ((before + processor_s(_yardstick)) / 2)


def _yardstick() -> int:
    np.sort(_NUMBERS)
    return sum(number * number % 7 for number in range(1_200_000))


def _spent_s() -> float:
    """Children count once they were waited for; only their clock is as coarse as a hundredth of a second."""
    spent = os.times()
    return time.process_time() + spent.children_user + spent.children_system
