"""The whole cut: sheets and offcuts where that saves roll, strips across the rolls for the rest."""

import math
from dataclasses import replace

from planning.compute.search.proof import Proof, SecondsLeft, proof_of
from planning.compute.stabilizer.cutting.columns import ListedPatterns, price
from planning.compute.stabilizer.cutting.flats import flat_patterns
from planning.compute.stabilizer.cutting.laying import lay
from planning.compute.stabilizer.cutting.patterns import PieceKind, kinds_of, strip_patterns
from planning.compute.stabilizer.cutting.solving import FlatWays, Width, choose
from planning.compute.stabilizer.cutting.values import CutOrder, CutPlan, CutStock, Flat

# Above this the strips that can be cut are not listed but asked for one by one.
# Beside sheets and offcuts sooner, for what costs no roll cannot be told from what costs little.
MOST_PATTERNS, MOST_BESIDE_FLATS = 20_000, 1_000


def plan_cut(order: CutOrder, stock: CutStock, *, seconds_left: SecondsLeft = None) -> CutPlan:
    """Return how ``order`` is cut from ``stock``: fewest pieces missing, then least area of roll.

    Sheets and offcuts are used wherever they save roll. Strips run from edge to edge, the pieces lie side by side
    in them: two cuts in a row with scissors and ruler, and a third that trims. With few sizes every strip and every
    way to cut a flat is looked at, so that the plan is the least there is; with many the bound tells how far from it
    the plan can be. Leave to turn pieces never costs roll: keeping them upright is tried too where that is not sure.

    >>> from planning.compute.stabilizer.cutting.values import PieceNeed, Roll
    >>> plan = plan_cut(CutOrder((PieceNeed(180, 240, 10),)), CutStock((Roll("R1", 500, 20_000),)))
    >>> plan.roll_mm, str(plan.proof)
    (900, 'least')
    """
    plan = _plan_as_told(order, stock, seconds_left)
    if plan.proof is Proof.LEAST or not any(piece.may_turn for piece in order.pieces):
        return plan
    kept_upright = replace(order, pieces=tuple(replace(piece, may_turn=False) for piece in order.pieces))
    upright = _plan_as_told(kept_upright, stock, seconds_left)

    def rank(each: CutPlan) -> tuple[int, int]:
        return sum(each.missing), _roll_mm2(each, order)

    if rank(upright) >= rank(plan):
        return plan
    taken = rank(upright)[1]
    bound = 0.0 if any(upright.missing) else min(plan.bound_mm2, float(taken))
    is_least = not any(upright.missing) and taken <= bound + 0.5
    return replace(
        upright,
        bound_mm2=bound,
        bound_mm=plan.bound_mm if bound else 0,
        area_bound_mm=plan.area_bound_mm if not any(plan.missing) else upright.area_bound_mm,
        proof=Proof.LEAST if is_least else plan.proof,
    )


def _plan_as_told(order: CutOrder, stock: CutStock, seconds_left: SecondsLeft) -> CutPlan:
    kinds = kinds_of(order)
    if not kinds:
        return CutPlan((), (0,) * len(order.pieces), 0.0, 0, 0, Proof.LEAST)
    widths, flats, is_all, priced_mm2 = _ways(order, stock, kinds)
    chosen = choose(kinds, widths, flats, seconds_left=seconds_left)
    sources, wanted = lay(order, stock, kinds, chosen)
    missing = [0] * len(order.pieces)
    for left in wanted.left:
        for need in left:
            missing[need] += 1
    areas = [kind.width_mm * kind.height_mm for kind in kinds]
    asked = sum(area * kind.count for area, kind in zip(areas, kinds, strict=True))
    lacking = sum(areas[place] * len(left) for place, left in enumerate(wanted.left))
    # What the flats give is for free, at most all that they are.
    given = sum(flat.count * flat.width_mm * flat.height_mm for flat in _with_kerf(order, stock))
    area_bound = float(max(0, asked - lacking - given))
    found = chosen.bound_mm2 if is_all else 0.0 if any(missing) else priced_mm2
    bound = max(found, area_bound)
    widest = max((width.width_mm - order.kerf_mm for width in widths), default=0)
    full = widest + order.kerf_mm
    plan = CutPlan(
        sources=tuple(sources),
        missing=tuple(missing),
        bound_mm2=bound,
        bound_mm=_whole_mm(bound, full),
        area_bound_mm=_whole_mm(area_bound, full),
        proof=Proof.BEST_SEEN,
    )
    taken = _roll_mm2(plan, order)
    # Where pieces are missing, the bound is of plans that miss as many.
    misses_least = not any(missing) or (is_all and chosen.misses_least)
    is_least = taken <= bound + 0.5 or (len(widths) == 1 and plan.bound_mm * full >= taken)
    return replace(
        plan,
        proof=proof_of(
            is_least=misses_least and is_least,
            was_cut_short=seconds_left is not None and seconds_left() <= 0,
        ),
    )


def _roll_mm2(plan: CutPlan, order: CutOrder) -> int:
    """Return the area of roll that a plan takes, without trimmed edges and with a kerf at the last piece."""
    return sum(each.roll_mm * (each.width_mm - 2 * order.edge_mm + order.kerf_mm) for each in plan.rolls)


def _whole_mm(area_mm2: float, width_mm: int) -> int:
    return math.ceil(area_mm2 / width_mm - 1e-6) if width_mm else 0


def _ways(
    order: CutOrder, stock: CutStock, kinds: tuple[PieceKind, ...]
) -> tuple[list[Width], list[FlatWays], bool, float]:
    """Return the strips of each roll, the ways to cut each flat, if those are all there are, and else a bound."""
    by_width: dict[int, list[int]] = {}
    for number, roll in enumerate(stock.rolls):
        usable = roll.width_mm - 2 * order.edge_mm + order.kerf_mm
        if usable > 0:
            by_width.setdefault(usable, []).append(number)
    flats = _with_kerf(order, stock)
    most = MOST_BESIDE_FLATS if flats else MOST_PATTERNS
    strips = {usable: strip_patterns(kinds, usable, most=most) for usable in by_width}
    known = {
        size: flat_patterns(kinds, *size) for size in {(each.width_mm, each.height_mm) for each in flats}
    }
    ways = [known[each.width_mm, each.height_mm] for each in flats]
    unlisted = [usable for usable, every in strips.items() if every is None]
    is_all = not unlisted and all(is_every for _, is_every in ways)
    listed = ListedPatterns(
        {usable: list(every or ()) for usable, every in strips.items()},
        [(each.width_mm, each.height_mm, each.count) for each in flats],
        [list(some) for some, _ in ways],
    )
    bound = 0.0 if is_all else price(kinds, listed, unlisted=unlisted)
    widths = []
    for usable, rolls in by_width.items():
        free = tuple(stock.rolls[number].free_mm for number in rolls)
        patterns = tuple(each for each in listed.strips[usable] if each.along_mm <= max(free))
        if patterns:
            widths.append(Width(usable, tuple(rolls), free, patterns))
    numbers = [number for number, flat in enumerate(stock.flats) if flat.count]
    cut = [
        FlatWays(number, flat.count, tuple(some))
        for number, flat, some in zip(numbers, flats, listed.ways, strict=True)
        if some
    ]
    return widths, cut, is_all, bound


def _with_kerf(order: CutOrder, stock: CutStock) -> list[Flat]:
    """Return the sheets and offcuts that there are, with a kerf added to both sides as the pieces have it."""
    kerf = order.kerf_mm
    return [
        replace(flat, width_mm=flat.width_mm + kerf, height_mm=flat.height_mm + kerf)
        for flat in stock.flats
        if flat.count
    ]
