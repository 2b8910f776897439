"""Jobs made, changed and dropped, and what a plan asks of one."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Q

from inventory.compute.errors import WorkshopError
from inventory.models import StabilizerProduct, StockItem
from planning.compute.batch.asked import AskedDesign, Shelf
from planning.compute.batch.plan import BatchPlan
from planning.compute.stabilizer.layers import CutBefore
from planning.compute.stitches.placing import Placement
from planning.jobs.layers import LETTERING_HOOPING, pieces_cut
from planning.library.designs import asked_from_record
from planning.models import Design, Fabric, Hoop, Job, Machine, NamedPiece, PlacedDesign, Strictness
from planning.models.jobs import USUAL_PRIORITY
from planning.plan.ask import Question, Setting, chosen_machine, plan
from planning.plan.pins import held_shades

# What of a job its plan is made from: it stays while material is set aside for it.
PLANNED_FROM = ("pieces", "fabric", "machine", "hoop", "tests", "copies", "strictness")


class UnclearNames(WorkshopError):
    """Lines of a list of names that fit no design or no piece."""


class NotInThisState(WorkshopError):
    """What is asked of a job cannot be done as it stands: it runs already, or has ended."""


@dataclass(frozen=True)
class Wanted:
    """The plain facts of a job, as a form or a question gives them."""

    what: str
    pieces: int
    needed_on: Any = None
    fabric: Fabric | None = None
    machine: Machine | None = None
    hoop: Hoop | None = None
    tests: int | None = None
    strictness: str = Strictness.PICTURE
    notes: str = ""
    priority: int = USUAL_PRIORITY
    copies: int = 1


@transaction.atomic
def make_job(wanted: Wanted, *, designs: Sequence[Design], at: datetime, by: Any) -> Job:
    """Return a new job whose pieces carry ``designs``, each in a hooping of its own until it is placed."""
    if not designs:
        raise WorkshopError("A job needs at least one design.")
    job = Job.objects.create(**vars(wanted), made_at=at, by=by)
    PlacedDesign.objects.bulk_create(
        PlacedDesign(job=job, design=design, order=number, hooping=number)
        for number, design in enumerate(designs, 1)
    )
    return job


@transaction.atomic
def change_job(job: Job, wanted: Wanted) -> Job:
    """Return ``job`` with other facts; its designs and names stay.

    Once material is set aside for it only what does not change the plan may change. Raises NotInThisState.
    """
    settled = [name for name in PLANNED_FROM if getattr(job, name) != getattr(wanted, name)]
    if settled:
        refuse_unless_draft(job)
    for name, value in vars(wanted).items():
        setattr(job, name, value)
    job.save()
    return job


def refuse_unless_draft(job: Job) -> None:
    """Raise NotInThisState if material is set aside for ``job``, or was."""
    if job.state != Job.State.DRAFT:
        raise NotInThisState(
            f"{job} is {job.get_state_display()}, and its material was chosen for what it says now. "
            "Take the promise back first, then change it."
            if job.state == Job.State.PROMISED
            else f"{job} is {job.get_state_display()}; make the same again to change it."
        )


@transaction.atomic
def place_design(placed: PlacedDesign, placement: Placement, *, hooping: int, order: int) -> PlacedDesign:
    """Return ``placed`` where ``placement`` says; placements refuse what their stitches do not bear."""
    refuse_unless_draft(placed.job)
    placed.x_mm, placed.y_mm = placement.x_mm, placement.y_mm
    placed.turned_deg, placed.mirrored = placement.turned_deg % 360, placement.mirrored
    placed.scale_percent = round(placement.scale * 100, 3)
    placed.hooping, placed.order = hooping, order
    placed.save()
    return placed


@transaction.atomic
def list_names(job: Job, lines: str) -> list[NamedPiece]:
    """Return the lettering of each piece, from lines such as ``MARLA: name-marla``; an empty text takes it off.

    After the colon stands the name of a kept design; without a colon the name itself is taken for it. Raises
    UnclearNames with every line that fits no design, or if there is not one line for each piece.
    """
    refuse_unless_draft(job)
    written = [line.strip() for line in lines.splitlines() if line.strip()]
    if written and len(written) != job.pieces:
        raise UnclearNames(
            f"{len(written)} names are listed for {job.pieces} pieces; list one for each piece, in order."
        )
    asked = [
        (text.strip(), (design or text).strip())
        for text, _, design in (each.partition(":") for each in written)
    ]
    known = {design.name.casefold(): design for design in Design.objects.filter(name__in=_spellings(asked))}
    problems = [
        f"line {number}: no design is called {design}"
        for number, (_, design) in enumerate(asked, 1)
        if design.casefold() not in known
    ]
    if problems:
        raise UnclearNames(f"{'; '.join(problems)}. Keep the design first, or correct its name.")
    job.names.all().delete()
    return NamedPiece.objects.bulk_create(
        NamedPiece(job=job, number=number, text=text[:60], design=known[design.casefold()])
        for number, (text, design) in enumerate(asked, 1)
    )


def _spellings(asked: Sequence[tuple[str, str]]) -> set[str]:
    wanted = {design.casefold() for _, design in asked}
    return {name for name in Design.objects.values_list("name", flat=True) if name.casefold() in wanted}


@transaction.atomic
def delete_job(job: Job) -> None:
    """Delete a draft; its designs stay kept. What was ever promised is dropped instead, and stays on record."""
    if job.state != Job.State.DRAFT or job.events.exists():
        raise NotInThisState(f"{job} is {job.get_state_display()}; it is dropped, not deleted.")
    job.delete()


def plan_of(
    job: Job,
    *,
    shelf: Shelf | None = None,
    setting: Setting | None = None,
    cut_before: tuple[CutBefore, ...] | None = None,
    with_advice: bool = True,
) -> BatchPlan:
    """Return the plan of a kept job against the shelf as it stands, or against ``shelf``.

    What is ``cut_before`` for it is asked of the shelf no more; it is looked up where it is not given. What is set
    aside for the job counts as free, and the shades it was promised with stay.
    """
    asked, lettering = asked_of(job)
    cut = pieces_cut(job) if cut_before is None else cut_before
    question = replace(question_of(job), cut_before=cut, with_advice=with_advice)
    return plan(asked, question, lettering=lettering, held=held_shades(job), shelf=shelf, setting=setting)


def asked_of(job: Job) -> tuple[list[AskedDesign], list[AskedDesign]]:
    """Return the designs on every piece of ``job``, and the lettering of each."""
    return [_asked(placed) for placed in job.placed.all()], [
        replace(asked_from_record(each.design), hooping=LETTERING_HOOPING) for each in job.names.all()
    ]


def question_of(job: Job) -> Question:
    """Return what a kept job asks."""
    return Question(
        pieces=job.pieces,
        fabric=job.fabric.name if job.fabric else None,
        machine=job.machine.name if job.machine else None,
        hoop=job.hoop.name if job.hoop else None,
        tests=job.tests,
        needed_on=job.needed_on,
        copies=job.copies,
        strictness=job.strictness,
        holder=job.holder,
        settled=_settled(job),
    )


def _settled(job: Job) -> tuple[tuple[tuple[int, int], int], ...]:
    if job.state not in (Job.State.PROMISED, Job.State.RUNNING) or not hasattr(job, "promise"):
        return ()
    return tuple(
        ((design, number), thread.shade_id)
        for thread in job.promise.threads.all()
        for design, number in thread.blocks
        if thread.shade_id
    )


def items_needed(jobs: Iterable[Job]) -> list[StockItem]:
    """Return what is on the shelf of everything that the plans of these jobs would use."""
    shades: set[int] = set()
    products: set[str] = set()
    styles: set[int] = set()
    for job in jobs:
        answer = plan_of(job)
        shades |= {
            each.choice.shade.id for each in answer.threads if each.choice.shade and each.choice.near_enough
        }
        products |= {layer.product for layer in answer.stabilizer if layer.product}
        machine = job.machine or chosen_machine(None)
        styles |= {machine.bobbin_style_id} if machine.bobbin_style_id else set()
    named = [product.pk for product in StabilizerProduct.objects.all() if str(product) in products]
    wanted = (
        Q(spool__shade_id__in=shades)
        | Q(bobbinbatch__style_id__in=styles)
        | Q(stabilizerroll__product_id__in=named)
        | Q(sheetpack__product_id__in=named)
        | Q(offcut__product_id__in=named)
    )
    return list(StockItem.objects.on_the_shelf().filter(wanted).order_by("label"))


def _asked(placed: PlacedDesign) -> AskedDesign:
    return replace(asked_from_record(placed.design), placement=placed.placement, hooping=placed.hooping)
