"""How many bobbins a batch takes and before which block each is changed."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.special import ndtr

from inventory.compute.errors import WorkshopError
from inventory.compute.knowing import RELATIVE_SIGMA
from planning.compute.certainty import Factor


@dataclass(frozen=True)
class BobbinChange:
    """Put a fresh bobbin in before this block (index from 0) of this piece (from 1)."""

    piece: int
    block: int


@dataclass(frozen=True)
class BobbinRun:
    """The bobbins a batch takes. A block longer than a whole bobbin adds to ``inside_blocks``."""

    count: int
    changes: tuple[BobbinChange, ...]
    inside_blocks: int = 0


def run_of_bobbins(pieces_mm: Sequence[Sequence[float]], *, bobbin_mm: float) -> BobbinRun:
    """Return the bobbins for pieces of which each block takes so much, in stitching order.

    A bobbin is changed before a block that it cannot finish. Only a block that no whole bobbin can finish is
    interrupted, and starts on a fresh one.

    >>> run_of_bobbins([[40.0, 30.0], [40.0, 30.0]], bobbin_mm=100.0)
    BobbinRun(count=2, changes=(BobbinChange(piece=2, block=0),), inside_blocks=0)
    """
    if not (math.isfinite(bobbin_mm) and bobbin_mm > 0):
        raise WorkshopError(f"A bobbin with {bobbin_mm} mm on it stitches nothing; set its length.")
    changes = []
    inside = 0
    left_mm = bobbin_mm
    for piece, blocks_mm in enumerate(pieces_mm, 1):
        for block, need_mm in enumerate(blocks_mm):
            if need_mm > left_mm and left_mm < bobbin_mm:
                changes.append(BobbinChange(piece, block))
                left_mm = bobbin_mm
            while need_mm > left_mm:
                inside += 1
                need_mm -= left_mm
                left_mm = bobbin_mm
            left_mm -= need_mm
    count = 1 + len(changes) + inside if any(map(any, pieces_mm)) else 0
    return BobbinRun(count=count, changes=tuple(changes), inside_blocks=inside)


def p_enough_bobbins(
    pieces_geometry_mm: Sequence[Sequence[float]], *, bobbin_mm: float, bobbins: int, factor: Factor
) -> float:
    """Return the probability that ``bobbins`` full bobbins do for the batch, changed at block boundaries.

    The number of bobbins never falls as more thread is used, so there is one factor up to which they do; the
    answer is the probability of staying below it. How full bobbins really are adds to the factor's own sigma.
    """
    if bobbins <= 0:
        return 0.0 if any(map(any, pieces_geometry_mm)) else 1.0

    def suffice(log_factor: float) -> bool:
        # A bobbin shortened by the factor runs out where the factor's use would empty it.
        shortened_mm = bobbin_mm * math.exp(-log_factor)
        return run_of_bobbins(pieces_geometry_mm, bobbin_mm=shortened_mm).count <= bobbins

    sigma = math.hypot(factor.predictive_sigma, RELATIVE_SIGMA["sealed"])
    low, high = factor.mean_log - 6 * sigma, factor.mean_log + 6 * sigma
    if not suffice(low):
        return 0.0
    if suffice(high):
        return 1.0
    for _ in range(20):
        middle = (low + high) / 2
        low, high = (middle, high) if suffice(middle) else (low, middle)
    return float(ndtr((low - factor.mean_log) / sigma))
