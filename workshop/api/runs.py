"""A run at the machine: how it stands, begun, ticked, told of, and what was told taken back."""

from typing import Any, Literal

from django.http import Http404, HttpRequest
from ninja import Field, Router, Schema

from inventory.compute.lengths import ScaleReading
from planning.models import RunEvent
from planning.run.standing import Run, run_of
from planning.run.ticks import Happening, begin, note, take_back
from workshop.api.jobs import JobNumber, job_numbered
from workshop.api.once import DoneOnce, once
from workshop.api.shapes import Asked, Words, Yes
from workshop.api.stock import MOST_MG

router = Router(tags=["runs"])
MOST_POSITION = 10**6
Happens = Literal[
    "piece", "spoiled", "break", "restitch", "spool", "bobbin", "tension", "needle", "stop", "test"
]


class ThreadOn(Schema):
    """A thread of the run, by its number in the threading order."""

    thread: int
    maker: str
    range: str
    code: str
    name: str


class EventRow(Schema):
    """One thing that happened at the machine."""

    number: int
    kind: Happens | Literal["back"]
    position: int
    called: str = Field(description="What a person calls the piece.")
    thread: int | None
    label: str | None
    note: str
    at: str
    by: str | None
    station: str | None


class RunAnswer(Schema):
    """How a job stands at the machine; ``events`` are those that stand, oldest first."""

    job: int
    state: str
    pieces: int
    tests: int
    good: int
    spoiled: int
    left: list[int] = Field(description="The positions still to be stitched, in order.")
    next: str | None = Field(description="What a person calls the next one.")
    threads: list[ThreadOn]
    events: list[EventRow]


class EventAnswer(Schema):
    """What was noted, and how the run stands after it."""

    event: EventRow
    run: RunAnswer


class HappenedAsked(Asked):
    """One thing that happened; what is left out says nothing of it. Which fields a kind takes, the help tells."""

    kind: Happens
    position: int | None = Field(
        None, strict=True, ge=1, le=MOST_POSITION, description="Left out: the next one."
    )
    thread: int | None = Field(None, strict=True, ge=1, le=1000, description="By the threading order.")
    label: Words = Field("", description="The spool that is on now.")
    instead_of: Words = Field("", description="The spool that comes off; another is refused.")
    share: float = Field(1.0, strict=True, gt=0, le=1, description="The part that was stitched again.")
    ran_out: Yes = False
    left: Literal["", "nothing", "little", "weighed"] = ""
    gross_mg: int | None = Field(None, strict=True, ge=1, le=MOST_MG, description="With left: weighed.")
    scale_step_mg: int | None = Field(None, strict=True, ge=1, le=10**6)
    again: Yes = Field(False, description="It really happened twice.")
    showing: Literal["", "more", "thirds", "less"] = ""
    test_verdict: Literal["", "go on", "change"] = ""
    note: Words = ""


@router.get("/jobs/{number}/run", response=RunAnswer, url_name="api_run")
def read_run(request: HttpRequest, number: int = JobNumber) -> Any:
    """Tell how a job stands at the machine."""
    return _run_as_data(run_of(job_numbered(number)))


@router.post("/jobs/{number}/run", response=RunAnswer, url_name="api_run")
@once()
def begin_run(request: HttpRequest, number: int = JobNumber) -> RunAnswer:
    """Begin a promised job at the machine."""
    done: DoneOnce = request.done  # type: ignore[attr-defined]
    return RunAnswer.model_validate(_run_as_data(begin(job_numbered(number), at=done.at, by=done.by)))


@router.post("/jobs/{number}/run/events", response={201: EventAnswer}, url_name="api_events")
@once(201)
def tell(request: HttpRequest, told: HappenedAsked, number: int = JobNumber) -> EventAnswer:
    """Note a tick or another thing that happened, with the stock that it moved."""
    done: DoneOnce = request.done  # type: ignore[attr-defined]
    job = job_numbered(number)
    given = told.model_dump(exclude={"gross_mg", "scale_step_mg"})
    gross = None if told.gross_mg is None else ScaleReading(told.gross_mg, told.scale_step_mg or 1000)
    event = note(job, Happening(**given, gross=gross, key=done.key), at=done.at, by=done.by)
    return _event_answer(event, number)


@router.post("/jobs/{number}/run/events/{event}/take-back", response=EventAnswer, url_name="api_event_back")
@once()
def take_event_back(request: HttpRequest, event: int, number: int = JobNumber) -> EventAnswer:
    """Take one thing back that was noted; what came after it stays, and is derived anew."""
    done: DoneOnce = request.done  # type: ignore[attr-defined]
    found = (
        RunEvent.objects.select_related("job__machine").filter(pk=event, job_id=number).first()
        if 0 < event < 2**31
        else None
    )
    if found is None:
        raise Http404(f"Job {number} has no event {event}.")
    return _event_answer(take_back(found, **done.as_asked), number)


def _event_answer(event: RunEvent, number: int) -> EventAnswer:
    run = run_of(job_numbered(number))
    return EventAnswer.model_validate({"event": _event_as_data(event, run), "run": _run_as_data(run)})


def _run_as_data(run: Run) -> dict[str, Any]:
    left = run.left
    return {
        "job": run.job.pk,
        "state": run.job.state,
        "pieces": run.promise.pieces,
        "tests": run.promise.tests,
        "good": run.good,
        "spoiled": run.spoiled,
        "left": left,
        "next": run.called(left[0]) if left else None,
        "threads": [
            {
                "thread": each.order,
                "maker": each.maker,
                "range": each.range_name,
                "code": each.code,
                "name": each.name,
            }
            for each in run.records
        ],
        "events": [_event_as_data(each, run) for each in run.events],
    }


def _event_as_data(event: RunEvent, run: Run) -> dict[str, Any]:
    return {
        "number": event.pk,
        "kind": event.kind,
        "position": event.position,
        "called": run.called(event.position),
        "thread": event.thread.order if event.thread else None,
        "label": event.item.label if event.item else None,
        "note": event.note,
        "at": event.at.isoformat(),
        "by": event.by.get_username() if event.by else None,
        "station": event.station,
    }
