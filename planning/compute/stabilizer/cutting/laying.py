"""From chosen strips to pieces with places, and what is left of each roll, sheet and offcut."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from planning.compute.stabilizer.cutting.patterns import FlatPattern, Pattern, PieceKind
from planning.compute.stabilizer.cutting.solving import Chosen
from planning.compute.stabilizer.cutting.values import (
    CutOrder,
    CutPiece,
    CutStock,
    Flat,
    Rest,
    Roll,
    SourceCut,
    Strip,
)


@dataclass
class PiecesToLay:
    """The pieces still to be laid, kind by kind: each knows the need it is for."""

    kinds: Sequence[PieceKind]
    left: list[list[int]] = field(default_factory=list)

    @classmethod
    def of(cls, order: CutOrder, kinds: Sequence[PieceKind]) -> "PiecesToLay":
        return cls(
            kinds, [[need for need in kind.needs for _ in range(order.pieces[need].count)] for kind in kinds]
        )

    def take(self, kind: int) -> int | None:
        return self.left[kind].pop(0) if self.left[kind] else None


def lay(
    order: CutOrder, stock: CutStock, kinds: Sequence[PieceKind], chosen: Chosen
) -> tuple[list[SourceCut], PiecesToLay]:
    """Return every source with its strips in cutting order, and what could not be laid.

    Patterns may give more pieces than are wanted; those are left out, and a strip is only as long as its longest
    piece. The longest strips come first, and equal ones follow each other.
    """
    wanted = PiecesToLay.of(order, kinds)
    sources = []
    for number, pattern, count in sorted(chosen.flats, key=lambda each: each[0]):
        for _ in range(count):
            cut = _flat_cut(stock.flats[number], pattern, kinds, wanted, order.kerf_mm)
            if cut.strips:
                sources.append(cut)
    by_roll: dict[int, list[tuple[Pattern, int]]] = {}
    for roll, strip, count in chosen.strips:
        by_roll.setdefault(roll, []).append((strip, count))
    for number in sorted(by_roll):
        longest_first = sorted(
            by_roll[number], key=lambda pair: (-pair[0].along_mm, -pair[1], pair[0].counts)
        )
        strips = [pattern for pattern, count in longest_first for _ in range(count)]
        cut = _roll_cut(stock.rolls[number], strips, kinds, wanted, order)
        if cut.strips:
            sources.append(cut)
    return sources, wanted


def _row(
    pattern: Pattern, kinds: Sequence[PieceKind], wanted: PiecesToLay, kerf_mm: int
) -> list[tuple[int, int, int, bool]]:
    """Return need, width across, length along and turned of each piece of a strip, the longest first."""
    pieces = []
    for place, count in enumerate(pattern.counts):
        kind = kinds[place]
        turned = pattern.turned[place]
        across, along = kind.width_mm - kerf_mm, kind.height_mm - kerf_mm
        if turned:
            across, along = along, across
        for _ in range(count):
            need = wanted.take(place)
            if need is not None:
                pieces.append((need, across, along, turned))
    return sorted(pieces, key=lambda piece: (-piece[2], -piece[1], piece[0]))


def _roll_cut(
    roll: Roll, patterns: Sequence[Pattern], kinds: Sequence[PieceKind], wanted: PiecesToLay, order: CutOrder
) -> SourceCut:
    left, right = order.edge_mm, roll.width_mm - order.edge_mm
    y = 0
    strips: list[Strip] = []
    rests = [Rest(x, 0, order.edge_mm, 0) for x in (0, right)] if order.edge_mm else []
    for pattern in patterns:
        row = _row(pattern, kinds, wanted, order.kerf_mm)
        if not row:
            continue
        height = max(along for _, _, along, _ in row)
        placed, x = [], left
        for need, across, along, turned in row:
            placed.append(CutPiece(need, x, y, across, along, turned))
            if along < height - order.kerf_mm:
                rests.append(Rest(x, y + along + order.kerf_mm, across, height - along - order.kerf_mm))
            x += across + order.kerf_mm
        strips.append(Strip(left, y, right - left, height, tuple(placed)))
        if x < right:
            rests.append(Rest(x, y, right - x, height))
        y += height + order.kerf_mm
    rests = [Rest(each.x_mm, each.y_mm, each.width_mm, each.height_mm or y) for each in rests]
    price = None if roll.price_per_mm is None else roll.price_per_mm * y
    return SourceCut(roll.label, True, roll.width_mm, y, tuple(strips), tuple(rests), price)


def _flat_cut(
    flat: Flat, pattern: FlatPattern, kinds: Sequence[PieceKind], wanted: PiecesToLay, kerf_mm: int
) -> SourceCut:
    """Lay the strips of a flat; strips that run along it are laid as if it were turned, then turned back."""
    across_room = flat.width_mm if pattern.upright else flat.height_mm
    along_room = flat.height_mm if pattern.upright else flat.width_mm
    strips, rests = [], []
    y = 0
    for each in pattern.strips:
        row = _lying(each, pattern.upright, kinds, wanted, kerf_mm)
        if not row:
            continue
        height = max(along for _, _, along, _ in row)
        placed, x = [], 0
        for need, across, along, turned in row:
            placed.append((need, x, y, across, along, turned))
            if along < height - kerf_mm:
                rests.append((x, y + along + kerf_mm, across, height - along - kerf_mm))
            x += across + kerf_mm
        if x < across_room:
            rests.append((x, y, across_room - x, height))
        strips.append(((0, y, across_room, height), placed))
        y += height + kerf_mm
    if y < along_room:
        rests.append((0, y, across_room, along_room - y))

    def back(x: int, y: int, width: int, height: int) -> tuple[int, int, int, int]:
        return (x, y, width, height) if pattern.upright else (y, x, height, width)

    return SourceCut(
        flat.label,
        False,
        flat.width_mm,
        flat.height_mm,
        tuple(
            Strip(
                *back(*box), tuple(CutPiece(need, *back(*where), turned) for need, *where, turned in placed)
            )
            for box, placed in strips
        ),
        tuple(Rest(*back(*rest)) for rest in rests),
        flat.price_each or 0.0,
    )


def _lying(
    pattern: Pattern, upright: bool, kinds: Sequence[PieceKind], wanted: PiecesToLay, kerf_mm: int
) -> list[tuple[int, int, int, bool]]:
    if upright:
        return _row(pattern, kinds, wanted, kerf_mm)
    # Seen from the side a piece that is not turned shows its length across the strip.
    sideways = Pattern(pattern.along_mm, pattern.counts, tuple(not turned for turned in pattern.turned))
    row = _row(sideways, kinds, wanted, kerf_mm)
    return [(need, across, along, not turned) for need, across, along, turned in row]
