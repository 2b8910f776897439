"""How a job's stabilizer is cut, posted, and what was posted of it before."""

import hashlib
import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from inventory.compute.errors import WorkshopError
from inventory.cut_lists import CutListed, Taken, cut_list
from inventory.labelled import item_labelled
from inventory.ledger import entries_of
from inventory.models import Entry, Offcut
from planning.compute.batch import VERDICTS, BatchPlan
from planning.compute.cutting import CutPlan, SourceCut
from planning.compute.cutting.ruler import ruler_marks
from planning.compute.stabilizing import LayerPlan
from planning.models import Job


class ShelfHasChanged(WorkshopError):
    """What would be cut now is not what the person was shown."""


@dataclass(frozen=True)
class ProductCut:
    """One product's cut for a job: ``layers`` in the order of the cut's needs."""

    product: str
    layers: tuple[LayerPlan, ...]
    plan: CutPlan

    @property
    def layer_names(self) -> tuple[str, ...]:
        return tuple(f"{layer.kind}, {layer.method}" for layer in self.layers)


def cuts_of(plan: BatchPlan) -> tuple[ProductCut, ...]:
    """Return the cut of each product that the layers of a plan are cut from."""
    by_product: dict[str, list[LayerPlan]] = {}
    for layer in plan.stabilizer:
        if layer.cut is not None:
            by_product.setdefault(layer.product, []).append(layer)
    return tuple(
        ProductCut(product, tuple(layers), layers[0].cut.product_cut)
        for product, layers in by_product.items()
        if layers[0].cut is not None
    )


def cut_verdict(plan: BatchPlan) -> str:
    """Return the worst verdict of a plan's layers; without any layer there is enough."""
    return max((layer.verdict for layer in plan.stabilizer), key=VERDICTS.index, default="enough")


def cut_as_data(job: Job, plan: BatchPlan) -> dict[str, Any]:
    """Return a job's cut as JSON-ready data: whole mm, x across the roll and y along it from its free end."""
    return {
        "job": job.pk,
        "what": job.what,
        "verdict": cut_verdict(plan),
        "cuts": [_product_as_data(cut) for cut in cuts_of(plan)],
        "not_on_the_shelf": [layer.kind for layer in plan.stabilizer if layer.cut is None],
    }


def _product_as_data(cut: ProductCut) -> dict[str, Any]:
    plan = cut.plan
    return {
        "product": cut.product,
        "layers": [
            {"layer": name, "pieces": layer.pieces, "piece_mm": list(layer.piece_mm), "missing": missing}
            for name, layer, missing in zip(cut.layer_names, cut.layers, plan.missing, strict=True)
        ],
        "roll_mm": plan.roll_mm,
        "bound_mm": plan.bound_mm,
        "is_proven": plan.is_proven,
        "waste_mm2": plan.waste_mm2,
        "sources": [_source_as_data(source, cut.layer_names) for source in plan.sources],
    }


def _source_as_data(source: SourceCut, layers: Sequence[str]) -> dict[str, Any]:
    return {
        "label": source.label,
        "from": "roll" if source.is_roll else "sheet or offcut",
        "width_mm": source.width_mm,
        "length_mm": source.height_mm,
        "strips": [
            {
                "strip": number,
                "x_mm": strip.x_mm,
                "y_mm": strip.y_mm,
                "width_mm": strip.width_mm,
                "length_mm": strip.height_mm,
                "pieces": [
                    {
                        "layer": layers[piece.need],
                        "x_mm": piece.x_mm,
                        "y_mm": piece.y_mm,
                        "width_mm": piece.width_mm,
                        "length_mm": piece.height_mm,
                        "turned": piece.turned,
                    }
                    for piece in strip.pieces
                ],
            }
            for number, strip in enumerate(source.strips, 1)
        ],
        "offcuts": [
            {
                "x_mm": rest.x_mm,
                "y_mm": rest.y_mm,
                "width_mm": rest.width_mm,
                "length_mm": rest.height_mm,
            }
            for rest in source.useful_rests
        ],
    }


def fingerprint(cuts: Sequence[ProductCut]) -> str:
    """Return a few letters that change when anything of a cut does: the page sends them back when it is posted."""
    data = [_product_as_data(cut) for cut in cuts]
    return hashlib.sha256(json.dumps(data, sort_keys=True).encode()).hexdigest()[:20]


def taken_mm(source: SourceCut, *, free_mm: int, unit: str) -> int:
    """Return the length that comes off a roll when it is marked in ``unit``: in inches a little more."""
    if unit != "in":
        return source.roll_mm
    marks = ruler_marks([strip.height_mm for strip in source.strips], room_mm=free_mm, unit=unit)
    return max(source.roll_mm, marks.end_mm)


def post_cut(
    job: Job, cuts: Sequence[ProductCut], *, shown: str, key: str, at: datetime, by: Any, unit: str = "cm"
) -> CutListed:
    """Return what cutting the job's stabilizer as ``shown`` (its fingerprint) did, in one act.

    Sent again under the same key it moves nothing and answers with what it did. Raises ShelfHasChanged if the
    cut is no longer the one that was shown.
    """
    key = f"{_key(job)}{key}"
    done = entries_of(key)
    if done:
        # Taking from the shelf has changed what would be cut now: that is no reason to refuse a second click.
        cut_from = {each.item_id for each in done if each.quantity < 0}
        offcuts = Offcut.objects.filter(pk__in=[each.item_id for each in done]).exclude(pk__in=cut_from)
        return CutListed(tuple(done), tuple(offcuts))
    if shown != fingerprint(cuts):
        raise ShelfHasChanged(
            "The shelf or the job has changed since this sheet was shown, and nothing was taken. "
            "Look at the sheet as it is now, then cut."
        )
    reference = f"job {job.pk}: {job.what}"[:120]
    return cut_list(_takes(cuts, unit), key=key, at=at, by=by, reference=reference)


def _takes(cuts: Sequence[ProductCut], unit: str) -> list[Taken]:
    sources = [source for cut in cuts for source in cut.plan.sources]
    sheets = Counter(source.label for source in sources if not source.is_roll)
    takes = []
    for label in dict.fromkeys(source.label for source in sources):
        own = [source for source in sources if source.label == label]
        item = item_labelled(label)
        keep = tuple((rest.width_mm, rest.height_mm) for source in own for rest in source.useful_rests)
        quantity = sheets[label] or taken_mm(own[0], free_mm=item.free, unit=unit)
        takes.append(Taken(item, quantity, keep))
    return takes


def cuts_posted(job: Job) -> list[Entry]:
    """Return the first entry of each cut that was posted for ``job`` and not taken back, newest first."""
    entries = (
        Entry.objects.filter(key__startswith=_key(job), reason=Entry.Reason.CUT, line=0)
        .filter(reversed_by__isnull=True)
        .select_related("by")
    )
    return list(entries.order_by("-id"))


def _key(job: Job) -> str:
    return f"cut-job-{job.pk}-"
