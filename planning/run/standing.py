"""A run as it stands: what was promised, what happened, what it took of each thing."""

from collections import defaultdict
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

from django.db.models import CharField, QuerySet, Sum, Value
from django.db.models.functions import Concat

from inventory.models import Entry, Spool, ThreadRange
from planning.compute.run.state import (
    RunThreadPlan,
    SpoolTurn,
    Swap,
    bobbins_put_in,
    positions_left,
    spool_on,
)
from planning.jobs.jobs import NotInThisState
from planning.models import Job, Promise, PromisedThread, RunEvent

Kind = RunEvent.Kind
TICKS = (Kind.PIECE, Kind.SPOILED)
# The ledger has an event's act under its own key behind this.
ACT = "run-"


@dataclass(frozen=True)
class Run:
    """A job at the machine with everything that happened so far, taken back or not."""

    job: Job
    promise: Promise
    records: tuple[PromisedThread, ...]
    threads: tuple[RunThreadPlan, ...]
    events: tuple[RunEvent, ...]
    done: dict[int, bool]
    swaps: tuple[Swap, ...]

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
            return f"test {position}"
        return (
            f"piece {position - tests}"
            if position <= tests + pieces
            else f"spare {position - tests - pieces}"
        )

    def bobbins_after(self, pieces: int) -> tuple[int, list[str]]:
        """Return how many full bobbins, and which part ones, are put in once so many positions are stitched."""
        if not self.promise.bobbin_mm:
            return 0, []
        return bobbins_put_in(
            pieces,
            first=self.promise.first_bobbin,
            changes=self.promise.bobbin_changes,
            interruptions=self.promise.bobbin_interruptions,
        )


def run_of(job: Job) -> Run:
    """Return how ``job`` stands at the machine, in a number of queries that does not grow with its pieces.

    Raises NotInThisState if it was never promised.
    """
    promise = Promise.objects.filter(job=job).first()
    if promise is None:
        raise NotInThisState(f"{job} was not promised yet: its spools are not chosen.")
    records = tuple(promise.threads.select_related("shade__range").prefetch_related("spools__item__place"))
    events = tuple(job.events.standing().select_related("thread", "item", "by").order_by("id"))
    return Run(
        job=job,
        promise=promise,
        records=records,
        threads=tuple(_plan_of(record) for record in records),
        events=events,
        done={event.position: event.kind == Kind.PIECE for event in events if event.kind in TICKS},
        swaps=tuple(
            Swap(event.thread.order, event.position, event.item_id)
            for event in events
            if event.kind == Kind.SPOOL and event.thread and event.item_id
        ),
    )


def act_key(event: RunEvent) -> str:
    """Return the key under which the ledger has what ``event`` moved."""
    return f"{ACT}{event.key}"


def entries_of_run(job: Job) -> QuerySet[Entry]:
    """Return what the ledger has of the events of ``job``, those included that take others back."""
    keys = job.events.order_by().values(act=Concat(Value(ACT), "key", output_field=CharField()))
    return Entry.objects.filter(key__in=keys)


def used_so_far(job: Job) -> dict[int, int]:
    """Return how much of each item the run has taken by its ticks, in the item's unit."""
    moved = entries_of_run(job).order_by().values("item_id").annotate(total=Sum("quantity"))
    return {each["item_id"]: -each["total"] for each in moved if each["total"]}


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
    by_order = {thread.order: thread for thread in run.threads}
    entries = _entries_of_events(run)
    for event in run.events:
        if event.kind in TICKS:
            for thread in run.threads:
                item = spool_on(thread, event.position, run.swaps)
                if item is not None:
                    geometry_mm[item] += thread.geometry_at(event.position)
                    beyond_mm[item] += thread.path_at(event.position)
                    per_kappa_mm[item] += thread.geometry_at(event.position) * (thread.kappa_slope or 0.0)
        elif event.kind == Kind.RESTITCH and event.thread and event.item_id:
            thread = by_order[event.thread.order]
            again_mm = thread.geometry_at(event.position) * event.share
            geometry_mm[event.item_id] += again_mm
            per_kappa_mm[event.item_id] += again_mm * (thread.kappa_slope or 0.0)
        elif event.kind == Kind.BREAK and event.item_id:
            beyond_mm[event.item_id] += -entries.get((act_key(event), event.item_id), 0)
    used = used_so_far(run.job)
    items = Spool.objects.filter(pk__in=set(geometry_mm) | set(beyond_mm)).select_related("shade__range")
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


def _entries_of_events(run: Run) -> dict[tuple[str, int], int]:
    return {(each.key, each.item_id): each.quantity for each in entries_of_run(run.job)}


def _plan_of(record: PromisedThread) -> RunThreadPlan:
    return RunThreadPlan(
        order=record.order,
        geometry_mm=tuple(record.geometry_mm),
        median=record.median,
        relative_sigma=record.relative_sigma,
        kappa_slope=record.kappa_slope,
        turns=tuple(
            SpoolTurn(spool.item_id, spool.from_position, spool.to_position) for spool in record.spools.all()
        ),
        path_mm=tuple(record.path_mm),
    )
