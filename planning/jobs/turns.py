"""All open jobs planned together: who claims the shelf in which turn, and what if one came first."""

from collections import Counter, defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from inventory.compute.errors import WorkshopError
from inventory.models import BobbinStyle, Reservation
from planning.compute.batch.asked import BobbinStock, Shelf
from planning.compute.batch.plan import BatchPlan, is_worse
from planning.compute.batch.taking import claims, shelf_after
from planning.jobs.asked import AskedByJobs
from planning.jobs.jobs import NotInThisState
from planning.models import Job
from planning.plan.ask import plan_asked
from planning.plan.shelf import bobbin_stock, shelf

State = Job.State


@dataclass(frozen=True)
class Standing:
    """One job in its turn. ``plan`` is None where it cannot be planned, for the reason in ``problem``.

    ``verdict`` is that of its plan; a job that holds its material has the verdict it was promised with.
    """

    job: Job
    verdict: str
    plan: BatchPlan | None = None
    problem: str = ""
    holds: bool = False


def in_turn(*, at_most: int | None = None) -> list[Standing]:
    """Return the waiting jobs in the order in which they claim stock, each against what the earlier ones leave.

    Only the first ``at_most`` of those that hold nothing yet are planned; the others say that their turn is far.
    Promised and running jobs hold what was set aside for them; drafts claim what is free, by priority and day.
    The number of queries does not grow with the jobs.
    """
    jobs = list(Job.objects.waiting().with_everything().in_turn())
    return _claim(jobs, Shelves(jobs), keep_promises=True, at_most=at_most)


def if_first(job: Job) -> list[Standing]:
    """Return how the waiting jobs would stand if ``job`` came first and promises not yet begun were open again.

    Nothing is saved: it answers who would go short, and of what. Raises NotInThisState for a job that claims
    nothing any more.
    """
    if job.state not in (State.DRAFT, State.PROMISED):
        raise NotInThisState(f"{job} is {job.get_state_display()}: it claims nothing any more.")
    jobs = list(Job.objects.waiting().with_everything().in_turn())
    jobs.sort(key=lambda each: each.pk != job.pk)
    shelves = Shelves(jobs)
    shelves.set_aside(but_not={each.holder for each in jobs if each.state == State.PROMISED})
    return _claim(jobs, shelves, keep_promises=False)


def worse_off(before: Sequence[Standing], after: Sequence[Standing]) -> list[tuple[Standing, Standing]]:
    """Return the jobs whose verdict gets worse, as they stood before and would stand after."""
    then = {each.job.pk: each for each in after}
    return [
        (each, then[each.job.pk])
        for each in before
        if each.job.pk in then and is_worse(then[each.job.pk].verdict, than=each.verdict)
    ]


class Shelves:
    """What is left of the shelf while jobs claim it: one shelf for all, and bobbins by their style.

    It is read once, in a number of queries that does not grow with the jobs.
    """

    def __init__(self, jobs: Sequence[Job]) -> None:
        self.asked_by = AskedByJobs(jobs)
        self.rules = self.asked_by.facts.rules
        self.claimed_by: dict[str, Counter[str]] = defaultdict(Counter)
        self.bobbins_claimed_by: dict[str, Counter[int]] = defaultdict(Counter)
        everything: Counter[int] = Counter()
        for each in Reservation.objects.select_related("item__bobbinbatch"):
            everything[each.item_id] += each.quantity
            self.claimed_by[each.holder][each.item.label] += each.quantity
            if each.item.kind == each.item.Kind.BOBBINS:
                self.bobbins_claimed_by[each.holder][each.item.bobbinbatch.style_id] += each.quantity
        machines = [self.asked_by.facts.machine(own) for own in (None, *(job.machine for job in jobs))]
        styles = {each.bobbin_style for each in machines if each.bobbin_style}
        # As if nothing were set aside; ``set_aside`` takes off what is.
        self.whole: Shelf = shelf(
            fibre=self.rules.fibre, weight_label=self.rules.weight_label, own=everything
        )
        self.whole_bobbins: dict[BobbinStyle, BobbinStock | None] = {
            each: bobbin_stock(each, own=everything) for each in styles
        }
        self.set_aside(but_not=())

    def set_aside(self, *, but_not: Collection[str]) -> None:
        """Set aside again what is set aside for everybody but these holders."""
        holders = [holder for holder in self.claimed_by if holder not in but_not]
        claimed = sum((self.claimed_by[holder] for holder in holders), Counter[str]())
        self.shelf = shelf_after(self.whole, claimed, bobbins=0)
        self.bobbins = {}
        for style, stock in self.whole_bobbins.items():
            taken = sum(self.bobbins_claimed_by[holder][style.pk] for holder in holders)
            self.bobbins[style] = _bobbins_after(stock, claimed, taken)

    def for_job(self, job: Job) -> Shelf:
        style = self._style(job)
        return replace(self.shelf, bobbins=self.bobbins[style] if style else None)

    def _style(self, job: Job) -> BobbinStyle | None:
        return self.asked_by.facts.machine(job.machine).bobbin_style

    def take(self, job: Job, plan: BatchPlan) -> None:
        after = shelf_after(self.for_job(job), claims(plan), bobbins=plan.bobbins.sure_count)
        self.shelf = replace(after, bobbins=None)
        style = self._style(job)
        if style:
            self.bobbins[style] = after.bobbins

    def plan(self, job: Job) -> BatchPlan:
        """Return the plan of ``job`` against what is left now. Raises WorkshopError where it cannot be planned."""
        return plan_asked(self.asked_by.of(job), shelf=self.for_job(job), with_advice=False)


def _bobbins_after(stock: BobbinStock | None, claimed: Mapping[str, int], taken: int) -> BobbinStock | None:
    if stock is None:
        return None
    return shelf_after(Shelf((), stock, ()), claimed, bobbins=taken).bobbins


def _claim(
    jobs: Sequence[Job], shelves: Shelves, *, keep_promises: bool, at_most: int | None = None
) -> list[Standing]:
    standings: list[Standing] = []
    planned = 0
    for job in jobs:
        holds = job.state == State.RUNNING or (keep_promises and job.state == State.PROMISED)
        if holds:
            standings.append(Standing(job, verdict=job.promise.verdict, holds=True))
            continue
        if at_most is not None and planned == at_most:
            standings.append(Standing(job, verdict="unknown", problem="Reckoned when its turn is nearer."))
            continue
        planned += 1
        try:
            plan = shelves.plan(job)
        except WorkshopError as problem:
            standings.append(Standing(job, verdict="unknown", problem=str(problem)))
            continue
        shelves.take(job, plan)
        standings.append(Standing(job, verdict=plan.verdict, plan=plan))
    return standings
