"""How a job stands in its turn, and what is left of the shelf while jobs claim it."""

from collections import Counter, defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from inventory.models import BobbinStyle, Reservation
from planning.compute.batch.asked import BobbinStock, Shelf
from planning.compute.batch.plan import BatchPlan, is_worse
from planning.compute.batch.taking import shelf_after
from planning.compute.season.stand import Stood
from planning.compute.stabilizer.supply import StabilizerStock
from planning.jobs.asked import AskedByJobs
from planning.models import Job
from planning.plan.ask import plan_asked
from planning.plan.shelf import bobbin_stock, shelf


@dataclass(frozen=True)
class Standing:
    """One job in its turn. ``stood`` is None where it cannot be planned, for the reason in ``problem``.

    ``plan`` is its whole plan, where that was asked for. ``verdict`` is that of its plan; a job that holds its material
    has the verdict it was promised with.
    """

    job: Job
    verdict: str
    stood: Stood | None = None
    problem: str = ""
    holds: bool = False
    plan: BatchPlan | None = None


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
        claimed = self._claimed(but_not)
        self._taken: Counter[str] = Counter()
        self.shelf = shelf_after(self.whole, claimed, bobbins=0)
        self.bobbins = self._bobbins_without(claimed, but_not)

    def beside_thread(
        self, *, but_not: Collection[str]
    ) -> tuple[tuple[StabilizerStock, ...], dict[BobbinStyle, BobbinStock | None]]:
        """Return the stabilizer and the bobbins with what ``set_aside`` would set aside; nothing is."""
        claimed = self._claimed(but_not)
        without_thread = replace(self.whole, shades=(), left_out=())
        stabilizer = shelf_after(without_thread, claimed, bobbins=0).stabilizer
        return stabilizer, self._bobbins_without(claimed, but_not)

    def _claimed(self, but_not: Collection[str]) -> Counter[str]:
        claimed: Counter[str] = Counter()
        for holder, things in self.claimed_by.items():
            if holder not in but_not:
                claimed.update(things)
        return claimed

    def _bobbins_without(
        self, claimed: Mapping[str, int], but_not: Collection[str]
    ) -> dict[BobbinStyle, BobbinStock | None]:
        holders = [holder for holder in self.claimed_by if holder not in but_not]
        return {
            style: bobbins_after(
                stock, claimed, sum(self.bobbins_claimed_by[holder][style.pk] for holder in holders)
            )
            for style, stock in self.whole_bobbins.items()
        }

    def for_job(self, job: Job) -> Shelf:
        if self._taken:
            self.shelf = shelf_after(self.shelf, self._taken, bobbins=0)
            self._taken = Counter()
        style = self.style_of(job)
        return replace(self.shelf, bobbins=self.bobbins[style] if style else None)

    def style_of(self, job: Job) -> BobbinStyle | None:
        return self.asked_by.facts.machine(job.machine).bobbin_style

    def plan(self, job: Job) -> BatchPlan:
        """Return the plan of ``job`` against what is left now. Raises WorkshopError where it cannot be planned."""
        return plan_asked(self.asked_by.of(job), shelf=self.for_job(job), with_advice=False)

    def take(self, job: Job, claimed: Mapping[str, int], *, bobbins: int) -> None:
        """Take what a job claims off the shelf, and so many full bobbins of its style.

        Thread and stabilizer are taken off together with what others claim before the next job is planned.
        """
        self._taken.update(claimed)
        style = self.style_of(job)
        if style:
            self.bobbins[style] = bobbins_after(self.bobbins[style], claimed, bobbins)


def bobbins_after(stock: BobbinStock | None, claimed: Mapping[str, int], taken: int) -> BobbinStock | None:
    if stock is None:
        return None
    return shelf_after(Shelf((), stock, ()), claimed, bobbins=taken).bobbins
