"""The stabilizer of a run: what the hoopings that were ticked took, beyond what was cut for them before."""

from collections import Counter
from dataclasses import dataclass

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import N_
from planning.cutting.cuts import JobsCut, plan_cuts
from planning.jobs.asked import pieces_cut_of
from planning.models import Job
from planning.run.standing import Run
from planning.run.told import Told


@dataclass(frozen=True)
class LayerUse:
    """One layer of a run, in pieces: planned for the whole job, used by what was ticked, and cut before."""

    layer: str
    product: str
    planned: int
    used: int
    cut_before: int

    @property
    def left_over(self) -> int:
        """Pieces that were cut and that nothing was stitched on."""
        return max(0, self.cut_before - self.used)


@dataclass(frozen=True)
class StabilizerUse:
    """What a run used of each layer, how the part not cut yet is taken of the shelf, and why some cannot be."""

    layers: tuple[LayerUse, ...] = ()
    cut: JobsCut | None = None
    problems: tuple[str, ...] = ()

    @property
    def offcuts(self) -> list[tuple[str, int, int]]:
        """What comes off and is worth keeping: the label it is cut of, its width, and its height along the roll."""
        return [
            (source.label, rest.width_mm, rest.height_mm)
            for product in (self.cut.cuts if self.cut else ())
            for source in product.plan.sources
            for rest in source.useful_rests
        ]

    @property
    def sprayed(self) -> list[tuple[str, str, int]]:
        """What is taken of cans: product, label, and mg."""
        found: Counter[tuple[str, str]] = Counter()
        for layer in self.cut.every_layer if self.cut else ():
            for label, mg in layer.spray.takes if layer.spray else ():
                found[layer.product, label] += mg
        return [(product, label, mg) for (product, label), mg in found.items()]

    @property
    def taken(self) -> list[tuple[str, str, int, bool]]:
        """What is taken: product, label, mm of a roll or sheets, and whether it is a roll."""
        found: Counter[tuple[str, str, bool]] = Counter()
        for product in self.cut.cuts if self.cut else ():
            for source in product.plan.sources:
                found[product.product, source.label, source.is_roll] += (
                    source.roll_mm if source.is_roll else 1
                )
        return [(product, label, quantity, is_roll) for (product, label, is_roll), quantity in found.items()]


def hoopings_ticked(run: Run) -> int:
    """Return how many hoopings the pieces that were ticked took, each with as many copies as were planned."""
    answer = run.promise.answer
    copies = max(1, answer.get("copies_per_hooping") or 1)
    all_loads = -(-run.promise.to_stitch // copies)
    loads = -(-len(run.done) // copies)
    return -(-answer["hoopings"] * loads // all_loads) if all_loads else 0


def stabilizer_use(run: Run) -> StabilizerUse:
    """Return what of stabilizer the run used by what was ticked, and how the rest of it is taken of the shelf."""
    job = Job.objects.with_everything().get(pk=run.job.pk)
    planned = run.promise.answer["stabilizer"]
    if not planned:
        return StabilizerUse()
    hoopings = hoopings_ticked(run)
    try:
        cut = plan_cuts([job], hoopings={job.pk: hoopings})
    except WorkshopError as problem:
        why = Told(N_("No stabilizer was taken: {problem}"), problem=problem)
        return StabilizerUse(problems=(why,))
    cut_for_layer: Counter[tuple[str, str]] = Counter()
    for each in pieces_cut_of([job]).get(job.pk, ()):
        cut_for_layer[each.kind, each.method] += each.count
    layers: list[LayerUse] = []
    problems: list[str] = []
    for layer in cut.every_layer:
        before = layer.cut_before
        extra = max(0, cut_for_layer[layer.kind, layer.method] - before)
        cut_for_layer[layer.kind, layer.method] -= before + extra
        missing = layer.missing_pieces
        layers.append(
            LayerUse(
                layer=f"{layer.kind}, {layer.words or layer.method}",
                product=layer.product,
                planned=_planned_pieces(planned, layer.kind, layer.words),
                used=layer.pieces + before,
                cut_before=before + extra,
            )
        )
        if missing:
            problems.append(
                Told(
                    N_("{missing} of {pieces} pieces of {layer}: the shelf has nothing to cut them of."),
                    missing=missing,
                    pieces=layer.pieces,
                    layer=layers[-1].layer,
                )
            )
        if layer.spray and layer.spray.missing_mg:
            problems.append(
                Told(
                    N_("{weight} g of {product}: no can of the shelf has it."),
                    weight=f"{layer.spray.missing_mg / 1000:.0f}",
                    product=layer.product,
                )
            )
        if extra:
            problems.append(
                Told(
                    N_(
                        "{extra} piece of {layer} was cut and not stitched on: put it on the shelf as an offcut."
                    )
                    if extra == 1
                    else N_(
                        "{extra} pieces of {layer} were cut and not stitched on: put them on the shelf as offcuts."
                    ),
                    extra=extra,
                    layer=layers[-1].layer,
                )
            )
    return StabilizerUse(tuple(layers), cut, tuple(problems))


def _planned_pieces(planned: list[dict], kind: str, method: str) -> int:
    return sum(
        each["pieces"] + each.get("cut_before", 0)
        for each in planned
        if each["kind"] == kind and each["method"] == method
    )
