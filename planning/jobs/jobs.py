"""Jobs made, changed and dropped, and what a plan asks of one."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from inventory.acting import held, planned_act, standing_at
from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _
from inventory.ledger.changes import changed_before
from inventory.ledger.posting import key_used
from inventory.models import Change
from planning.compute.batch.plan import BatchPlan
from planning.compute.stitches.placing import Placement
from planning.jobs.asked import asked_of
from planning.jobs.naming import UnclearNames, lettering_of
from planning.models import Design, Fabric, Hoop, Job, Machine, NamedPiece, PlacedDesign, Strictness
from planning.models.jobs import USUAL_PRIORITY
from planning.plan.ask import plan_asked
from planning.plan.hooping import hooping_of

# What of a job its plan is made from: it stays while material is set aside for it.
PLANNED_FROM = ("pieces", "fabric", "machine", "hoop", "tests", "copies", "strictness")


# Under which the journal of changes has it that a job was made.
TABLE = "job"


class NotInThisState(WorkshopError):
    """What is asked of a job cannot be done as it stands: it runs already, or has ended."""


@dataclass(frozen=True)
class JobFacts:
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
    wearer: str = ""


@planned_act
def make_job(facts: JobFacts, *, designs: Sequence[Design], at: datetime, by: Any, key: str = "") -> Job:
    """Return a new job whose pieces carry ``designs``, each in a hooping of its own until it is placed.

    The same ``key`` sent again answers with the job that it made.
    """
    if not designs:
        raise WorkshopError(_("A job needs at least one design."))
    earlier = made_before(key)
    if earlier is not None:
        return earlier
    job = Job.objects.create(**vars(facts), made_at=at, by=by)
    PlacedDesign.objects.bulk_create(
        PlacedDesign(job=job, design=design, order=number, hooping=number)
        for number, design in enumerate(designs, 1)
    )
    if key:
        Change.objects.create(
            table=TABLE,
            record=job.pk,
            what=f"made {job}"[:200],
            at=at,
            by=by,
            station=standing_at(by),
            key=key,
        )
    return job


def made_before(key: str) -> Job | None:
    """Return the job that was made under ``key``, or None. Raises KeyUsedForAnother for a key of something else."""
    change = changed_before(key)
    if change is None:
        return None
    job = Job.objects.filter(pk=change.record).first() if change.table == TABLE else None
    if job is None:
        raise key_used(key)
    return job


@planned_act
def change_job(job: Job, facts: JobFacts) -> Job:
    """Return ``job`` with other facts; its designs and names stay.

    Once material is set aside for it only what does not change the plan may change. Raises NotInThisState.
    """
    hold_job(job)
    settled = [name for name in PLANNED_FROM if getattr(job, name) != getattr(facts, name)]
    if settled:
        refuse_unless_draft(job)
    for name, value in vars(facts).items():
        setattr(job, name, value)
    job.save()
    return job


def hold_job(job: Job) -> Job:
    """Return ``job`` as it stands, locked; the record at hand takes over its state and what its plan rests on."""
    held_job = held(Job.objects.all()).get(pk=job.pk)
    for name in ("state", *PLANNED_FROM):
        setattr(job, name, getattr(held_job, name))
    return held_job


def refuse_unless_draft(job: Job) -> None:
    """Raise NotInThisState if material is set aside for ``job``, or was."""
    if job.state != Job.State.DRAFT:
        said = (
            _(
                "{job} is {state}, and its material was chosen for what it says now. "
                "Take the promise back first, then change it."
            )
            if job.state == Job.State.PROMISED
            else _("{job} is {state}; make the same again to change it.")
        )
        raise NotInThisState(said.format(job=job, state=job.get_state_display()))


@planned_act
def place_design(placed: PlacedDesign, placement: Placement, *, hooping: int, order: int) -> PlacedDesign:
    """Return ``placed`` where ``placement`` says; placements refuse what their stitches do not bear."""
    refuse_unless_draft(hold_job(placed.job))
    placed.x_mm, placed.y_mm = placement.x_mm, placement.y_mm
    placed.turned_deg, placed.mirrored = placement.turned_deg % 360, placement.mirrored
    placed.scale_percent = round(placement.scale * 100, 3)
    placed.hooping, placed.order = hooping, order
    placed.save()
    return placed


@planned_act
def make_names_job(
    facts: JobFacts, lines: str, *, at: datetime, by: Any, key: str = "", as_many_as_fit: bool = False
) -> Job:
    """Return a new job whose pieces carry only lettering, one name each in the order of ``lines``.

    There are as many pieces as names, whatever ``facts`` say, and with ``as_many_as_fit`` as many in a hooping as a
    hoop holds. The same ``key`` sent again answers with the job that
    it made. Raises UnclearNames as ``lettering_of`` does.
    """
    earlier = made_before(key)
    if earlier is not None:
        return earlier
    lettering = lettering_of(lines)
    if not lettering:
        raise UnclearNames(_("A job without a design needs a list of names, one a line."))
    job = Job.objects.create(**vars(replace(facts, pieces=len(lettering))), made_at=at, by=by)
    _name_pieces(job, lettering)
    if as_many_as_fit:
        job.copies = hooping_of(replace(asked_of(job), copies="most")).copies
        job.save(update_fields=["copies"])
    if key:
        Change.objects.create(
            table=TABLE,
            record=job.pk,
            what=f"made {job}"[:200],
            at=at,
            by=by,
            station=standing_at(by),
            key=key,
        )
    return job


@planned_act
def list_names(job: Job, lines: str) -> list[NamedPiece]:
    """Return the lettering of each piece, from lines as ``lettering_of`` reads them; an empty text takes it off.

    Raises UnclearNames with every line that fits no design, or if there is not one line for each piece. A job without
    a design keeps names, and has as many pieces.
    """
    refuse_unless_draft(hold_job(job))
    written = [line for line in lines.splitlines() if line.strip()]
    only_names = not job.placed.exists()
    if only_names and not written:
        raise UnclearNames(_("Without a design the names are all that is stitched: list one for each piece."))
    if written and len(written) != job.pieces and not only_names:
        raise UnclearNames(
            _("{names} names are listed for {pieces} pieces; list one for each piece, in order.").format(
                names=len(written), pieces=job.pieces
            )
        )
    lettering = lettering_of(lines)
    job.names.all().delete()
    if only_names and job.pieces != len(lettering):
        job.pieces = len(lettering)
        job.save(update_fields=["pieces"])
    return _name_pieces(job, lettering)


def _name_pieces(job: Job, lettering: Sequence[tuple[str, Design]]) -> list[NamedPiece]:
    return NamedPiece.objects.bulk_create(
        NamedPiece(job=job, number=number, text=text[:60], design=design)
        for number, (text, design) in enumerate(lettering, 1)
    )


@planned_act
def delete_job(job: Job) -> None:
    """Delete a draft; its designs stay kept. What was ever promised is dropped instead, and stays on record."""
    if hold_job(job).state != Job.State.DRAFT or job.events.exists():
        raise NotInThisState(
            _("{job} is {state}; it is dropped, not deleted.").format(job=job, state=job.get_state_display())
        )
    job.delete()


def plan_of(job: Job, *, with_advice: bool = True) -> BatchPlan:
    """Return the plan of a kept job against the shelf as it stands.

    What is cut for it is asked of the shelf no more. What is set aside for it counts as free, and the shades it was
    promised with stay.
    """
    return plan_asked(asked_of(job), with_advice=with_advice)
