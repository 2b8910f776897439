"""Which pairs (request, shade) no answer that breaks no rule can hold, by what follows from trying each.

A pair is taken on trial; whatever then leaves some request without any shade shows that no answer holds it (singleton
arc consistency: Debruyne and Bessière, Proc. IJCAI 1997; from memory). Where no pair of a request is left, there is no
answer at all. Nothing that an answer holds is ever taken away.
"""

import numpy as np

from planning.compute.colour.case import Bools, Ints

ROUNDS = 3
MOST_PAIRS = 1_000  # each is tried against each other


def holdable(exclude: Bools, request: Ints, *, requests: int) -> Bools:
    """Return which pairs, (p,), an answer may still hold; none at all where it is proven that there is no answer.

    ``exclude`` (p, p) are each two of different requests that no answer holds together; ``request`` (p,) is whose
    pair each is, rising.

    >>> never = np.array([[0, 0, 1, 1], [0, 0, 0, 1], [1, 0, 0, 0], [1, 1, 0, 0]], dtype=bool)
    >>> holdable(never, np.array([0, 0, 1, 1]), requests=2).tolist()
    [False, True, True, False]
    """
    # A pair goes with itself and with every other that it does not exclude, but with none of its own request.
    goes = ~exclude & (request[:, None] != request[None, :])
    np.fill_diagonal(goes, True)
    alive = _supported(goes, request, requests, np.ones(len(request), dtype=bool))
    if len(request) > MOST_PAIRS:
        return alive
    for _ in range(ROUNDS):
        before = int(alive.sum())
        for pair in np.flatnonzero(alive):
            if not _supported(goes, request, requests, alive & goes[pair]).any():
                alive[pair] = False
        alive = _supported(goes, request, requests, alive)
        if alive.sum() == before or not alive.any():
            break
    return alive


def _supported(goes: Bools, request: Ints, requests: int, alive: Bools) -> Bools:
    """Return which of the pairs ``alive`` go with some pair of every request, over and over until all that stay do."""
    while alive.any():
        here = np.flatnonzero(alive)
        begins = np.searchsorted(request[here], np.arange(requests))
        if not np.array_equal(request[here[np.minimum(begins, len(here) - 1)]], np.arange(requests)):
            return np.zeros_like(alive)  # a request has none
        stays = np.logical_or.reduceat(goes[np.ix_(here, here)], begins, axis=1).all(axis=1)
        if stays.all():
            return alive
        alive = alive.copy()
        alive[here[~stays]] = False
    return alive
