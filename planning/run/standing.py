"""A run as it stands: what was promised, what happened, what it took of each thing."""

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

from django.db.models import CharField, QuerySet, Sum, Value
from django.db.models.functions import Concat

from inventory.compute.spoken import _
from inventory.ledger import SHOWN
from inventory.models import Entry, Spool, ThreadRange
from planning.compute.certainty.enough import BOBBIN_PRIOR
from planning.compute.certainty.learned import sigma_of_change
from planning.compute.run.derivation import (
    BobbinChangePlan,
    BobbinPlan,
    BobbinsTaken,
    RunPlan,
    RunStep,
    ThreadTaken,
    bobbins_taken,
    swaps_of,
    threads_taken,
)
from planning.compute.run.state import (
    RunThreadPlan,
    SpoolTurn,
    Swap,
    positions_left,
)
from planning.jobs.jobs import NotInThisState
from planning.models import Job, Machine, Promise, PromisedThread, RunEvent, ToldChange
from planning.plan.ask import chosen_machine

Kind = RunEvent.Kind
TICKS = (Kind.PIECE, Kind.SPOILED)
# The ledger has an event's act under its own key behind this, and what it corrects of earlier ones under that key
# with one of these endings.
ACT = "run-"
TAKEN_MORE, PUT_BACK, BOBBINS_MORE, BOBBINS_BACK = "~take", "~back", "~bobbin", "~unput"
USED = ("", TAKEN_MORE, PUT_BACK, BOBBINS_MORE, BOBBINS_BACK)
# Whether a job begins with a fresh bobbin or goes on with what is in the case is a habit that nobody tells, the same on
# every job: this share of a bobbin, as one sigma. Common practice, no source.
BOBBIN_IN_CASE = 0.25
# What keeps a thing as it was found outside the run, while the run's own use of it changes.
AS_FOUND = "~found"
KEPT_AS_FOUND = (f"{AS_FOUND}+", f"{AS_FOUND}-")


@dataclass(frozen=True)
class Run:
    """A job at the machine with everything that happened so far, taken back or not."""

    job: Job
    promise: Promise
    machine: Machine
    records: tuple[PromisedThread, ...]
    threads: tuple[RunThreadPlan, ...]
    events: tuple[RunEvent, ...]
    done: dict[int, bool]
    # How often somebody said, since the promise, that the machine was set otherwise.
    changes_told: int = 0

    @cached_property
    def _left_and_good(self) -> tuple[list[int], int]:
        return positions_left(self.done, tests=self.promise.tests, pieces=self.promise.pieces)

    @property
    def left(self) -> list[int]:
        """The positions still to be stitched, in order."""
        return self._left_and_good[0]

    @property
    def left_with_spares(self) -> list[int]:
        """The positions still to be stitched, and those that may yet replace spoiled pieces."""
        if not self.left:
            return []
        planned = self.promise.tests + self.promise.pieces
        spares = max(0, self.promise.to_stitch - planned - self.spoiled)
        return [*self.left, *range(max(self.left) + 1, max(self.left) + 1 + spares)]

    @property
    def good(self) -> int:
        return self._left_and_good[1]

    @property
    def spoiled(self) -> int:
        return sum(not is_good for position, is_good in self.done.items() if position > self.promise.tests)

    def called(self, position: int) -> str:
        """What a person calls the piece at ``position``."""
        tests, pieces = self.promise.tests, self.promise.pieces
        if position <= tests:
            return _("test {number}").format(number=position)
        if position <= tests + pieces:
            return _("piece {number}").format(number=position - tests)
        return _("spare {number}").format(number=position - tests - pieces)

    @cached_property
    def plan(self) -> RunPlan:
        """What was promised, as the derivation takes it."""
        promise = self.promise
        changes = [BobbinChangePlan(*change) for change in promise.bobbin_changes]
        inside = [BobbinChangePlan(each, inside=True) for each in promise.bobbin_interruptions]
        machine = self.machine
        return RunPlan(
            threads=self.threads,
            bobbins=BobbinPlan(
                first=promise.first_bobbin,
                changes=(*changes, *inside),
                geometry_mm=tuple(promise.bobbin_geometry_mm) if promise.bobbin_mm else (),
            ),
            break_mm=round(machine.threaded_path_mm + machine.needle_tail_start_mm),
        )

    @cached_property
    def steps(self) -> tuple[RunStep, ...]:
        """The events that stand, as the derivation takes them."""
        return tuple(
            RunStep(
                number=event.pk,
                kind=event.kind,
                position=event.position,
                thread=event.thread.order if event.thread else None,
                item=event.item_id if event.kind == Kind.SPOOL else None,
                share=event.share,
            )
            for event in self.events
        )

    @cached_property
    def swaps(self) -> tuple[Swap, ...]:
        """The swaps that stand, in the order of the pieces they begin at."""
        return swaps_of(self.steps)

    @cached_property
    def taken(self) -> list[ThreadTaken]:
        """What each event took of every thread."""
        return threads_taken(self.plan, self.steps)

    @cached_property
    def bobbins(self) -> BobbinsTaken:
        """The bobbins that went in so far, and when the next ones are due."""
        return bobbins_taken(self.plan.bobbins, self.steps)

    @cached_property
    def bobbin_sigmas(self) -> tuple[float, float]:
        """How far the bobbins of this job may stray from what is reckoned, as a share, and those of every job alike."""
        promise = self.promise
        whole, level = promise.bobbin_relative_sigma, promise.bobbin_level_sigma
        if whole is None or level is None:
            whole, level = BOBBIN_PRIOR.predictive_sigma, BOBBIN_PRIOR.sigma
        scatter = math.sqrt(max(whole**2 - level**2, 0.0))
        in_case = BOBBIN_IN_CASE / (1 + sum(not change.label for change in self.plan.bobbins.changes))
        changed = self.changes_told * sigma_of_change(1, slope=promise.bobbin_kappa_slope) ** 2
        return scatter, math.sqrt(level**2 + changed + in_case**2)


def run_of(job: Job) -> Run:
    """Return how ``job`` stands at the machine, in a number of queries that does not grow with its pieces.

    Raises NotInThisState if it was never promised.
    """
    if not (found := runs_of([job])):
        raise NotInThisState(_("{job} was not promised yet: its spools are not chosen.").format(job=job))
    return found[0]


def runs_of(jobs: Sequence[Job]) -> list[Run]:
    """Return how those of ``jobs`` stand that were promised, in as many queries as one of them takes."""
    promises = {each.job_id: each for each in Promise.objects.filter(job__in=jobs)}
    by_number = {each.pk: each for each in promises.values()}
    records: dict[int, list[PromisedThread]] = defaultdict(list)
    threads = PromisedThread.objects.filter(promise__in=promises.values()).select_related("shade__range")
    for record in threads.prefetch_related("spools__item__place"):
        record.promise = by_number[record.promise_id]
        records[record.promise_id].append(record)
    events: dict[int, list[RunEvent]] = defaultdict(list)
    standing = RunEvent.objects.filter(job__in=[job for job in jobs if job.pk in promises]).standing()
    for event in standing.select_related("thread", "item", "by").order_by("id"):
        events[event.job_id].append(event)
    for job in jobs:
        for event in events[job.pk]:
            event.job = job
    machines = _machines_of(jobs)
    told = ToldChange.objects.filter(machine__in={each.pk for each in machines.values() if each.pk})
    changes = list(told.values_list("machine_id", "at"))
    return [
        _run(
            job,
            promise,
            machines[job.pk],
            records=records[promise.pk],
            events=events[job.pk],
            told=sum(machine == machines[job.pk].pk and at > promise.at for machine, at in changes),
        )
        for job in jobs
        if (promise := promises.get(job.pk)) is not None
    ]


def _machines_of(jobs: Sequence[Job]) -> dict[int, Machine]:
    """Return the machine that each job runs on, by the job's id; the workshop's first is asked for once."""
    first = [chosen_machine(None)] if any(job.machine is None for job in jobs) else []
    return {job.pk: job.machine or first[0] for job in jobs}


def _run(
    job: Job,
    promise: Promise,
    machine: Machine,
    *,
    records: Sequence[PromisedThread],
    events: Sequence[RunEvent],
    told: int,
) -> Run:
    return Run(
        job=job,
        promise=promise,
        machine=machine,
        records=tuple(records),
        threads=tuple(_plan_of(record, changes_told=told) for record in records),
        events=tuple(events),
        done={event.position: event.kind == Kind.PIECE for event in events if event.kind in TICKS},
        changes_told=told,
    )


def act_key(event: RunEvent) -> str:
    """Return the key under which the ledger has what ``event`` moved."""
    return f"{ACT}{event.key}"


def ending_key(job: Job, what: str) -> str:
    """Return the key of an act of finishing ``job``; each time it is finished has its own."""
    times = job.reopenings.count()
    return f"finish-{job.pk}-{what}" if not times else f"finish-{job.pk}-again{times}-{what}"


def entries_of_run(job: Job, *, endings: Sequence[str] = USED) -> QuerySet[Entry]:
    """Return what the ledger has of the events of ``job``, those included that take others back.

    ``endings`` are those of the keys: an event's own act, and what it corrected of earlier ones.
    """
    acts = [
        job.events.order_by().values_list(Concat(Value(ACT), "key", Value(ending), output_field=CharField()))
        for ending in endings
    ]
    return Entry.objects.filter(key__in=acts[0].union(*acts[1:], all=True) if acts[1:] else acts[0])


def used_so_far(job: Job) -> dict[int, int]:
    """Return how much of each item the run has taken by its ticks, in the item's unit.

    What was only shown to have been there, of a thing that nobody had measured, is no use of it.
    """
    moved = entries_of_run(job).filter(line__lt=SHOWN).order_by().values("item_id")
    return {
        each["item_id"]: -each["total"] for each in moved.annotate(total=Sum("quantity")) if each["total"]
    }


@dataclass(frozen=True)
class OnSpool:
    """What a run did with one spool: thread by the plan's geometry, and what no geometry tells.

    That is what breaks took, and what was lost at thread changes.
    """

    geometry_mm: float
    per_kappa_mm: float | None  # how that changes with κ; None where it was not kept
    beyond_mm: int
    estimated_mm: int
    range: ThreadRange | None


def spools_of(run: Run) -> dict[int, OnSpool]:
    """Return what the run did with each spool it used, by the spool's id."""
    geometry_mm: dict[int, float] = defaultdict(float)
    per_kappa_mm: dict[int, float] = defaultdict(float)
    unkept = any(thread.kappa_slope is None for thread in run.threads)
    beyond_mm: dict[int, float] = defaultdict(float)
    slopes = {thread.order: thread.kappa_slope or 0.0 for thread in run.threads}
    for each in run.taken:
        if each.item is not None:
            geometry_mm[each.item] += each.geometry_mm
            per_kappa_mm[each.item] += each.geometry_mm * slopes[each.order]
            beyond_mm[each.item] += each.beyond_mm
    used = used_so_far(run.job)
    items = Spool.objects.filter(pk__in=set(geometry_mm) | set(used)).select_related("shade__range")
    return {
        spool.pk: OnSpool(
            geometry_mm=geometry_mm[spool.pk],
            per_kappa_mm=None if unkept else per_kappa_mm[spool.pk],
            beyond_mm=round(beyond_mm[spool.pk]),
            estimated_mm=used.get(spool.pk, 0),
            range=spool.shade.range,
        )
        for spool in items.order_by("label")
    }


def spools_to_swap_in(run: Run) -> dict[int, list[Spool]]:
    """Return for each shade of the run the spools on the shelf that could go on instead, in shelf order."""
    shades = [record.shade_id for record in run.records if record.shade_id]
    found: dict[int, list[Spool]] = defaultdict(list)
    for spool in Spool.objects.on_the_shelf().of_shades(shades).select_related("place").in_shelf_order():
        found[spool.shade_id].append(spool)
    return found


def minutes_ticked(run: Run) -> float | None:
    """Return how long the machine ran by the ticks: the median time from tick to tick, times the pieces.

    None with fewer than four ticks. A break for lunch makes one long gap, which a median does not mind.
    """
    ticks = sorted(event.at for event in run.events if event.kind in TICKS)
    gaps = sorted((after - before).total_seconds() / 60 for before, after in pairwise(ticks))
    if len(gaps) < 3:
        return None
    middle = len(gaps) // 2
    median = gaps[middle] if len(gaps) % 2 else (gaps[middle - 1] + gaps[middle]) / 2
    return median * len(ticks)


def _plan_of(record: PromisedThread, *, changes_told: int) -> RunThreadPlan:
    whole = record.relative_sigma
    level = whole if record.level_sigma is None else record.level_sigma
    changed = changes_told * sigma_of_change(0, slope=record.kappa_slope) ** 2
    return RunThreadPlan(
        order=record.order,
        geometry_mm=tuple(record.geometry_mm),
        median=record.median,
        relative_sigma=math.sqrt(whole**2 + changed),
        kappa_slope=record.kappa_slope,
        level_sigma=math.sqrt(level**2 + changed),
        turns=tuple(
            SpoolTurn(spool.item_id, spool.from_position, spool.to_position) for spool in record.spools.all()
        ),
        path_mm=tuple(record.path_mm),
    )
