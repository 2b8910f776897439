"""Applique in a plan: which fabric is laid at which stop, and what a person does there."""

from collections.abc import Sequence
from typing import Any

from planning.compute.batch.asked import AskedDesign
from planning.compute.stabilizer.cautions import TRIM
from planning.compute.stitches.applique import COVER, PLACEMENT, TACK_DOWN, AskedApplique
from planning.plan.pins import written_block

# What a person does at each line; the trade's way, no source.
_AT_LINE = {
    PLACEMENT: (
        "Placement line",
        "When it is stitched: lay the piece of {fabric} flat over it, beyond it all round.",
    ),
    TACK_DOWN: (
        "Tack-down",
        "When it is stitched: trim the fabric close to the stitching, and cut no thread.",
    ),
    COVER: ("Cover", "Before it: see that no raw edge shows beyond it."),
}


def applique_stops(applique: AskedApplique, *, design: int, several: bool) -> list[dict[str, Any]]:
    """Return the lines of an applique in sewing order, each with its block and what a person does there."""
    parts = [block for _, block, _ in applique.stops]
    found = []
    for role, block, part in applique.stops:
        line, do = _AT_LINE[role]
        place = written_block((design, block), several=several)
        found.append(
            {
                "line": role,
                "block": block,
                "part": part,
                "at": f"block {place}{f', part {part}' if part > 1 or parts.count(block) > 1 else ''}",
                "called": line,
                "do": do.format(fabric=applique.product),
            }
        )
    return found


def appliques_as_data(designs: Sequence[AskedDesign]) -> list[dict[str, Any]]:
    """Return every applique of a plan's designs, with its piece as it lies and its lines."""
    return [
        {
            "design": number,
            "name": each.name,
            "fabric": each.product,
            "piece_mm": list(each.piece_mm(design.placement)),
            "count": each.count,
            "stops": applique_stops(each, several=len(designs) > 1, design=number),
            "cautions": [TRIM],
        }
        for number, design in enumerate(designs)
        for each in design.appliques
    ]
