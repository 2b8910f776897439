"""What kept jobs ask, read from their records: of one, or of many in a number of queries that does not grow."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from inventory.models import Entry
from planning.compute.batch.asked import AskedDesign
from planning.compute.stabilizer.layers import CutBefore
from planning.facts.recipes import recipe_notes
from planning.library.designs import asked_from_record
from planning.models import Job, JobCut, NamedPiece, PlacedDesign
from planning.plan.asked import JobAsked, WorkshopFacts, workshop_facts
from planning.plan.pins import pins_of

# Lettering is stitched in the hooping of the first design.
LETTERING_HOOPING = 1


class AskedByJobs:
    """What each of several jobs asks. What they share is read once; what is a job's own, as it comes with the job.

    Jobs read with ``with_everything()`` cost no query more, however many they are.
    """

    def __init__(self, jobs: Sequence[Job]) -> None:
        self.facts: WorkshopFacts = workshop_facts([job.machine for job in jobs])
        self._cut = pieces_cut_of(jobs)
        self._designs: dict[int, AskedDesign] = {}

    def of(self, job: Job) -> JobAsked:
        """Return what ``job`` asks. Raises WorkshopError for a design that cannot lie as it is placed."""
        return self.facts.asked(
            (
                replace(self._design(each), placement=each.placement, hooping=each.hooping)
                for each in job.placed.all()
            ),
            (replace(self._design(each), hooping=LETTERING_HOOPING) for each in job.names.all()),
            pieces=job.pieces,
            machine=job.machine,
            fabric=job.fabric,
            hoop=job.hoop,
            tests=job.tests,
            copies=job.copies,
            needed_on=job.needed_on,
            strictness=job.strictness,
            holder=job.holder,
            pins=pins_of(job),
            settled=_settled(job),
            cut_before=self._cut.get(job.pk, ()),
        )

    def _design(self, part: PlacedDesign | NamedPiece) -> AskedDesign:
        """Return the design of a part of a job: that of several jobs is made once."""
        if part.design_id not in self._designs:
            self._designs[part.design_id] = asked_from_record(part.design)
        return self._designs[part.design_id]


def asked_of(job: Job) -> JobAsked:
    """Return what ``job`` asks."""
    return AskedByJobs([job]).of(job)


def recipe_notes_of(asked: JobAsked) -> list[str]:
    """Return what looks wrong with the recipe of a job's fabric for its designs."""
    if asked.fabric.pk is None:
        return []
    return recipe_notes(asked.fabric, asked.layers, [*asked.designs, *asked.lettering])


def _settled(job: Job) -> tuple[tuple[tuple[int, int], int], ...]:
    if job.state not in (Job.State.PROMISED, Job.State.RUNNING) or not hasattr(job, "promise"):
        return ()
    return tuple(
        ((design, number), thread.shade_id)
        for thread in job.promise.threads.all()
        for design, number in thread.blocks
        if thread.shade_id
    )


def pieces_cut_of(jobs: Iterable[Job]) -> dict[int, tuple[CutBefore, ...]]:
    """Return the pieces of stabilizer that are cut for each of these jobs and not taken back, by its number.

    A plan need not ask for them again.
    """
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
                CutBefore(each["kind"], each["method"], (each["width_mm"], each["height_mm"]), each["count"])
                for each in row.pieces
            )
    return found
