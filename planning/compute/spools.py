"""Which spool goes on for which pieces."""

from collections.abc import Sequence
from dataclasses import dataclass

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
    spools: Sequence[OwnedSpool], *, per_piece_mm: float, pieces: int
) -> tuple[SpoolUse, ...]:
    """Return the spools to put on, in the order given, each for as many whole pieces as it holds.

    A spool that does not hold one piece is passed over, and so is one whose length nobody knows. Pieces that
    no spool holds are left out: the last ``to_piece`` then falls short of ``pieces``.

    >>> wall = [OwnedSpool(1, "S0001", 25_000, 0.0), OwnedSpool(2, "S0002", 100_000, 0.0)]
    >>> [(use.label, use.from_piece, use.to_piece) for use in spools_for_pieces(wall, per_piece_mm=10_000, pieces=5)]
    [('S0001', 1, 2), ('S0002', 3, 5)]
    """
    uses = []
    next_piece = 1
    for spool in spools:
        if next_piece > pieces:
            break
        if not spool.is_known:
            continue
        held = pieces if per_piece_mm <= 0 else int(spool.free_mm // per_piece_mm)
        count = min(held, pieces - next_piece + 1)
        if count == 0:
            continue
        needed_mm = round(count * per_piece_mm)
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
