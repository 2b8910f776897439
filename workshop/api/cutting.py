"""How a job's stabilizer is cut, and the cut posted."""

from typing import Any, Literal

from django.http import HttpRequest
from ninja import Field, Router, Schema

from planning.cutting.cuts import cut_as_data, fingerprint, jobs_to_cut, plan_cuts, post_cut
from planning.models import Job, Rules
from workshop.api.jobs import JobNumber, job_numbered
from workshop.api.once import DoneOnce, once
from workshop.api.shapes import Asked, Words
from workshop.api.stock import ActDone, act_done

router = Router(tags=["jobs"])


class PieceLying(Schema):
    """A piece of a layer where it lies, from the free end of its roll."""

    layer: str
    job: str
    x_mm: int
    y_mm: int
    width_mm: int
    length_mm: int
    turned: bool


class CutStrip(Schema):
    """What one straight cut takes off, and the pieces in it."""

    strip: int
    x_mm: int
    y_mm: int
    width_mm: int
    length_mm: int
    pieces: list[PieceLying]


class CutRest(Schema):
    """An offcut that goes back on the shelf."""

    x_mm: int
    y_mm: int
    width_mm: int
    length_mm: int


class CutSource(Schema):
    """A roll, sheet or offcut that is cut."""

    label: str
    from_: Literal["roll", "sheet or offcut"] = Field(alias="from")
    width_mm: int
    length_mm: int
    strips: list[CutStrip]
    offcuts: list[CutRest]


class CutLayer(Schema):
    """The pieces that a layer of a job needs."""

    layer: str
    job: str
    pieces: int
    piece_mm: list[int]
    missing: int


class CutProduct(Schema):
    """All that is cut of one product; ``bound_mm`` of roll would be needed at least."""

    product: str
    cautions: list[str]
    layers: list[CutLayer]
    roll_mm: int
    bound_mm: int
    is_proven: bool
    proof: str
    waste_mm2: int
    sources: list[CutSource]


class CutAnswer(Schema):
    """The cut of a job's stabilizer from the shelf as it stands; ``shown`` is sent back where just this is cut."""

    job: int
    what: str
    shown: str
    verdict: str
    cuts: list[CutProduct]
    not_on_the_shelf: list[str]
    notes: list[str]


class CutAsked(Asked):
    """Which cut was made."""

    shown: Words | None = Field(
        None,
        description="From the cut that was looked at: post only that one. Null posts whatever it is now.",
    )


@router.get("/jobs/{number}/cut", response=CutAnswer, url_name="api_cut", by_alias=True)
def read_cut(request: HttpRequest, number: int = JobNumber) -> Any:
    """Tell how a job's stabilizer is cut."""
    cut = plan_cuts(_job(number))
    return {**cut_as_data(cut), "shown": fingerprint(cut.cuts)}


@router.post("/jobs/{number}/cut", response={201: ActDone}, url_name="api_cut")
@once(201)
def was_cut(request: HttpRequest, made: CutAsked, number: int = JobNumber) -> ActDone:
    """Say that it was cut so: what it took is off the shelf, what is of use is on it as offcuts."""
    done: DoneOnce = request.done  # type: ignore[attr-defined]
    posted = post_cut(_job(number), shown=made.shown, kerf_mm=Rules.current().cut_kerf_mm, **done.as_asked)
    return act_done(posted.entries[0].key if posted.entries else done.key)


def _job(number: int) -> list[Job]:
    return jobs_to_cut([job_numbered(number).pk])
