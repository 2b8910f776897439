"""Jobs and designs: what there is, a job made, promised and released, and the plan of one or of a question."""

from typing import Any, Literal

from django.http import Http404, HttpRequest
from django.utils import timezone
from ninja import Field, Path, Query, Router, Schema

from inventory.compute.errors import WorkshopError
from inventory.models import Reservation
from planning.facts.names import by_name
from planning.jobs.jobs import JobFacts, make_job, plan_of
from planning.library.designs import asked_from_record, designs_by_id
from planning.models import Design, Fabric, Hoop, Job, Machine
from planning.models.jobs import MOST_PIECES
from planning.plan.ask import Question, each_in_its_own_hooping, plan, question_named
from planning.plan.data import plan_as_data
from planning.run.finish import drop
from planning.run.promise import pick_up, promise, shown_of, take_promise_back
from workshop.api.once import DoneOnce, once
from workshop.api.plan_shape import PlanAnswer
from workshop.api.shapes import (
    Asked,
    Day,
    Id,
    Name,
    Number,
    PageAsked,
    RowPage,
    Text,
    Words,
    Yes,
    in_its_unit,
    page_of,
)

router = Router(tags=["jobs"])
plans = Router(tags=["plans"])
MOST_DESIGNS = 50
State = Literal["draft", "promised", "running", "finished", "dropped"]
How = Literal["picture", "brand"]
JobNumber = Path(..., ge=1, le=2**31 - 1)


class DesignRow(Schema):
    """A kept design."""

    id: int
    name: str
    format: str
    sha256: str
    width_mm: float
    height_mm: float
    stitches: int
    trims: int


class JobRow(Schema):
    """A job: so many pieces for some day, on this cloth, machine and hoop."""

    id: int
    what: str
    state: State
    pieces: int
    needed_on: str | None
    fabric: str | None
    machine: str | None
    hoop: str | None
    tests: int | None
    strictness: How
    priority: int
    copies: int
    notes: str
    designs: list[int]
    made_at: str
    ended_at: str | None


class AsideRow(Schema):
    """What is set aside for a job."""

    label: str
    quantity_mm: int | None
    quantity_pieces: int | None


class JobAnswer(JobRow):
    """A job with what is set aside for it."""

    set_aside: list[AsideRow]


class JobPlanAnswer(Schema):
    """The plan of a job against the shelf as it stands; ``shown`` is sent back where just this is promised."""

    job: int
    shown: str
    plan: PlanAnswer


class JobsAsked(PageAsked):
    """Jobs in which state."""

    state: State | None = None


class DesignsAsked(PageAsked):
    """Designs with which words in their names."""

    text: Words = ""


class MakeAsked(Asked):
    """A new job; its designs lie each in a hooping of their own until a person places them."""

    what: Name
    pieces: int = Field(strict=True, ge=1, le=MOST_PIECES)
    designs: list[Id] = Field(
        min_length=1, max_length=MOST_DESIGNS, description="The numbers of kept designs."
    )
    needed_on: Day | None = None
    fabric: Name | None = None
    machine: Name | None = None
    hoop: Name | None = None
    tests: int | None = Field(None, strict=True, ge=0, le=100)
    strictness: How = "picture"
    priority: int = Field(5, strict=True, ge=1, le=9)
    copies: int = Field(1, strict=True, ge=1, le=100)
    notes: Text = ""


class PromiseAsked(Asked):
    """Which plan is promised."""

    although_short: Yes = Field(False, description="Set aside what there is.")
    shown: Words | None = Field(
        None,
        description="From the job's plan: promise only that one. Null promises whatever the plan is now.",
    )


class PlanAsked(Asked):
    """Is there enough for so many pieces with these designs?"""

    design: list[int] = Field(
        min_length=1, max_length=MOST_DESIGNS, description="The numbers of kept designs."
    )
    pieces: int = Field(ge=1, le=MOST_PIECES)
    fabric: Words = ""
    machine: Words = ""
    hoop: Words = ""
    tests: int | None = Field(None, ge=0, le=100)
    copies: int = Field(1, ge=1, le=100)
    strictness: How = "picture"
    needed_on: Day | None = None


@plans.get("/designs", response=RowPage[DesignRow], url_name="api_designs")
def list_designs(request: HttpRequest, asked: Query[DesignsAsked]) -> Any:
    """List the kept designs that plans use."""
    found = Design.objects.filter(variant_of__isnull=True).order_by("name", "pk")
    for word in asked.text.split():
        found = found.filter(name__icontains=word)
    return page_of(request, found, asked, count=found.count(), row=_design)


@plans.get("/designs/{number}", response=DesignRow, url_name="api_design")
def one_design(request: HttpRequest, number: Path[Number]) -> Any:
    """Tell of one design."""
    found = Design.objects.filter(pk=number).first()
    if found is None:
        raise Http404(f"No design has the number {number}.")
    return _design(found)


@plans.get("/plan", response=PlanAnswer, url_name="api_plan")
def ask_plan(request: HttpRequest, asked: Query[PlanAsked]) -> Any:
    """Answer whether there is enough for a batch of kept designs; nothing is saved."""
    question = Question(
        pieces=asked.pieces,
        tests=asked.tests,
        needed_on=asked.needed_on,
        copies=asked.copies,
        strictness=asked.strictness,
    )
    question = question_named(question, fabric=asked.fabric, machine=asked.machine, hoop=asked.hoop)
    designs = [asked_from_record(each) for each in _designs(asked.design)]
    return plan_as_data(plan(each_in_its_own_hooping(designs), question))


@plans.get("/jobs/{number}/plan", response=JobPlanAnswer, url_name="api_job_plan")
def read_plan(request: HttpRequest, number: int = JobNumber) -> Any:
    """Plan a job against the shelf as it stands."""
    job = job_numbered(number)
    if not job.is_waiting:
        raise WorkshopError(f"{job} is {job.get_state_display()}; there is nothing left to plan.")
    answer = plan_of(job)
    return {"job": job.pk, "shown": shown_of(answer), "plan": plan_as_data(answer)}


@router.get("/jobs", response=RowPage[JobRow], url_name="api_jobs")
def list_jobs(request: HttpRequest, asked: Query[JobsAsked]) -> Any:
    """List the jobs in the turn in which they claim stock."""
    found = Job.objects.select_related("fabric", "machine", "hoop").prefetch_related("placed").in_turn()
    found = found.filter(state=asked.state) if asked.state else found
    return page_of(request, found, asked, count=found.count(), row=_job)


@router.post("/jobs", response={201: JobAnswer}, url_name="api_jobs")
@once(201)
def make(request: HttpRequest, made: MakeAsked) -> JobAnswer:
    """Make a job."""
    done: DoneOnce = request.done  # type: ignore[attr-defined]
    if not made.what.strip():
        raise WorkshopError("Say what it is.")
    facts = JobFacts(
        what=made.what.strip(),
        fabric=by_name(Fabric, made.fabric) if made.fabric else None,
        machine=by_name(Machine, made.machine) if made.machine else None,
        hoop=by_name(Hoop, made.hoop) if made.hoop else None,
        **{
            name: getattr(made, name)
            for name in ("pieces", "needed_on", "tests", "strictness", "priority", "copies", "notes")
        },
    )
    return job_answer(make_job(facts, designs=_designs(made.designs), **done.as_asked).pk)


@router.get("/jobs/{number}", response=JobAnswer, url_name="api_job")
def one_job(request: HttpRequest, number: int = JobNumber) -> Any:
    """Tell of one job, with what is set aside for it."""
    return job_answer(number)


@router.post("/jobs/{number}/promise", response=JobAnswer, url_name="api_promise")
@once()
def promise_job(request: HttpRequest, promised: PromiseAsked, number: int = JobNumber) -> JobAnswer:
    """Set the chosen material aside for a job."""
    done: DoneOnce = request.done  # type: ignore[attr-defined]
    promise(
        job_numbered(number),
        although_short=promised.although_short,
        shown=promised.shown,
        **done.as_asked,
    )
    return job_answer(number)


@router.post("/jobs/{number}/release", response=JobAnswer, url_name="api_release")
@once()
def release_job(request: HttpRequest, number: int = JobNumber) -> JobAnswer:
    """Take a promise back: nothing is set aside for the job any more, and it is a draft again."""
    take_promise_back(job_numbered(number), **_by_whom(request))
    return job_answer(number)


@router.post("/jobs/{number}/drop", response=JobAnswer, url_name="api_drop")
@once()
def drop_job(request: HttpRequest, number: int = JobNumber) -> JobAnswer:
    """Drop a job that will not be stitched."""
    drop(job_numbered(number), **_by_whom(request))
    return job_answer(number)


@router.post("/jobs/{number}/pick-up", response=JobAnswer, url_name="api_pick_up")
@once()
def pick_up_job(request: HttpRequest, number: int = JobNumber) -> JobAnswer:
    """Make a dropped job a draft again."""
    pick_up(job_numbered(number), **_by_whom(request))
    return job_answer(number)


def job_numbered(number: int) -> Job:
    """Return the job with all that a plan reads, or answer 404."""
    found = Job.objects.with_everything().filter(pk=number).first()
    if found is None:
        raise Http404(f"No job has the number {number}.")
    return found


def job_answer(number: int) -> JobAnswer:
    """Return a job as it stands now, with what is set aside for it."""
    job = job_numbered(number)
    aside = Reservation.objects.filter(holder=job.holder).select_related("item").order_by("item__label")
    rows = [
        {"label": each.item.label} | in_its_unit("quantity", each.quantity, is_measured=each.item.is_measured)
        for each in aside
    ]
    return JobAnswer.model_validate(_job(job) | {"set_aside": rows})


def _job(job: Job) -> dict[str, Any]:
    return {
        "id": job.pk,
        "what": job.what,
        "state": job.state,
        "pieces": job.pieces,
        "needed_on": job.needed_on.isoformat() if job.needed_on else None,
        "fabric": job.fabric.name if job.fabric else None,
        "machine": job.machine.name if job.machine else None,
        "hoop": job.hoop.name if job.hoop else None,
        "tests": job.tests,
        "strictness": job.strictness,
        "priority": job.priority,
        "copies": job.copies,
        "notes": job.notes,
        "designs": [each.design_id for each in job.placed.all()],
        "made_at": job.made_at.isoformat(),
        "ended_at": job.ended_at.isoformat() if job.ended_at else None,
    }


def _design(design: Design) -> dict[str, Any]:
    names = ("name", "format", "sha256", "width_mm", "height_mm", "stitches", "trims")
    return {"id": design.pk} | {name: getattr(design, name) for name in names}


def _designs(numbers: list[int]) -> list[Design]:
    found = designs_by_id([number for number in numbers if 0 < number < 2**31])
    missing = set(numbers) - {design.pk for design in found}
    if missing:
        raise WorkshopError(f"No design has the number {min(missing)}.")
    return found


def _by_whom(request: HttpRequest) -> dict[str, Any]:
    return {"at": timezone.now(), "by": request.user}
