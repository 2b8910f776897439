"""How far the answer of a search is proven, in three words that every solver, page and command uses alike.

A solver counts its work (nodes, patterns, rounds) and stops by that, so that the same question has the same answer
on any machine. A caller may pass ``seconds_left``, a function that says how long it still wants to wait; it only cuts
the search short, and the answer then says *good enough in the time*.
"""

from collections.abc import Callable
from enum import StrEnum

from inventory.compute.spoken import N_

# What is left of the time a caller gives; None: it waits until the work is done.
SecondsLeft = Callable[[], float] | None


class Proof(StrEnum):
    """*least*: proved over everything there is. The other two come with a bound below which nothing lies."""

    LEAST = N_("least")
    BEST_SEEN = N_("best of those looked at")
    IN_TIME = N_("good enough in the time")


def proof_of(*, is_least: bool, was_cut_short: bool) -> Proof:
    """Return the word for an answer; what is proven is least however the search ended.

    >>> str(proof_of(is_least=False, was_cut_short=True)), str(proof_of(is_least=True, was_cut_short=True))
    ('good enough in the time', 'least')
    """
    if is_least:
        return Proof.LEAST
    return Proof.IN_TIME if was_cut_short else Proof.BEST_SEEN


def is_over(seconds_left: SecondsLeft) -> bool:
    """Return whether there is no time left: then nothing is begun.

    >>> is_over(None), is_over(lambda: 0.5), is_over(lambda: -0.2)
    (False, False, True)
    """
    return seconds_left is not None and seconds_left() <= 0
