"""How long a page or a command waits for a search. The search itself counts work, and reads no clock."""

import time
from collections.abc import Callable


def patience(seconds: float) -> Callable[[], float]:
    """Return a function that says how many of ``seconds`` from now are left, below zero once they are over."""
    until = time.monotonic() + seconds
    return lambda: until - time.monotonic()
