"""Which spool goes on for which pieces."""

from collections.abc import Sequence
from dataclasses import dataclass

from planning.compute.certainty import Factor, pieces_possible
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


def spools_for_pieces(
    spools: Sequence[OwnedSpool], *, per_piece_mm: float, pieces: int, factor: Factor, certainty: float
) -> tuple[SpoolUse, ...]:
    """Return the spools to put on, in the order given, each for as many whole pieces as it holds for sure.

    ``per_piece_mm`` is geometry; ``factor`` says what it takes, and each spool is changed before the piece that it
    would not finish at the ``certainty``. A spool that does not hold one piece is passed over, and so is one
    whose length nobody knows. Pieces that no spool holds are left out: the last ``to_piece`` then falls short of
    ``pieces``. What a use takes and leaves is told at the factor's median.

    >>> wall = [OwnedSpool(1, "S0001", 25_000, 0.0), OwnedSpool(2, "S0002", 100_000, 0.0)]
    >>> uses = spools_for_pieces(
    ...     wall, per_piece_mm=10_000, pieces=5, factor=Factor(mean_log=0.0, sigma=0.0, scatter=0.0), certainty=0.95)
    >>> [(use.label, use.from_piece, use.to_piece) for use in uses]
    [('S0001', 1, 2), ('S0002', 3, 5)]
    """
    uses = []
    next_piece = 1
    for spool in spools:
        left = pieces - next_piece + 1
        if left <= 0:
            break
        if spool.sigma_mm is None:
            continue
        count = pieces_possible(
            per_piece_mm,
            factor,
            free_mm=spool.free_mm,
            free_sigma_mm=spool.sigma_mm,
            certainty=certainty,
            at_most=left,
        )
        if count == 0:
            continue
        needed_mm = round(count * per_piece_mm * factor.median)
        uses.append(
            SpoolUse(
                label=spool.label,
                from_piece=next_piece,
                to_piece=next_piece + count - 1,
                needed_mm=needed_mm,
                left_mm=spool.free_mm - needed_mm,
                place=spool.place,
            )
        )
        next_piece += count
    return tuple(uses)
