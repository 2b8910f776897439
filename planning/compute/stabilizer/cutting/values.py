"""What is to be cut, what it may be cut from, and how it is cut: plain values.

x runs across a roll and y along it, both in whole mm from the corner at its free end. A piece's ``height_mm`` lies
along the roll unless it is turned by a quarter.
"""

from dataclasses import dataclass

from inventory.compute.errors import WorkshopError
from inventory.compute.knowing import NOTHING_CUT, StripsCut
from inventory.compute.spoken import _
from planning.compute.search.proof import Proof

# What an offcut's shorter side must have to be worth a label: common practice, no source.
LEAST_USEFUL_MM = 100


@dataclass(frozen=True)
class Roll:
    """A roll with what is free of it. ``sigma_mm`` has in it what was cut since it was measured, ``cut_so_far``."""

    label: str
    width_mm: int
    free_mm: int
    sigma_mm: float = 0.0
    price_per_mm: float | None = None
    cut_so_far: StripsCut = NOTHING_CUT


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
class PieceNeed:
    """``count`` pieces of one size for ``label``, a layer or a job; ``may_turn`` is False where grain is kept."""

    width_mm: int
    height_mm: int
    count: int
    may_turn: bool = True
    label: str = ""


@dataclass(frozen=True)
class CutOrder:
    """The pieces; each cut loses ``kerf_mm``, and ``edge_mm`` is trimmed off both edges of a roll."""

    pieces: tuple[PieceNeed, ...]
    kerf_mm: int = 0
    edge_mm: int = 0

    def __post_init__(self) -> None:
        if self.kerf_mm < 0 or self.edge_mm < 0:
            raise WorkshopError(_("A cut or an edge cannot lose less than 0 mm; give 0 or more."))
        for piece in self.pieces:
            if min(piece.width_mm, piece.height_mm) <= 0 or piece.count < 0:
                raise WorkshopError(
                    _(
                        "{count} pieces of {width_mm} × {height_mm} mm cannot be cut; give sizes above zero."
                    ).format(count=piece.count, width_mm=piece.width_mm, height_mm=piece.height_mm)
                )


@dataclass(frozen=True)
class CutStock:
    """What there is to cut from; what comes first is taken first where it makes no difference."""

    rolls: tuple[Roll, ...] = ()
    flats: tuple[Flat, ...] = ()


@dataclass(frozen=True, slots=True)
class CutPiece:
    """A piece where it lies; ``need`` is its place in the order."""

    need: int
    x_mm: int
    y_mm: int
    width_mm: int
    height_mm: int
    turned: bool


@dataclass(frozen=True, slots=True)
class Strip:
    """What one straight cut takes off; its pieces lie side by side in it, each trimmed if it is shorter."""

    x_mm: int
    y_mm: int
    width_mm: int
    height_mm: int
    pieces: tuple[CutPiece, ...]


@dataclass(frozen=True, slots=True)
class Rest:
    """A rectangle that is left over."""

    x_mm: int
    y_mm: int
    width_mm: int
    height_mm: int

    @property
    def is_useful(self) -> bool:
        return min(self.width_mm, self.height_mm) >= LEAST_USEFUL_MM


@dataclass(frozen=True, slots=True)
class SourceCut:
    """How one roll, sheet or offcut is cut. ``roll_mm`` is the length that comes off a roll, 0 for the others."""

    label: str
    is_roll: bool
    width_mm: int
    height_mm: int  # of a roll, what comes off it
    strips: tuple[Strip, ...]
    rests: tuple[Rest, ...]
    price: float | None = None  # of what is taken, None where it is not known

    @property
    def roll_mm(self) -> int:
        return self.height_mm if self.is_roll else 0

    @property
    def pieces(self) -> tuple[CutPiece, ...]:
        return tuple(piece for strip in self.strips for piece in strip.pieces)

    @property
    def useful_rests(self) -> tuple[Rest, ...]:
        return tuple(rest for rest in self.rests if rest.is_useful)

    @property
    def waste_mm2(self) -> int:
        """The area that is neither a piece nor an offcut worth keeping."""
        used = sum(piece.width_mm * piece.height_mm for piece in self.pieces)
        used += sum(rest.width_mm * rest.height_mm for rest in self.useful_rests)
        return self.width_mm * self.height_mm - used


@dataclass(frozen=True)
class CutPlan:
    """How an order is cut. ``missing`` counts, for each need, the pieces that nothing is left for.

    No way of cutting strips takes less roll than ``bound_mm2``; the ``proof`` is *least* where this plan takes no
    more than that. ``area_bound_mm`` is what the pieces cut from rolls would take of the widest one without any waste.
    """

    sources: tuple[SourceCut, ...]
    missing: tuple[int, ...]
    bound_mm2: float
    bound_mm: int
    area_bound_mm: int
    proof: Proof

    @property
    def is_proven(self) -> bool:
        return self.proof is Proof.LEAST

    @property
    def rolls(self) -> tuple[SourceCut, ...]:
        return tuple(each for each in self.sources if each.is_roll)

    @property
    def flats(self) -> tuple[SourceCut, ...]:
        return tuple(each for each in self.sources if not each.is_roll)

    @property
    def roll_mm(self) -> int:
        return sum(each.roll_mm for each in self.rolls)

    @property
    def roll_mm2(self) -> int:
        return sum(each.roll_mm * each.width_mm for each in self.rolls)

    @property
    def waste_mm2(self) -> int:
        return sum(each.waste_mm2 for each in self.sources)

    @property
    def pieces(self) -> int:
        return sum(len(each.pieces) for each in self.sources)
