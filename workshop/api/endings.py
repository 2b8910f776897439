"""The end of a run: what it took, told and booked, and the report of planned against actual."""

from typing import Any

from django.http import Http404, HttpRequest
from ninja import Field, Router, Schema

from inventory.compute.lengths import ScaleReading
from planning.models import RunReport
from planning.run.finish import Ending, WeighedBack, finish, shown_of
from planning.run.stabilizer import stabilizer_use
from planning.run.standing import run_of
from workshop.api.jobs import JobNumber, job_numbered
from workshop.api.once import DoneOnce, once
from workshop.api.shapes import Asked, Name, Words, Yes
from workshop.api.stock import MOST_MG

router = Router(tags=["runs"])
MOST_SPOOLS, MOST_BOBBINS, MOST_MINUTES = 200, 10_000, 10**6


class WeighedAsked(Asked):
    """A spool on the scale after the run."""

    label: Name
    gross_mg: int = Field(strict=True, ge=1, le=MOST_MG)
    scale_step_mg: int = Field(1000, strict=True, ge=1, le=10**6)
    sure: Yes = Field(False, description="It really holds more than it would when full.")


class EndingAsked(Asked):
    """What is said at the end; what is left out is believed as it was estimated."""

    weighed: list[WeighedAsked] = Field(default_factory=list, max_length=MOST_SPOOLS)
    bobbins: float | None = Field(
        None, strict=True, ge=0, le=MOST_BOBBINS, description="Used up; 3.5 is half of a fourth."
    )
    keep_bobbin: Yes = Field(
        False, description="The rest of the last one goes on the shelf as a part bobbin."
    )
    machine_min: float | None = Field(None, strict=True, gt=0, le=MOST_MINUTES)
    although_unfinished: Yes = Field(False, description="End it with pieces that are not ticked.")
    stabilizer_as_proposed: Yes = Field(True, description="False where somebody takes it by hand.")
    shown: Words | None = Field(
        None,
        description="From the ending: finish only the run that was looked at. Null finishes it as it is.",
    )


class EndingAnswer(Schema):
    """What a finish would find now; ``shown`` is sent back where just this is finished."""

    job: int
    shown: str
    left: list[int] = Field(description="The positions that are not ticked.")
    spools: list[str] = Field(description="The labels of the run's spools, which can be weighed back.")


class SpoolUsed(Schema):
    """What a spool gave."""

    label: str
    lot: str
    used_mm: int
    weighed: bool


class ThreadUsed(Schema):
    """A thread of the run, planned and used."""

    order: int
    thread: str
    hex: str
    planned_mm: int
    used_mm: int
    spools: list[SpoolUsed]


class PiecesMade(Schema):
    """What was ordered, and what came of it."""

    ordered: int
    good: int
    tests: int
    spoiled: int


class ReportAnswer(Schema):
    """How a finished job went. ``stabilizer``, ``bobbins``, ``minutes`` and ``material`` have planned beside used."""

    job: int
    at: str
    by: str | None
    station: str | None
    pieces: PiecesMade
    threads: list[ThreadUsed]
    stabilizer: list[dict[str, Any]]
    bobbins: dict[str, Any]
    minutes: dict[str, Any]
    material: dict[str, Any]
    not_booked: list[str] = Field(description="What stands in the report and not on the shelf.")


@router.get("/jobs/{number}/run/ending", response=EndingAnswer, url_name="api_ending")
def read_ending(request: HttpRequest, number: int = JobNumber) -> Any:
    """Tell what a finish would find now."""
    run = run_of(job_numbered(number))
    labels = {turn.item.label for record in run.records for turn in record.spools.all()}
    labels |= {event.item.label for event in run.events if event.item is not None}
    return {
        "job": run.job.pk,
        "shown": shown_of(run, stabilizer_use(run)),
        "left": run.left,
        "spools": sorted(labels),
    }


@router.post("/jobs/{number}/run/ending", response=ReportAnswer, url_name="api_ending")
@once()
def end_run(request: HttpRequest, told: EndingAsked, number: int = JobNumber) -> ReportAnswer:
    """Finish a job: the shelf put right, what it taught learned, nothing set aside for it any more."""
    done: DoneOnce = request.done  # type: ignore[attr-defined]
    ending = Ending(
        weighed=tuple(
            WeighedBack(each.label, ScaleReading(each.gross_mg, each.scale_step_mg), sure=each.sure)
            for each in told.weighed
        ),
        bobbins=told.bobbins,
        keep_bobbin=told.keep_bobbin,
        machine_min=told.machine_min,
        although_unfinished=told.although_unfinished,
        stabilizer_as_proposed=told.stabilizer_as_proposed,
    )
    report = finish(job_numbered(number), ending, at=done.at, by=done.by, shown=told.shown)
    return ReportAnswer.model_validate(_report(report))


@router.get("/jobs/{number}/report", response=ReportAnswer, url_name="api_report")
def read_report(request: HttpRequest, number: int = JobNumber) -> Any:
    """Tell how a finished job went, planned against actual."""
    report = RunReport.objects.select_related("by").filter(job=job_numbered(number)).first()
    if report is None:
        raise Http404(f"Job {number} has no report: it is not finished.")
    return _report(report)


def _report(report: RunReport) -> dict[str, Any]:
    return {
        # Reports of earlier versions tell less.
        "stabilizer": [],
        "not_booked": [],
        **report.facts,
        "job": report.job_id,
        "at": report.at.isoformat(),
        "by": report.by.get_username() if report.by else None,
        "station": report.station,
    }
