"""The whole cut: sheets and offcuts where that saves roll, strips across the rolls for the rest."""

import math
from collections.abc import Sequence

from planning.compute.stabilizer.cutting.columns import priced_patterns
from planning.compute.stabilizer.cutting.laying import lay
from planning.compute.stabilizer.cutting.patterns import (
    Pattern,
    PieceKind,
    flat_patterns,
    kinds_of,
    strip_patterns,
)
from planning.compute.stabilizer.cutting.solving import FlatWays, Width, choose
from planning.compute.stabilizer.cutting.values import CutOrder, CutPlan, CutStock

# Above this the strips that can be cut are not listed but asked for one by one.
MOST_PATTERNS = 20_000


def plan_cut(order: CutOrder, stock: CutStock) -> CutPlan:
    """Return how ``order`` is cut from ``stock``: fewest pieces missing, then least area of roll.

    Sheets and offcuts are used wherever they save roll. Strips run from edge to edge, the pieces lie side by side
    in them: two cuts in a row with scissors and ruler, and a third that trims. With few sizes every strip is
    looked at, so that the plan is the best there is; with many the bound tells how far from it the plan can be.

    >>> from planning.compute.stabilizer.cutting.values import PieceNeed, Roll
    >>> plan = plan_cut(CutOrder((PieceNeed(180, 240, 10),)), CutStock((Roll("R1", 500, 20_000),)))
    >>> plan.roll_mm, plan.is_proven
    (900, True)
    """
    kinds = kinds_of(order)
    if not kinds:
        return CutPlan((), (0,) * len(order.pieces), 0.0, 0, 0, True)
    widths, every_strip, priced_bound_mm2 = _widths(order, stock, kinds)
    flats = _flats(order, stock, kinds)
    chosen = choose(kinds, widths, flats)
    sources, wanted = lay(order, stock, kinds, chosen)
    missing = [0] * len(order.pieces)
    for left in wanted.left:
        for need in left:
            missing[need] += 1
    areas = [kind.width_mm * kind.height_mm for kind in kinds]
    from_flats = sum(
        (piece.width_mm + order.kerf_mm) * (piece.height_mm + order.kerf_mm)
        for each in sources
        if not each.is_roll
        for piece in each.pieces
    )
    asked = sum(area * kind.count for area, kind in zip(areas, kinds, strict=True))
    lacking = sum(areas[place] * len(left) for place, left in enumerate(wanted.left))
    area_bound = float(max(0, asked - lacking - from_flats))
    if every_strip and not flats:
        bound = max(chosen.bound_mm2, area_bound)
    elif not every_strip and not flats and not any(missing):
        bound = max(priced_bound_mm2, area_bound)
    else:
        bound = max(chosen.bound_mm2 if every_strip else 0.0, 0.0 if flats else area_bound)
    widest = max((width.width_mm - order.kerf_mm for width in widths), default=0)
    roll_mm2 = sum(
        each.roll_mm * (each.width_mm - 2 * order.edge_mm + order.kerf_mm) for each in sources if each.is_roll
    )
    full = widest + order.kerf_mm
    return CutPlan(
        sources=tuple(sources),
        missing=tuple(missing),
        bound_mm2=bound,
        bound_mm=_whole_mm(bound, full),
        area_bound_mm=_whole_mm(area_bound, full),
        is_proven=roll_mm2 <= bound + 0.5 or (len(widths) == 1 and _whole_mm(bound, full) * full >= roll_mm2),
    )


def _whole_mm(area_mm2: float, width_mm: int) -> int:
    return math.ceil(area_mm2 / width_mm - 1e-6) if width_mm else 0


def _widths(order: CutOrder, stock: CutStock, kinds: Sequence[PieceKind]) -> tuple[list[Width], bool, float]:
    """Return the rolls by usable width with their strips, if those are all there are, and a bound on their area."""
    by_width: dict[int, list[int]] = {}
    for number, roll in enumerate(stock.rolls):
        usable = roll.width_mm - 2 * order.edge_mm + order.kerf_mm
        if usable > 0:
            by_width.setdefault(usable, []).append(number)
    widths = []
    every_strip = True
    bounds = []
    for usable, rolls in by_width.items():
        free = tuple(stock.rolls[number].free_mm for number in rolls)
        patterns: list[Pattern] | None = strip_patterns(kinds, usable, most=MOST_PATTERNS)
        if patterns is None:
            every_strip = False
            patterns, length = priced_patterns(kinds, usable)
            bounds.append(length * usable)
        patterns = [each for each in patterns if each.along_mm <= max(free)]
        if patterns:
            widths.append(Width(usable, tuple(rolls), free, tuple(patterns)))
    return widths, every_strip, bounds[0] if len(bounds) == len(by_width) == 1 else 0.0


def _flats(order: CutOrder, stock: CutStock, kinds: tuple[PieceKind, ...]) -> list[FlatWays]:
    ways = []
    known: dict[tuple[int, int], list] = {}
    for number, flat in enumerate(stock.flats):
        size = (flat.width_mm + order.kerf_mm, flat.height_mm + order.kerf_mm)
        if size not in known:
            known[size] = flat_patterns(kinds, *size)
        if known[size] and flat.count:
            ways.append(FlatWays(number, flat.count, tuple(known[size])))
    return ways
