"""What jobs ask of stabilizer, without the rest of their plans: enough to cut several together."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from django.db.models import QuerySet

from inventory.models import Entry
from planning.compute.batch.asked import AskedDesign, Terms
from planning.compute.batch.carrying import carry
from planning.compute.hooping.pieces import pieces_to_stitch
from planning.compute.hooping.timing import MachineTimes
from planning.compute.stabilizer.layers import CutBefore, JobLayers
from planning.compute.stitches.placing import field_needed
from planning.compute.stitches.thread_length import ThreadSettings
from planning.facts.layers import layer_needs
from planning.facts.recipes import recipe_notes
from planning.library.designs import asked_from_record
from planning.models import Hoop, Job, JobCut, Machine, Rules

# Who carries what in which hooping does not hang on thread, times or layers.
NO_TERMS = Terms(thread=ThreadSettings(), times=MachineTimes(), layers=(), piece_mm=None)
# Lettering is stitched in the hooping of the first design.
LETTERING_HOOPING = 1


@dataclass(frozen=True)
class LayerSetting:
    """What every job is reckoned with: the rules, the hoops there are, and the machine where a job names none."""

    rules: Rules
    hoops: tuple[Hoop, ...]
    machine: Machine | None
    cut: dict[int, tuple[CutBefore, ...]]

    @classmethod
    def of(cls, jobs: Sequence[Job]) -> "LayerSetting":
        return cls(
            rules=Rules.current(),
            hoops=tuple(Hoop.objects.smallest_first()),
            machine=Machine.objects.prefetch_related("hoops").first(),
            cut=pieces_cut_of(jobs),
        )


def with_layers(jobs: QuerySet[Job]) -> list[Job]:
    """Return the jobs with all that their layers are reckoned from, in a number of queries that does not grow."""
    return list(
        jobs.select_related("fabric", "machine", "hoop").prefetch_related(
            "fabric__layers",
            "fabric__stitch_outs",
            "machine__hoops",
            "placed__design__blocks",
            "names__design__blocks",
        )
    )


def job_layers(job: Job, setting: LayerSetting, *, name: str = "", copies: int = 1) -> JobLayers:
    """Return what ``job`` asks for, called ``name`` on what is cut for several; one piece a hooping of ``copies``."""
    designs, lettering = _designs(job)
    rules = setting.rules
    carried = carry(
        designs,
        lettering=lettering,
        to_stitch=pieces_to_stitch(
            job.pieces,
            test_pieces=rules.test_pieces if job.tests is None else job.tests,
            spoilage=rules.spoilage,
        ),
        terms=NO_TERMS,
    )
    hoop = job.hoop or _smallest_hoop([*designs, *lettering], job, setting)
    return JobLayers(
        layers=layer_needs(job.fabric) if job.fabric else (),
        piece_mm=hoop.piece_mm(margin_mm=rules.stabilizer_margin_mm) if hoop else None,
        hoopings=-(-carried.hoopings() // copies),
        extents=carried.topping_sizes(margin_mm=rules.stabilizer_margin_mm, copies=copies),
        job=name,
        cut_before=setting.cut.get(job.pk, ()),
    )


def _designs(job: Job) -> tuple[list[AskedDesign], list[AskedDesign]]:
    """Return what every piece of a job carries, and the lettering of each."""
    return [
        replace(asked_from_record(placed.design), placement=placed.placement, hooping=placed.hooping)
        for placed in job.placed.all()
    ], [replace(asked_from_record(each.design), hooping=LETTERING_HOOPING) for each in job.names.all()]


def stitched_mm(job: Job) -> tuple[int, int]:
    """Return a width and height that hold whatever one hooping of ``job`` stitches, none of it turned further."""
    designs, lettering = _designs(job)
    carried = carry([*designs, *lettering], to_stitch=pieces_to_stitch(1), terms=NO_TERMS)
    sizes = [size for size, _ in carried.topping_sizes(margin_mm=0)]
    return max((size[0] for size in sizes), default=0), max((size[1] for size in sizes), default=0)


def job_notes(job: Job) -> list[str]:
    """Return what looks wrong with the recipe of a job's fabric for its designs."""
    if job.fabric is None:
        return []
    designs, lettering = _designs(job)
    return recipe_notes(job.fabric, layer_needs(job.fabric), [*designs, *lettering])


def _smallest_hoop(designs: Iterable[AskedDesign], job: Job, setting: LayerSetting) -> Hoop | None:
    """Return the smallest hoop of the job's machine that holds every hooping."""
    by_hooping: dict[int, list[AskedDesign]] = {}
    for design in designs:
        by_hooping.setdefault(design.hooping, []).append(design)
    fields = [
        field_needed((each.width_mm, each.height_mm, each.placement) for each in together)
        for together in by_hooping.values()
    ]
    machine = job.machine or setting.machine
    own = None if machine is None else {hoop.pk for hoop in machine.hoops.all()}
    for hoop in setting.hoops:
        if (own is None or hoop.pk in own) and all(
            hoop.holds(width_mm=width_mm, height_mm=height_mm) for width_mm, height_mm in fields
        ):
            return hoop
    return None


def pieces_cut(job: Job) -> tuple[CutBefore, ...]:
    """Return the pieces of stabilizer that are cut for ``job`` and not taken back: a plan need not ask for them."""
    return pieces_cut_of([job]).get(job.pk, ())


def pieces_cut_of(jobs: Iterable[Job]) -> dict[int, tuple[CutBefore, ...]]:
    """Return the pieces that are cut for each of these jobs, by its number."""
    rows = list(JobCut.objects.filter(job__in=[job.pk for job in jobs]))
    standing = set(
        Entry.objects.filter(
            key__in={row.key for row in rows}, reason=Entry.Reason.CUT, reversed_by__isnull=True
        ).values_list("key", flat=True)
    )
    found: dict[int, tuple[CutBefore, ...]] = {}
    for row in rows:
        if row.key in standing:
            found[row.job_id] = found.get(row.job_id, ()) + tuple(
                CutBefore(each["layer"], (each["width_mm"], each["height_mm"]), each["count"])
                for each in row.pieces
            )
    return found
