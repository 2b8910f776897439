"""Patterns: what one strip across a roll, or one sheet or offcut, can give.

A strip is as long as its longest piece. Of a piece that may be turned only the way that takes less of the width is
wanted in a strip that is long enough for both, so that a strip of one length has one width for each kind of piece.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from planning.compute.stabilizer.cutting.values import CutOrder


@dataclass(frozen=True)
class PieceKind:
    """All the pieces of one size, with the kerf added to both sides; ``needs`` are their places in the order."""

    width_mm: int
    height_mm: int
    may_turn: bool
    count: int
    needs: tuple[int, ...]

    @property
    def ways(self) -> tuple[tuple[int, int, bool], ...]:
        """The width across, the length along, and whether that is turned."""
        upright = (self.width_mm, self.height_mm, False)
        if not self.may_turn or self.width_mm == self.height_mm:
            return (upright,)
        return upright, (self.height_mm, self.width_mm, True)


@dataclass(frozen=True)
class Pattern:
    """A strip: its length along the roll, how many of each kind lie side by side, and which of them turned."""

    along_mm: int
    counts: tuple[int, ...]
    turned: tuple[bool, ...]


@dataclass(frozen=True)
class FlatPattern:
    """Strips that a sheet or an offcut is cut into; ``upright`` if they run from edge to edge across it."""

    strips: tuple[Pattern, ...]
    upright: bool

    @property
    def counts(self) -> tuple[int, ...]:
        return tuple(sum(each) for each in zip(*(strip.counts for strip in self.strips), strict=True))


def kinds_of(order: CutOrder) -> tuple[PieceKind, ...]:
    """Return the distinct sizes of an order; sizes that differ by a quarter turn are one where both may turn."""
    found: dict[tuple[int, int, bool], list[int]] = {}
    for number, piece in enumerate(order.pieces):
        if piece.count:
            found.setdefault((piece.width_mm, piece.height_mm, piece.may_turn), []).append(number)
    return tuple(
        PieceKind(
            width + order.kerf_mm,
            height + order.kerf_mm,
            may_turn,
            sum(order.pieces[need].count for need in needs),
            tuple(needs),
        )
        for (width, height, may_turn), needs in found.items()
    )


def strip_lengths(kinds: Sequence[PieceKind], width_mm: int) -> list[int]:
    """Return the lengths a strip can have, shortest first."""
    return sorted({along for kind in kinds for across, along, _ in kind.ways if across <= width_mm})


def narrowest(
    kinds: Sequence[PieceKind], width_mm: int, along_mm: int
) -> tuple[list[int | None], tuple[bool, ...]]:
    """Return for each kind what it takes of the width of a strip so long (None: it does not fit), and if turned."""
    widths: list[int | None] = []
    turned = []
    for kind in kinds:
        fitting = [way for way in kind.ways if way[1] <= along_mm and way[0] <= width_mm]
        best = min(fitting, default=None)
        widths.append(best[0] if best else None)
        turned.append(bool(best and best[2]))
    return widths, tuple(turned)


def strip_patterns(kinds: Sequence[PieceKind], width_mm: int, *, most: int) -> list[Pattern] | None:
    """Return every strip that nothing can be added to, each at its shortest; None if there are over ``most``.

    >>> kind = PieceKind(180, 240, True, 10, (0,))
    >>> [(each.along_mm, each.counts, each.turned) for each in strip_patterns([kind], 600, most=100)]
    [(180, (2,), (True,)), (240, (3,), (False,))]
    """
    found: dict[tuple[int, ...], Pattern] = {}
    for along_mm in strip_lengths(kinds, width_mm):
        widths, turned = narrowest(kinds, width_mm, along_mm)
        limits = [kind.count for kind in kinds]
        for counts in _full(widths, limits, width_mm):
            if counts not in found:
                found[counts] = Pattern(along_mm, counts, turned)
                if len(found) > most:
                    return None
    return list(found.values())


def _full(widths: Sequence[int | None], limits: Sequence[int], room_mm: int) -> Iterator[tuple[int, ...]]:
    """Yield the counts that fill ``room_mm`` so that no piece that is still wanted fits into the rest."""
    wide_first = sorted(
        (place for place, width in enumerate(widths) if width is not None),
        key=lambda place: -(widths[place] or 0),
    )
    counts = [0] * len(widths)

    def fill(at: int, room: int, least_left_out: int | None) -> Iterator[tuple[int, ...]]:
        if at == len(wide_first):
            if least_left_out is None or room < least_left_out:
                yield tuple(counts)
            return
        place = wide_first[at]
        width = widths[place]
        assert width is not None
        most = min(limits[place], room // width)
        # A narrower kind still to come can fill what this one leaves; the last one takes all it can.
        least = most if at == len(wide_first) - 1 else 0
        for count in range(most, least - 1, -1):
            counts[place] = count
            # Widths fall, so that the kind left out last is the narrowest one left out.
            out = width if count < limits[place] else least_left_out
            yield from fill(at + 1, room - count * width, out)
        counts[place] = 0

    yield from fill(0, room_mm, None)
