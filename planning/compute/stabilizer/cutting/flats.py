"""Every way to cut a sheet or an offcut that could be wanted, or good ones where there are too many."""

from collections.abc import Sequence
from functools import cache

import numpy as np

from planning.compute.stabilizer.cutting.patterns import FlatPattern, Pattern, PieceKind, strip_patterns

# Above so many strips, or so many counts that they can be stacked to, the ways are not all written down.
MOST_STRIPS = 400
MOST_STACKS = 4_000
# Above so many ways to cut one flat the program that chooses among them is no longer quick.
MOST_WAYS = 600


def flat_patterns(
    kinds: tuple[PieceKind, ...], width_mm: int, height_mm: int
) -> tuple[list[FlatPattern], bool]:
    """Return ways to cut a sheet or an offcut in strips of either direction, and if nothing wanted is left out.

    Of two ways one goes where the other gives as many pieces of every kind. Where there are too many, those with
    most area and with most of each kind remain. What they are depends on the flat and the sizes alone.

    >>> small, large = PieceKind(100, 100, False, 9, (0,)), PieceKind(200, 100, False, 9, (1,))
    >>> ways, is_all = flat_patterns((small, large), 300, 200)
    >>> sorted(way.counts for way in ways), is_all
    ([(2, 2), (4, 1), (6, 0)], True)
    """
    found = _stacked(kinds, width_mm, height_mm, every=True)
    best = None if found is None else _best_of_all(list(found))
    is_all = best is not None and len(best) <= MOST_WAYS
    if not is_all:
        found = _stacked(kinds, width_mm, height_mm, every=False)
        best = _best_of_all(list(found or ()))
    assert found is not None
    assert best is not None
    return [found[counts] for counts in best], is_all


def _stacked(
    kinds: tuple[PieceKind, ...], width_mm: int, height_mm: int, *, every: bool
) -> dict[tuple[int, ...], FlatPattern] | None:
    """Return ways to cut a flat by what is wanted of them; all there are, or None, if ``every`` is asked for."""
    found: dict[tuple[int, ...], FlatPattern] = {}
    for upright in (True, False):
        across = width_mm if upright else height_mm
        along = height_mm if upright else width_mm
        lying = kinds if upright else tuple(map(seen_from_the_side, kinds))
        strips = strip_patterns(lying, across, most=MOST_STRIPS)
        if every:
            if strips is None:
                return None
            all_there_are = _every_stack(strips, along, [kind.count for kind in kinds])
            if all_there_are is None:
                return None
            stacks = all_there_are
        else:
            if strips is None:
                strips = [each for place in range(len(lying)) for each in _of_one(lying, place, across)]
            stacks = _good_stacks(kinds, strips, along)
        for stack in stacks:
            made = FlatPattern(stack, upright)
            found.setdefault(_wanted(made.counts, kinds), made)
    return found


def seen_from_the_side(kind: PieceKind) -> PieceKind:
    """Return the kind as it looks to somebody who cuts strips along a flat."""
    return PieceKind(kind.height_mm, kind.width_mm, kind.may_turn, kind.count, kind.needs)


def stack_worth_most(
    strips: Sequence[tuple[float, Pattern]], room_mm: int
) -> tuple[float, tuple[Pattern, ...]]:
    """Return the worth and the strips, each as often as one likes, that are worth most one after another.

    ``strips`` come with what each is worth.
    """
    best_of: dict[int, tuple[float, Pattern]] = {}
    for worth, strip in strips:
        if worth > best_of.get(strip.along_mm, (0.0, strip))[0]:
            best_of[strip.along_mm] = (worth, strip)

    @cache
    def best(room: int) -> tuple[float, int]:
        """Return the worth of the best stack and the length of its first strip (0: none)."""
        ways = [
            (best(room - along)[0] + worth, along) for along, (worth, _) in best_of.items() if along <= room
        ]
        return max(ways, default=(0.0, 0))

    stack = []
    worth = best(room_mm)[0]
    while first := best(room_mm)[1]:
        stack.append(best_of[first][1])
        room_mm -= first
    return worth, tuple(stack)


def _every_stack(
    strips: Sequence[Pattern], room_mm: int, limits: Sequence[int]
) -> list[tuple[Pattern, ...]] | None:
    """Return for all counts that strips can be stacked to, more than wanted not counted, the shortest stack."""
    none = (0,) * len(limits)
    stacks: dict[tuple[int, ...], tuple[int, tuple[Pattern, ...]]] = {none: (0, ())}
    for strip in strips:
        grown = list(stacks.items())
        while grown:
            longer = []
            for counts, (length, stack) in grown:
                if length + strip.along_mm > room_mm:
                    continue
                together = tuple(map(min, map(sum, zip(counts, strip.counts, strict=True)), limits))
                now = (length + strip.along_mm, (*stack, strip))
                known = stacks.get(together)
                if together != counts and (known is None or now[0] < known[0]):
                    stacks[together] = now
                    longer.append((together, now))
            if len(stacks) > MOST_STACKS:
                return None
            grown = longer
    return [stack for counts, (_, stack) in stacks.items() if counts != none]


def _good_stacks(
    kinds: Sequence[PieceKind], strips: Sequence[Pattern], room_mm: int
) -> list[tuple[Pattern, ...]]:
    areas = np.array([kind.width_mm * kind.height_mm for kind in kinds], dtype=float)
    # Most area; then almost all on one kind, the others fill what is left.
    values = [areas]
    if len(kinds) > 1:
        values += [
            np.where(np.arange(len(kinds)) == place, 1000.0, 1.0) * areas for place in range(len(kinds))
        ]
    stacks = [
        stack_worth_most([(float(value @ strip.counts), strip) for strip in strips], room_mm)[1]
        for value in values
    ]
    return [stack for stack in stacks if stack]


def _wanted(counts: tuple[int, ...], kinds: Sequence[PieceKind]) -> tuple[int, ...]:
    return tuple(min(count, kind.count) for count, kind in zip(counts, kinds, strict=True))


def _best_of_all(counts: list[tuple[int, ...]]) -> list[tuple[int, ...]]:
    """Return the counts of which no other has as many of everything."""
    if len(counts) < 2:
        return counts
    table = np.array(counts)
    kept = []
    for row in table:
        as_good = (table >= row).all(axis=1)
        if as_good.sum() == 1:  # only itself
            kept.append(tuple(int(each) for each in row))
    return kept


def _of_one(kinds: Sequence[PieceKind], place: int, width_mm: int) -> list[Pattern]:
    """Return the strips of one kind alone, in each way it can lie."""
    made = []
    for across, along, turned in kinds[place].ways:
        fit = min(width_mm // across, kinds[place].count)
        if fit:
            counts = tuple(fit if each == place else 0 for each in range(len(kinds)))
            turns = tuple(turned if each == place else False for each in range(len(kinds)))
            made.append(Pattern(along, counts, turns))
    return made
