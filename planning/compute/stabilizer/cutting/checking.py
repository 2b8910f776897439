"""Whether a cut plan can be cut with scissors and ruler, and gives what was ordered."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from planning.compute.stabilizer.cutting.values import CutOrder, CutPiece, CutPlan, CutStock, Rest, SourceCut


@dataclass(frozen=True)
class CutProblem:
    """What is wrong, and with which roll, sheet, offcut or need."""

    where: str
    message: str


def cut_problems(plan: CutPlan, order: CutOrder, stock: CutStock) -> list[CutProblem]:
    """Return all that is wrong with ``plan``; it shares nothing with the way plans are made.

    Inside the roll, nothing over anything else, straight cuts from edge to edge and then across, grain kept, and
    every need met exactly but for what the plan itself calls missing.
    """
    problems = [*_demand(plan, order), *_stock(plan, stock)]
    for cut in plan.sources:
        problems += _strips(cut, order)
        problems += _pieces(cut, order)
        problems += _tiling(cut)
    return problems


def _demand(plan: CutPlan, order: CutOrder) -> Iterator[CutProblem]:
    cut = Counter(piece.need for source in plan.sources for piece in source.pieces)
    for need, wanted in enumerate(order.pieces):
        if cut[need] + plan.missing[need] != wanted.count or plan.missing[need] < 0:
            yield CutProblem(
                f"need {need}", f"{cut[need]} cut, {plan.missing[need]} missing, {wanted.count} wanted"
            )
    for need in cut:
        if not 0 <= need < len(order.pieces):
            yield CutProblem(f"need {need}", "nobody asked for it")


def _stock(plan: CutPlan, stock: CutStock) -> Iterator[CutProblem]:
    rolls = {roll.label: roll for roll in stock.rolls}
    flats = {flat.label: flat for flat in stock.flats}
    used = Counter(source.label for source in plan.sources)
    for cut in plan.sources:
        if cut.is_roll:
            roll = rolls.get(cut.label)
            if roll is None or used[cut.label] > 1 or cut.width_mm != roll.width_mm:
                yield CutProblem(cut.label, "is no such roll, or is cut twice")
            elif cut.height_mm > roll.free_mm:
                yield CutProblem(cut.label, f"{cut.height_mm} mm are cut of {roll.free_mm}")
        else:
            flat = flats.get(cut.label)
            if flat is None or (cut.width_mm, cut.height_mm) != (flat.width_mm, flat.height_mm):
                yield CutProblem(cut.label, "is no such sheet or offcut")
            elif used[cut.label] > flat.count:
                yield CutProblem(cut.label, f"{used[cut.label]} are cut of {flat.count}")


def _strips(cut: SourceCut, order: CutOrder) -> Iterator[CutProblem]:
    edge = order.edge_mm if cut.is_roll else 0
    across = all((s.x_mm, s.width_mm) == (edge, cut.width_mm - 2 * edge) for s in cut.strips)
    along = not cut.is_roll and all((s.y_mm, s.height_mm) == (0, cut.height_mm) for s in cut.strips)
    if not across and not along:
        yield CutProblem(cut.label, "a strip does not run from edge to edge")
        return
    spans = [(s.y_mm, s.height_mm) if across else (s.x_mm, s.width_mm) for s in cut.strips]
    yield from _side_by_side(cut, spans, cut.height_mm if across else cut.width_mm, order.kerf_mm, "strip")


def _pieces(cut: SourceCut, order: CutOrder) -> Iterator[CutProblem]:
    for strip in cut.strips:
        if not strip.pieces:
            yield CutProblem(cut.label, "a strip gives nothing")
        for piece in strip.pieces:
            need = order.pieces[piece.need]
            size = (need.height_mm, need.width_mm) if piece.turned else (need.width_mm, need.height_mm)
            if (piece.width_mm, piece.height_mm) != size:
                yield CutProblem(
                    cut.label, f"a piece is {piece.width_mm} × {piece.height_mm}, not as ordered"
                )
            if piece.turned and not need.may_turn:
                yield CutProblem(cut.label, "a piece lies across the grain")
            if not (
                strip.x_mm <= piece.x_mm
                and piece.x_mm + piece.width_mm <= strip.x_mm + strip.width_mm
                and strip.y_mm <= piece.y_mm
                and piece.y_mm + piece.height_mm <= strip.y_mm + strip.height_mm
            ):
                yield CutProblem(cut.label, f"a piece at {piece.x_mm}, {piece.y_mm} leaves its strip")
        by_x = [(piece.x_mm, piece.width_mm) for piece in strip.pieces]
        by_y = [(piece.y_mm, piece.height_mm) for piece in strip.pieces]
        in_x = list(_side_by_side(cut, by_x, cut.width_mm, order.kerf_mm, "piece"))
        in_y = list(_side_by_side(cut, by_y, cut.height_mm, order.kerf_mm, "piece"))
        # Across a strip from edge to edge the pieces follow each other in x, in one along a flat in y.
        if in_x and (cut.is_roll or in_y):
            yield from in_x


def _side_by_side(
    cut: SourceCut, spans: list[tuple[int, int]], room: int, kerf: int, what: str
) -> Iterator[CutProblem]:
    end = -kerf
    for start, length in sorted(spans):
        if start < end + kerf:
            yield CutProblem(cut.label, f"a {what} at {start} begins before {end + kerf}")
        end = start + length
    if spans and end > room:
        yield CutProblem(cut.label, f"a {what} ends at {end}, beyond {room}")


def _tiling(cut: SourceCut) -> Iterator[CutProblem]:
    """Pieces and rests lie inside and cover nothing twice."""
    covered: list[CutPiece | Rest] = [*cut.pieces, *cut.rests]
    boxes = [
        (each.x_mm, each.y_mm, each.x_mm + each.width_mm, each.y_mm + each.height_mm) for each in covered
    ]
    for at, (left, top, right, bottom) in enumerate(boxes):
        if not (0 <= left < right <= cut.width_mm and 0 <= top < bottom <= cut.height_mm):
            yield CutProblem(cut.label, f"a piece or rest at {left}, {top} lies outside or is empty")
        for other_left, other_top, other_right, other_bottom in boxes[at + 1 :]:
            if left < other_right and other_left < right and top < other_bottom and other_top < bottom:
                yield CutProblem(cut.label, f"something at {left}, {top} lies over another")
