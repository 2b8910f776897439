"""How jobs' stabilizer is cut, posted, and what was posted of it before."""

import hashlib
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from inventory.acting import fingerprint_of, planned_act, refuse_if_changed
from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _
from inventory.ledger import entries_of, release
from inventory.models import Entry, Offcut, Reservation, StockItem
from inventory.shelf.cut_lists import CutListed, Taken, cut_list
from inventory.shelf.labelled import item_labelled
from planning.compute.batch.plan import worst_verdict
from planning.compute.stabilizer.cautions import each_once
from planning.compute.stabilizer.cutting import CutPlan, PieceNeed, SourceCut
from planning.compute.stabilizer.cutting.ruler import ruler_marks
from planning.compute.stabilizer.layers import only_hoopings
from planning.compute.stabilizer.leftover import Comparison, compare_apart
from planning.compute.stabilizer.supply import LayerPlan, plan_layers_together
from planning.facts.layers import losses_of
from planning.jobs.asked import AskedByJobs, recipe_notes_of
from planning.models import Job, JobCut
from planning.plan.ask import layers_asked
from planning.plan.shelf import set_aside_for, stabilizer_stock

STABILIZER = (StockItem.Kind.ROLL, StockItem.Kind.SHEETS, StockItem.Kind.OFFCUT)


@dataclass(frozen=True)
class NeedRow:
    """One need of a product's cut: what it is for, and how much of it nothing is left for."""

    layer: LayerPlan
    piece: PieceNeed
    missing: int


@dataclass(frozen=True)
class ProductCut:
    """One product's cut, with what each of its needs is for."""

    product: str
    layers: tuple[LayerPlan, ...]
    plan: CutPlan
    needs: tuple[NeedRow, ...]

    @property
    def cautions(self) -> tuple[str, ...]:
        """What to mind with the layers that are cut of it, each once."""
        return each_once(layer.cautions for layer in self.layers)

    @property
    def need_names(self) -> tuple[str, ...]:
        return tuple(row.piece.label for row in self.needs)


@dataclass(frozen=True)
class JobsCut:
    """How the stabilizer of one job or several is cut together; ``layers`` are those of each job in turn.

    ``comparison`` with cutting them one after another is None for a single job.
    """

    jobs: tuple[Job, ...]
    hoopings: tuple[int, ...]
    layers: tuple[tuple[LayerPlan, ...], ...]
    comparison: Comparison | None
    notes: tuple[str, ...] = ()
    # What is set aside for these jobs, by the id of the item: it is there for them.
    own: Mapping[int, int] = field(default_factory=dict)

    @property
    def every_layer(self) -> tuple[LayerPlan, ...]:
        return tuple(layer for layers in self.layers for layer in layers)

    @property
    def cuts(self) -> tuple[ProductCut, ...]:
        return cuts_of(self.every_layer)

    @property
    def verdict(self) -> str:
        return cut_verdict(self.every_layer)

    @property
    def lacking(self) -> tuple[LayerPlan, ...]:
        """Layers of which it is known what they are taken of, and that there is not enough of it."""
        return tuple(layer for layer in self.every_layer if layer.product and _lacks(layer))

    @property
    def unplanned(self) -> tuple[LayerPlan, ...]:
        """Layers of which nothing is on the shelf, or that no hoop gives a size."""
        return tuple(layer for layer in self.every_layer if not layer.is_planned)


def _lacks(layer: LayerPlan) -> bool:
    return bool(layer.missing_pieces or (layer.spray and layer.spray.missing_mg))


def jobs_to_cut(numbers: Sequence[int]) -> list[Job]:
    """Return the jobs with these numbers, in their order and each once. Raises WorkshopError for one that is not."""
    found = {job.pk: job for job in Job.objects.filter(pk__in=numbers).with_everything()}
    for number in numbers:
        if number not in found:
            said = _("There is no job {number}. The page Jobs lists them with their numbers.")
            raise WorkshopError(said.format(number=number))
    return [found[number] for number in dict.fromkeys(numbers)]


def plan_cuts(jobs: Sequence[Job], *, hoopings: Mapping[int, int] | None = None) -> JobsCut:
    """Return how the stabilizer of ``jobs`` (as ``jobs_to_cut`` gives them) is cut of the shelf as it stands.

    ``hoopings`` says for a job, by its number, that so many of its hoopings are meant, and no more.
    """
    meant = hoopings or {}
    asked_by = AskedByJobs(jobs)
    asked = [asked_by.of(job) for job in jobs]
    several = len(jobs) > 1
    names = [f"job {job.pk}" if several else "" for job in jobs]
    wanted = [
        only_hoopings(layers_asked(each, name=name), meant.get(job.pk))
        for job, each, name in zip(jobs, asked, names, strict=True)
    ]
    own = set_aside_for(*(job.holder for job in jobs))
    stock = stabilizer_stock(own=own)
    losses = losses_of(asked_by.facts.rules)
    together = plan_layers_together(wanted, stock, losses=losses)
    return JobsCut(
        jobs=tuple(jobs),
        hoopings=tuple(each.hoopings for each in wanted),
        layers=together,
        comparison=compare_apart(wanted, stock, together, losses=losses) if several else None,
        notes=tuple(dict.fromkeys(note for each in asked for note in recipe_notes_of(each))),
        own=own,
    )


def cuts_of(layers: Sequence[LayerPlan]) -> tuple[ProductCut, ...]:
    """Return the cut of each product that layers are cut from."""
    by_product: dict[int, list[LayerPlan]] = {}
    for layer in layers:
        if layer.cut is not None:
            by_product.setdefault(layer.product_id, []).append(layer)
    found = []
    for own in by_product.values():
        whole = own[0].cut
        assert whole is not None  # filtered above
        plan, order = whole.product_cut, whole.order
        of_need = {need: layer for layer in own if layer.cut for need in layer.cut.needs}
        rows = tuple(NeedRow(of_need[at], piece, plan.missing[at]) for at, piece in enumerate(order.pieces))
        found.append(ProductCut(own[0].product, tuple(own), plan, rows))
    return tuple(found)


def cut_verdict(layers: Sequence[LayerPlan]) -> str:
    """Return the worst verdict of the layers; without any layer there is enough."""
    return worst_verdict(layer.verdict for layer in layers)


def cut_as_data(cut: JobsCut) -> dict[str, Any]:
    """Return a cut as JSON-ready data: whole mm, x across the roll and y along it from its free end."""
    first = cut.jobs[0]
    return {
        "job": first.pk,
        "what": first.what,
        "jobs": [
            {"job": job.pk, "what": job.what, "hoopings": hoopings, "verdict": cut_verdict(layers)}
            for job, hoopings, layers in zip(cut.jobs, cut.hoopings, cut.layers, strict=True)
        ],
        "verdict": cut.verdict,
        "cuts": [_product_as_data(each) for each in cut.cuts],
        "not_on_the_shelf": [layer.kind for layer in cut.unplanned],
        "notes": list(cut.notes),
        "apart": None
        if cut.comparison is None
        else {
            "roll_mm2": cut.comparison.apart_mm2,
            "together_mm2": cut.comparison.together_mm2,
            "saved_mm2": cut.comparison.saved_mm2,
            "pays": cut.comparison.pays,
        },
    }


def _product_as_data(cut: ProductCut) -> dict[str, Any]:
    plan = cut.plan
    return {
        "product": cut.product,
        "cautions": list(cut.cautions),
        "layers": [
            {
                "layer": row.piece.label,
                "job": row.layer.job,
                "pieces": row.piece.count,
                "piece_mm": [row.piece.width_mm, row.piece.height_mm],
                "missing": row.missing,
            }
            for row in cut.needs
        ],
        "roll_mm": plan.roll_mm,
        "bound_mm": plan.bound_mm,
        "is_proven": plan.is_proven,
        "proof": str(plan.proof),
        "waste_mm2": plan.waste_mm2,
        "sources": [_source_as_data(source, cut) for source in plan.sources],
    }


def _source_as_data(source: SourceCut, cut: ProductCut) -> dict[str, Any]:
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
                        "layer": cut.need_names[piece.need],
                        "job": cut.needs[piece.need].layer.job,
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
    return fingerprint_of(_parts(cuts))


def _parts(cuts: Sequence[ProductCut]) -> dict[str, Any]:
    """Return what a person cuts by, named as a sentence says it."""
    data = [_product_as_data(cut) for cut in cuts]
    return {
        _("the pieces that are wanted"): [(cut["product"], cut["layers"]) for cut in data],
        _("what they are cut from"): [[source["label"] for source in cut["sources"]] for cut in data],
        _("where the cuts lie"): [(cut["roll_mm"], cut["sources"]) for cut in data],
    }


def taken_mm(source: SourceCut, *, free_mm: int, unit: str, kerf_mm: int = 0) -> int:
    """Return the length that comes off a roll when it is marked in ``unit``: in inches a little more."""
    if unit != "in":
        return source.roll_mm
    lengths = [strip.height_mm for strip in source.strips]
    marks = ruler_marks(lengths, room_mm=free_mm, unit=unit, kerf_mm=kerf_mm)
    return max(source.roll_mm, marks.end_mm)


@planned_act
def post_cut(
    jobs: Sequence[Job],
    *,
    shown: str | None,
    key: str,
    at: datetime,
    by: Any,
    unit: str = "cm",
    kerf_mm: int = 0,
    hoopings: Mapping[int, int] | None = None,
) -> CutListed:
    """Return what cutting the stabilizer of ``jobs`` did, in one act, planned anew from what is there now.

    What each job got of it is kept, so that its plan does not ask for it again; taking the act back asks again.
    Sent again under the same key it moves nothing and answers with what it did. ``shown`` is the fingerprint of the
    cut that a person saw: PlanHasChanged if it is another by now; None cuts whatever it is.
    ``hoopings`` as ``plan_cuts`` takes them.
    """
    key = _key(jobs, key)
    done = entries_of(key)
    if done:
        # Taking from the shelf has changed what would be cut now: that is no reason to refuse a second click.
        cut_from = {each.item_id for each in done if each.quantity < 0}
        offcuts = Offcut.objects.filter(pk__in=[each.item_id for each in done]).exclude(pk__in=cut_from)
        return CutListed(tuple(done), tuple(offcuts))
    cut = plan_cuts(jobs_to_cut([job.pk for job in jobs]), hoopings=hoopings)
    cuts = cut.cuts
    if shown is not None:
        refuse_if_changed(shown, _parts(cuts), look=_("Look at the sheet as it is now, then cut."))
    first, *more = cut.jobs
    numbers = ", ".join(str(job.pk) for job in cut.jobs)
    reference = f"jobs {numbers}" if more else f"job {first.pk}: {first.what}"
    takes = _takes(cuts, unit, kerf_mm, cut.own)
    # What was set aside for the jobs is what is cut now.
    holders = [job.holder for job in cut.jobs]
    release(list(Reservation.objects.filter(holder__in=holders, item__kind__in=STABILIZER)))
    posted = cut_list(takes, key=key, at=at, by=by, reference=reference[:120])
    for job, layers in zip(cut.jobs, cut.layers, strict=True):
        pieces = _pieces_got(layers)
        if pieces:
            JobCut.objects.create(job=job, key=key, pieces=pieces)
    return posted


def _takes(cuts: Sequence[ProductCut], unit: str, kerf_mm: int, own: Mapping[int, int]) -> list[Taken]:
    sources = [source for cut in cuts for source in cut.plan.sources]
    sheets = Counter(source.label for source in sources if not source.is_roll)
    takes = []
    for label in dict.fromkeys(source.label for source in sources):
        cut_of = [source for source in sources if source.label == label]
        item = item_labelled(label)
        keep = tuple((rest.width_mm, rest.height_mm) for source in cut_of for rest in source.useful_rests)
        room_mm = item.free + own.get(item.pk, 0)
        quantity = sheets[label] or taken_mm(cut_of[0], free_mm=room_mm, unit=unit, kerf_mm=kerf_mm)
        takes.append(Taken(item, quantity, keep, strips=max(1, len(cut_of[0].strips))))
    return takes


def _pieces_got(layers: Sequence[LayerPlan]) -> list[dict[str, Any]]:
    return [
        {
            "layer": layer.name,
            "kind": layer.kind,
            "method": layer.method,
            "product": layer.product,
            "product_id": layer.product_id,
            "width_mm": layer.piece_mm[0],
            "height_mm": layer.piece_mm[1],
            "count": layer.cut.pieces - layer.cut.missing,
        }
        for layer in layers
        if layer.cut and layer.cut.pieces > layer.cut.missing
    ]


def cuts_posted(*jobs: Job) -> list[Entry]:
    """Return the first entry of each cut that was posted for ``jobs`` and not taken back, newest first."""
    keys = JobCut.objects.filter(job__in=[job.pk for job in jobs]).values("key")
    entries = (
        Entry.objects.filter(key__in=keys, reason=Entry.Reason.CUT, line=0)
        .filter(reversed_by__isnull=True)
        .select_related("by")
    )
    return list(entries.order_by("-id"))


def _key(jobs: Sequence[Job], key: str) -> str:
    numbers = "-".join(str(job.pk) for job in jobs)
    return f"cut-{hashlib.sha256(numbers.encode()).hexdigest()[:12]}-{key}"
