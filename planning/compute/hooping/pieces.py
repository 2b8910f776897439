"""How many pieces a job stitches, in how many hoopings, and how often a needle is threaded for them."""

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from itertools import groupby

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _


@dataclass(frozen=True)
class PiecesToStitch:
    """What is stitched for an order, and why it is more than was ordered."""

    ordered: int
    tests: int
    spoiled_allowed: int
    total: int


def pieces_to_stitch(
    ordered: int, *, test_pieces: int = 1, spoilage: float | Decimal = 0.03
) -> PiecesToStitch:
    """Return the pieces to plan for: ordered, tests, and those that may be spoiled.

    Spoiled pieces are a share of the order, rounded up, so at least one; none where the share is set to 0.
    2–5 % and at least one piece: common practice, no source.

    >>> pieces_to_stitch(24)
    PiecesToStitch(ordered=24, tests=1, spoiled_allowed=1, total=26)
    >>> pieces_to_stitch(60, test_pieces=2, spoilage=0)
    PiecesToStitch(ordered=60, tests=2, spoiled_allowed=0, total=62)
    """
    if ordered < 1:
        raise WorkshopError(_("{ordered} pieces are ordered; a job needs 1 or more.").format(ordered=ordered))
    if test_pieces < 0:
        raise WorkshopError(
            _("{test_pieces} test pieces cannot be stitched; give 0 or more.").format(test_pieces=test_pieces)
        )
    if not 0 <= spoilage <= 1:
        raise WorkshopError(
            _("The spoilage is {spoilage}; give a share between 0 and 1 (0.03 is 3 %).").format(
                spoilage=spoilage
            )
        )
    # As typed, 7 % of 100 is 7; as binary floats it is a hair more, and would round up to 8.
    spoiled = math.ceil(ordered * Fraction(str(spoilage)))
    return PiecesToStitch(
        ordered=ordered, tests=test_pieces, spoiled_allowed=spoiled, total=ordered + test_pieces + spoiled
    )


def hoopings(total: int, copies_per_hooping: int) -> int:
    """Return how often a hoop is loaded for ``total`` pieces; the last one may be part full.

    >>> hoopings(26, 4)
    7
    """
    if total < 0:
        raise WorkshopError(_("{total} pieces cannot be hooped; give 0 or more.").format(total=total))
    if copies_per_hooping < 1:
        raise WorkshopError(
            _("{copies_per_hooping} copies per hooping stitch nothing; give 1 or more.").format(
                copies_per_hooping=copies_per_hooping
            )
        )
    return -(-total // copies_per_hooping)


def thread_changes(colours_in_order: Sequence[Hashable], *, hoopings: int = 1) -> int:
    """Return how often the job goes from one thread to another, whoever threads it.

    ``colours_in_order`` are the threads of one hooping's colour blocks. Equal neighbours are one threading,
    also from the last block of a hooping to the first of the next.

    >>> thread_changes(["navy", "white", "white", "red"], hoopings=2)
    5
    """
    _check_hoopings(hoopings)
    merged = [colour for colour, __ in groupby(colours_in_order)]
    if not merged or hoopings == 0:
        return 0
    between = int(merged[-1] != merged[0])
    return hoopings * (len(merged) - 1) + (hoopings - 1) * between


def rethreads(colours_in_order: Sequence[Hashable], *, hoopings: int = 1, needles: int = 1) -> int:
    """Return the fewest times a needle is threaded by hand for the whole job, the first time included.

    With one needle that is every change of thread; with a needle for each thread, once a thread. In between,
    the needle threaded anew is the one whose thread is wanted again last (Belady, IBM Systems Journal 5,
    1966: no other choice needs fewer). No needle is taken to hold a thread beforehand.

    >>> rethreads(["navy", "white", "white", "red"], hoopings=2)
    6
    >>> rethreads(["navy", "white", "white", "red"], hoopings=2, needles=15)
    3
    >>> rethreads(["navy", "white", "white", "red"], hoopings=2, needles=2)
    4
    """
    _check_hoopings(hoopings)
    if needles < 1:
        raise WorkshopError(
            _("A machine with {needles} needles cannot stitch; give 1 or more.").format(needles=needles)
        )
    merged = [colour for colour, __ in groupby(colours_in_order)]
    threaded: frozenset[Hashable] = frozenset()
    # Hoopings are alike, so what one does depends only on the threads it finds on the needles.
    known: dict[frozenset[Hashable], tuple[int, frozenset[Hashable]]] = {}
    total = 0
    for __ in range(hoopings):
        if threaded not in known:
            known[threaded] = _thread_one_hooping(merged, threaded, needles)
        count, threaded = known[threaded]
        total += count
    return total


def _thread_one_hooping(
    merged: Sequence[Hashable], threaded: frozenset[Hashable], needles: int
) -> tuple[int, frozenset[Hashable]]:
    """Return how many threadings one hooping takes from here, and what the needles hold after it."""
    on_needles = set(threaded)
    count = 0
    for block, colour in enumerate(merged):
        if colour in on_needles:
            continue
        if len(on_needles) == needles:
            # Wanted next in this hooping or, failing that, in the next one.
            from_here = [*merged[block:], *merged[:block]]
            on_needles.remove(max(on_needles, key=from_here.index))
        on_needles.add(colour)
        count += 1
    return count, frozenset(on_needles)


def _check_hoopings(hoopings: int) -> None:
    if hoopings < 0:
        raise WorkshopError(
            _("{hoopings} hoopings cannot be stitched; give 0 or more.").format(hoopings=hoopings)
        )
