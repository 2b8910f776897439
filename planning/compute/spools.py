"""Which spool goes on for which pieces."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from planning.compute.certainty import Factor, pieces_covered
from planning.compute.choosing import OwnedSpool


@dataclass(frozen=True)
class SpoolUse:
    """A spool's turn: the pieces it is for (1-based, both included), what they take, what is left on it."""

    label: str
    from_piece: int
    to_piece: int
    needed_mm: int
    left_mm: int
    place: str = ""
    # What they take at the certainty that was asked for.
    sure_mm: int = 0


def spools_for_pieces(
    spools: Sequence[OwnedSpool],
    *,
    geometry_mm: Sequence[float] | NDArray[np.float64],
    factor: Factor,
    certainty: float,
) -> tuple[SpoolUse, ...]:
    """Return the spools to put on, in the order given, each for as many whole pieces as it holds for sure.

    ``geometry_mm`` has shape (pieces + 1,): what the first 0, 1, … pieces take before the ``factor``. Each spool
    is changed before the piece that it would not finish at the ``certainty``. A spool that does not hold the next
    piece is passed over, and so is one whose length nobody knows. Pieces that no spool holds are left out: the
    last ``to_piece`` then falls short. What a use takes and leaves is told at the factor's median.

    >>> wall = [OwnedSpool(1, "S0001", 25_000, 0.0), OwnedSpool(2, "S0002", 100_000, 0.0)]
    >>> exact = Factor(mean_log=0.0, sigma=0.0, scatter=0.0)
    >>> uses = spools_for_pieces(wall, geometry_mm=[0, 10_000, 20_000, 30_000], factor=exact, certainty=0.95)
    >>> [(use.label, use.from_piece, use.to_piece) for use in uses]
    [('S0001', 1, 2), ('S0002', 3, 3)]
    """
    cumulative_mm = np.asarray(geometry_mm, dtype=np.float64)
    pieces = len(cumulative_mm) - 1
    uses = []
    done = 0
    for spool in spools:
        if done == pieces:
            break
        if spool.sigma_mm is None:
            continue
        count = pieces_covered(
            cumulative_mm[done:] - cumulative_mm[done],
            factor,
            free_mm=spool.free_mm,
            free_sigma_mm=spool.sigma_mm,
            certainty=certainty,
        )
        if count == 0:
            continue
        needed_mm = round(float(cumulative_mm[done + count] - cumulative_mm[done]) * factor.median)
        sure_mm = round(needed_mm * math.exp(float(ndtri(certainty)) * factor.predictive_sigma))
        uses.append(
            SpoolUse(
                label=spool.label,
                from_piece=done + 1,
                to_piece=done + count,
                needed_mm=needed_mm,
                left_mm=spool.free_mm - needed_mm,
                place=spool.place,
                sure_mm=sure_mm,
            )
        )
        done += count
    return tuple(uses)
