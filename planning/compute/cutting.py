"""Equal pieces of stabilizer from offcuts, sheets and rolls."""

from collections.abc import Sequence
from dataclasses import dataclass

from inventory.compute.errors import WorkshopError


@dataclass(frozen=True)
class Roll:
    label: str
    width_mm: int
    free_mm: int
    sigma_mm: float = 0.0


@dataclass(frozen=True)
class Flat:
    """Sheets or an offcut of one size, ``count`` of them; ``height_mm`` runs along the roll.

    ``price_each`` is None where nothing was paid or nobody knows: an offcut was paid for with its roll.
    """

    label: str
    width_mm: int
    height_mm: int
    count: int = 1
    price_each: float | None = None


@dataclass(frozen=True)
class RollCut:
    """What is cut from one roll: so many strips across it, each so long, each cut into ``across`` pieces."""

    label: str
    strips: int
    strip_mm: int
    across: int
    pieces: int
    turned: bool

    @property
    def roll_mm(self) -> int:
        return self.strips * self.strip_mm


@dataclass(frozen=True)
class EqualCut:
    """How ``pieces`` equal pieces are found; ``missing`` of them are not."""

    pieces: int
    from_flats: tuple[tuple[str, int], ...]  # label and pieces
    flats_cost: float
    from_rolls: tuple[RollCut, ...]
    bound_mm: int

    @property
    def flat_pieces(self) -> int:
        return sum(count for _, count in self.from_flats)

    @property
    def roll_mm(self) -> int:
        return sum(cut.roll_mm for cut in self.from_rolls)

    @property
    def missing(self) -> int:
        return self.pieces - self.flat_pieces - sum(cut.pieces for cut in self.from_rolls)


def cut_equal_pieces(
    *,
    width_mm: int,
    height_mm: int,
    pieces: int,
    rolls: Sequence[Roll],
    flats: Sequence[Flat] = (),
    may_turn: bool = True,
) -> EqualCut:
    """Return how to cut ``pieces`` of one size: flats first, then strips across the rolls in their order.

    ``height_mm`` lies along the roll unless the piece is turned; each roll is cut in the direction that takes
    less of it. ``bound_mm`` is what the pieces from rolls would take without any waste, by area.

    >>> cut = cut_equal_pieces(width_mm=180, height_mm=240, pieces=10, rolls=[Roll("R1", 500, 20_000)])
    >>> cut.roll_mm, cut.from_rolls[0].across, cut.from_rolls[0].turned
    (900, 2, True)
    """
    if min(width_mm, height_mm, pieces) <= 0:
        raise WorkshopError(
            f"{pieces} pieces of {width_mm} × {height_mm} mm cannot be cut; give sizes above zero."
        )
    left = pieces
    from_flats = []
    flats_cost = 0.0
    for flat in flats:
        on_each = _grid(flat, width_mm, height_mm, may_turn)
        count = min(left, flat.count * on_each)
        if count:
            from_flats.append((flat.label, count))
            flats_cost += -(-count // on_each) * (flat.price_each or 0.0)
            left -= count
    from_rolls = []
    bound_mm = 0
    for roll in rolls:
        cut = _best_cut(roll, width_mm, height_mm, left, may_turn)
        if cut is not None:
            from_rolls.append(cut)
            left -= cut.pieces
            bound_mm += -(-cut.pieces * width_mm * height_mm // roll.width_mm)
    return EqualCut(pieces, tuple(from_flats), flats_cost, tuple(from_rolls), bound_mm=bound_mm)


def _grid(flat: Flat, width_mm: int, height_mm: int, may_turn: bool) -> int:
    upright = (flat.width_mm // width_mm) * (flat.height_mm // height_mm)
    turned = (flat.width_mm // height_mm) * (flat.height_mm // width_mm) if may_turn else 0
    return max(upright, turned)


def _best_cut(roll: Roll, width_mm: int, height_mm: int, pieces: int, may_turn: bool) -> RollCut | None:
    if pieces == 0:
        return None
    ways = [(width_mm, height_mm, False)] + ([(height_mm, width_mm, True)] if may_turn else [])
    cuts = []
    for across_mm, along_mm, turned in ways:
        across = roll.width_mm // across_mm
        if across == 0:
            continue
        strips = min(-(-pieces // across), roll.free_mm // along_mm)
        if strips:
            cuts.append(RollCut(roll.label, strips, along_mm, across, min(pieces, strips * across), turned))
    return max(cuts, key=lambda cut: (cut.pieces, -cut.roll_mm), default=None)
