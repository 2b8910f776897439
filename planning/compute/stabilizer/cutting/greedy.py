"""A cut at hand before any search: flat by flat and strip by strip, each time what is worth most."""

from collections.abc import Sequence

from planning.compute.stabilizer.cutting.patterns import FlatPattern, Pattern, PieceKind


def cut_greedily(
    kinds: Sequence[PieceKind],
    rolls: Sequence[tuple[int, int, Sequence[Pattern]]],
    flats: Sequence[tuple[int, Sequence[FlatPattern]]],
) -> tuple[list[tuple[int, Pattern]], list[tuple[int, FlatPattern]], list[int]]:
    """Return strips by roll, ways by lot of flats, and the pieces of each kind that are missing.

    ``rolls`` have a width, a free length and their strips, ``flats`` a number and the ways to cut one.

    >>> kind = PieceKind(200, 100, False, 5, (0,))
    >>> strips, ways, missing = cut_greedily([kind], [(450, 200, [Pattern(100, (2,), (False,))])], [])
    >>> len(strips), ways, missing
    (2, [], [1])
    """
    left = [kind.count for kind in kinds]
    areas = [kind.width_mm * kind.height_mm for kind in kinds]

    def worth(counts: Sequence[int]) -> int:
        return sum(min(have, want) * area for have, want, area in zip(counts, left, areas, strict=True))

    def take(counts: Sequence[int]) -> None:
        left[:] = [max(0, want - have) for have, want in zip(counts, left, strict=True)]

    ways: list[tuple[int, FlatPattern]] = []
    for flat, (count, choices) in enumerate(flats):
        for _ in range(count):
            way = max(choices, key=lambda each: worth(each.counts))
            if not worth(way.counts):
                break
            take(way.counts)
            ways.append((flat, way))
    strips: list[tuple[int, Pattern]] = []
    free = [free_mm for _, free_mm, _ in rolls]
    while any(left):
        fitting = [
            (worth(strip.counts) / (width * strip.along_mm), -roll, strip)
            for roll, (width, _, patterns) in enumerate(rolls)
            for strip in patterns
            if strip.along_mm <= free[roll] and worth(strip.counts)
        ]
        if not fitting:
            break
        _, roll, strip = max(fitting, key=lambda each: each[:2])
        take(strip.counts)
        free[-roll] -= strip.along_mm
        strips.append((-roll, strip))
    return strips, ways, left
