"""How far sets of spools reach along the blocks of a batch, one spool after the other.

Positions are lengths of thread from the first stitch. A spool's turn starts where the one before it stopped:
where a block ends, where a piece ends, or, if need be, inside a block. Starting later never ends a turn sooner,
so of each set of spools only the furthest place is kept, which makes the answer exact.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import accumulate, chain

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# Lengths are sums of floats: as much as this, relative to the place, is none.
SLACK = 1e-9


@dataclass(frozen=True, eq=False)
class Stretch:
    """What is stitched in one thread: where its blocks and its pieces end, in mm from the start, 0 included."""

    block_ends: Floats
    piece_ends: Floats

    @property
    def length(self) -> float:
        return float(self.block_ends[-1])

    def reversed(self) -> "Stretch":
        return Stretch(
            np.sort(self.length - self.block_ends),
            np.sort(self.length - self.piece_ends),
        )

    def until(self, end: float) -> "Stretch":
        return Stretch(self.block_ends[self.block_ends <= end], self.piece_ends[self.piece_ends <= end])


@dataclass(frozen=True, eq=False)
class Reach:
    """For sets of spools (bit masks), the furthest place where the next spool can start.

    ``start`` has shape (sets, lots): by the dye lot of the spool that goes on next. ``end`` has shape (sets,
    spools): how far the set reaches when that spool goes on last; minus infinity where it is not in the set.
    """

    start: Floats
    end: Floats


def stretch_of(pieces_mm: Sequence[Sequence[float]]) -> Stretch:
    """Return the stretch of pieces of which each block takes so much.

    >>> stretch = stretch_of([[3.0, 2.0], [4.0]])
    >>> stretch.block_ends.tolist(), stretch.piece_ends.tolist()
    ([0.0, 3.0, 5.0, 9.0], [0.0, 5.0, 9.0])
    """
    first = pieces_mm[0] if pieces_mm else ()
    if all(piece is first for piece in pieces_mm):  # most batches have pieces of one kind
        block_ends = np.cumsum(np.concatenate([[0.0], np.tile(first, len(pieces_mm))]))
        return Stretch(block_ends, block_ends[np.arange(len(pieces_mm) + 1) * len(first)])
    taken_mm = np.fromiter(chain((0.0,), chain.from_iterable(pieces_mm)), dtype=np.float64)
    block_ends = np.cumsum(taken_mm)
    blocks = np.fromiter(accumulate(map(len, pieces_mm), initial=0), dtype=np.intp)
    return Stretch(block_ends, block_ends[blocks])


def last_before(places: Floats, ends: Floats) -> Floats:
    """Return the last of ``ends`` that lies at or before each place, a trifle allowed.

    >>> last_before(np.array([3.9, 4.0, -1.0]), np.array([0.0, 4.0])).tolist()
    [0.0, 4.0, 0.0]
    """
    return ends[np.maximum(np.searchsorted(ends, places * (1 + SLACK), side="right") - 1, 0)]


def reaches(
    holds: Floats,
    lots: NDArray[np.intp],
    stretch: Stretch,
    *,
    inside: int,
    mixed: int,
    known: Mapping[tuple[int, int], Reach] | None = None,
) -> dict[tuple[int, int], Reach]:
    """Return the reach of every set of spools with up to (0…``inside``, 0…``mixed``) changes of two bad kinds.

    The first kind is a change inside a block, the second a change of dye lot inside a piece. ``holds`` has shape
    (spools,): what each spool gives for sure; ``lots`` numbers their dye lots from 0. What is ``known`` of the same
    spools and stretch is not worked out again.

    >>> reach = reaches(
    ...     np.array([5.0, 6.0]), np.array([0, 0]), stretch_of([[4.0]] * 3), inside=0, mixed=0)[0, 0]
    >>> reach.start[:, 0].tolist()  # no spool, the first, the second, both
    [0.0, 4.0, 4.0, 8.0]
    """
    spools, of_lot = len(holds), [np.flatnonzero(lots == lot) for lot in range(lots.max() + 1)]
    found = dict(known or {})
    for within in range(inside + 1):
        for mix in range(mixed + 1):
            if (within, mix) in found:
                continue
            reach = Reach(
                start=np.zeros((1 << spools, len(of_lot))), end=np.full((1 << spools, spools), -np.inf)
            )
            for layer, members, without in _layers(spools):
                ends = reach.start[without, lots[members]] + holds[members]
                reach.end[layer[:, None], members] = ends
                _let_next_start(found, reach, layer, ends, of_lot, stretch, within=within, mix=mix)
            found[within, mix] = reach
    return found


@lru_cache(maxsize=16)
def _layers(spools: int) -> list[tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.intp]]]:
    """Return the sets of so many spools, layer by layer of as many each, from one on.

    Of each layer of n sets of k spools: the sets (n,), their spools (n, k), and each set without each of them (n, k).
    """
    sets = np.arange(1 << spools)
    has = (sets[:, None] >> np.arange(spools)) & 1 == 1
    counts = has.sum(axis=1)
    layers = []
    for count in range(1, spools + 1):
        layer = sets[counts == count]
        members = np.nonzero(has[layer])[1].reshape(len(layer), count)
        layers.append((layer, members, layer[:, None] ^ (1 << members)))
    return layers


def _let_next_start(
    found: dict[tuple[int, int], Reach],
    reach: Reach,
    layer: NDArray[np.intp],
    ends: Floats,
    of_lot: Sequence[NDArray[np.intp]],
    stretch: Stretch,
    *,
    within: int,
    mix: int,
) -> None:
    """Set where the spool after each set of the ``layer`` may start, for each lot it may be of.

    ``ends`` is where each set ends with each of its spools last. Of the spools of one lot only the one that ends
    furthest matters: where a block ends before it, none lies later before another.
    """

    def furthest(ends: Floats) -> Floats:
        return np.column_stack([ends[:, spools].max(axis=1) for spools in of_lot])

    end = furthest(reach.end[layer]) if len(of_lot) > 1 else ends.max(axis=1, keepdims=True)
    best = last_before(end, stretch.block_ends)
    if len(of_lot) > 1:
        best = np.maximum(best, _of_others(last_before(end, stretch.piece_ends)))
        if mix:
            mixed_end = furthest(found[within, mix - 1].end[layer])
            best = np.maximum(best, _of_others(last_before(mixed_end, stretch.block_ends)))
        if within and mix:
            best = np.maximum(best, _of_others(furthest(found[within - 1, mix - 1].end[layer])))
    if within:
        best = np.maximum(best, furthest(found[within - 1, mix].end[layer]))
    reach.start[layer] = np.minimum(best, stretch.length)


def _of_others(places: Floats) -> Floats:
    """Return for each lot the furthest place of any other lot, (sets, lots), of ``places`` like it; two lots at least.

    >>> _of_others(np.array([[3.0, 5.0, 4.0]])).tolist()
    [[5.0, 4.0, 5.0]]
    """
    first = places.argmax(axis=1)
    every, but_first = np.arange(len(places)), places.copy()
    but_first[every, first] = -np.inf
    found = np.repeat(places[every, first][:, None], places.shape[1], axis=1)
    found[every, first] = but_first.max(axis=1)
    return found
