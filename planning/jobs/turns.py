"""All open jobs planned together: who claims the shelf in which turn, and what if one came first."""

from collections import Counter, defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from inventory.compute.errors import WorkshopError
from inventory.models import BobbinStyle, Reservation
from planning.compute.batch.asked import BobbinStock, Shelf
from planning.compute.batch.plan import BatchPlan
from planning.compute.batch.taking import claims, shelf_after
from planning.facts.layers import layer_needs
from planning.facts.learning import Learned, learned
from planning.jobs.jobs import NotInThisState, plan_of
from planning.jobs.layers import pieces_cut_of
from planning.models import Fabric, Hoop, Job, Machine, Rules
from planning.plan.ask import Setting
from planning.plan.shelf import bobbin_stock, shelf

State = Job.State
NO_CLOTH = Fabric(name="", thickness_mm=0.6)


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
    shelves.hold(but_not={each.holder for each in jobs if each.state == State.PROMISED})
    return _claim(jobs, shelves, keep_promises=False)


def worse_off(before: Sequence[Standing], after: Sequence[Standing]) -> list[tuple[Standing, Standing]]:
    """Return the jobs whose verdict gets worse, as they stood before and would stand after."""
    then = {each.job.pk: each for each in after}
    order = ("enough", "tight", "unknown", "short")
    return [
        (each, then[each.job.pk])
        for each in before
        if each.job.pk in then and order.index(then[each.job.pk].verdict) > order.index(each.verdict)
    ]


class Shelves:
    """What is left of the shelf while jobs claim it: one shelf for all, and bobbins by their style.

    It is read once, in a number of queries that does not grow with the jobs.
    """

    def __init__(self, jobs: Sequence[Job]) -> None:
        self.rules = Rules.current()
        self.first = Machine.objects.select_related("bobbin_style").prefetch_related("hoops").first()
        self.held: dict[str, Counter[str]] = defaultdict(Counter)
        self.held_bobbins: dict[str, Counter[int]] = defaultdict(Counter)
        everything: Counter[int] = Counter()
        for held in Reservation.objects.select_related("item__bobbinbatch"):
            everything[held.item_id] += held.quantity
            self.held[held.holder][held.item.label] += held.quantity
            if held.item.kind == held.item.Kind.BOBBINS:
                self.held_bobbins[held.holder][held.item.bobbinbatch.style_id] += held.quantity
        machines = [each for each in (self.first, *(job.machine for job in jobs)) if each]
        styles = {each.bobbin_style for each in machines if each.bobbin_style}
        # As if nothing were set aside; ``hold`` takes off what is.
        self.whole: Shelf = shelf(
            fibre=self.rules.fibre, weight_label=self.rules.weight_label, own=everything
        )
        self.whole_bobbins: dict[BobbinStyle, BobbinStock | None] = {
            each: bobbin_stock(each, own=everything) for each in styles
        }
        self.learned: dict[int, Learned] = {each.pk: learned(each) for each in dict.fromkeys(machines)}
        self.cut = pieces_cut_of(jobs)
        self.hoops = tuple(Hoop.objects.smallest_first())
        self.hold(but_not=())

    def hold(self, *, but_not: Collection[str]) -> None:
        """Set aside again what everybody holds but these holders."""
        holders = [holder for holder in self.held if holder not in but_not]
        claimed = sum((self.held[holder] for holder in holders), Counter[str]())
        self.shelf = shelf_after(self.whole, claimed, bobbins=0)
        self.bobbins = {}
        for style, stock in self.whole_bobbins.items():
            taken = sum(self.held_bobbins[holder][style.pk] for holder in holders)
            self.bobbins[style] = _bobbins_after(stock, claimed, taken)

    def machine(self, job: Job) -> Machine:
        return job.machine or self.first or Machine(name="default machine")

    def for_job(self, job: Job) -> Shelf:
        style = self.machine(job).bobbin_style
        return replace(self.shelf, bobbins=self.bobbins[style] if style else None)

    def setting(self, job: Job) -> Setting:
        machine, fabric = self.machine(job), job.fabric or NO_CLOTH
        own = sorted(
            machine.hoops.all() if machine.pk else (),
            key=lambda hoop: (hoop.field_width_mm * hoop.field_height_mm, hoop.name),
        )
        return Setting(
            rules=self.rules,
            machine=machine,
            fabric=fabric,
            layers=layer_needs(fabric),
            hoop=job.hoop,
            hoops=tuple(own) if machine.pk else self.hoops,
            known=self.learned.get(machine.pk, Learned()),
        )

    def take(self, job: Job, plan: BatchPlan) -> None:
        after = shelf_after(self.for_job(job), claims(plan), bobbins=plan.bobbins.sure_count)
        self.shelf = replace(after, bobbins=None)
        style = self.machine(job).bobbin_style
        if style:
            self.bobbins[style] = after.bobbins

    def plan(self, job: Job) -> BatchPlan:
        """Return the plan of ``job`` against what is left now. Raises WorkshopError where it cannot be planned."""
        return plan_of(
            job,
            shelf=self.for_job(job),
            setting=self.setting(job),
            cut_before=self.cut.get(job.pk, ()),
            with_advice=False,
        )


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
