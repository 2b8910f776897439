"""Applique in a plan: which fabric is laid at which stop, and what a person does there."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from inventory.compute.spoken import N_, _
from planning.compute.batch.asked import AskedDesign
from planning.compute.stabilizer.cautions import TRIM
from planning.compute.stitches.applique import COVER, PLACEMENT, TACK_DOWN, AskedApplique
from planning.plan.pins import written_block

# What a person does at each line; the trade's way, no source.
_AT_LINE = {
    PLACEMENT: (
        N_("Placement line"),
        N_("When it is stitched: lay the piece of {fabric} flat over it, beyond it all round."),
    ),
    TACK_DOWN: (
        N_("Tack-down"),
        N_("When it is stitched: trim the fabric close to the stitching, and cut no thread."),
    ),
    COVER: (N_("Cover"), N_("Before it: see that no raw edge shows beyond it.")),
}


def applique_stops(applique: AskedApplique, *, design: int, several: bool) -> list[dict[str, Any]]:
    """Return the lines of an applique in sewing order, each with its block and what a person does there."""
    return _said(applique.stops, fabric=applique.product, design=design, several=several)


def _said(
    stops: Sequence[tuple[str, int, int]], *, fabric: str, design: int, several: bool
) -> list[dict[str, Any]]:
    parts = [block for _role, block, _part in stops]
    found = []
    for role, block, part in stops:
        line, do = _AT_LINE[role]
        place = written_block((design, block), several=several)
        at = _("block {block}, part {part}") if part > 1 or parts.count(block) > 1 else _("block {block}")
        found.append(
            {
                "line": role,
                "block": block,
                "part": part,
                "at": at.format(block=place, part=part),
                "called": _(line),
                "do": _(do).format(fabric=fabric),
            }
        )
    return found


def appliques_said(kept: Iterable[Mapping[str, Any]], *, several: bool) -> list[dict[str, Any]]:
    """Return the appliques of a plan that was kept as data, their lines and cautions in the reader's language."""
    return [
        dict(each)
        | {
            "stops": _said(
                [(stop["line"], stop["block"], stop["part"]) for stop in each["stops"]],
                fabric=each["fabric"],
                design=each["design"],
                several=several,
            ),
            "cautions": [_(caution) for caution in each["cautions"]],
        }
        for each in kept
    ]


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
