"""The end of a run: spools weighed back or believed, what it taught, and planned against actual."""

import math
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import ROUND_HALF_UP, Decimal
from itertools import pairwise
from typing import Any

from django.db import transaction
from django.db.models import Sum

from inventory.compute.errors import WorkshopError
from inventory.ledger import Finding, Line, NotEnough, held_after, post, release_holder
from inventory.models import Entry, Spool, StockItem, ThreadRange
from inventory.weighing import sigma_of_use, weigh_spool
from planning.compute.run_state import spool_on
from planning.compute.timing import machine_minutes
from planning.learning import Kind as Learns
from planning.learning import observe
from planning.models import Job, JobCut, Rules, RunEvent, RunReport
from planning.needles import note_stitches
from planning.promising import bobbin_batches, hold_in, machine_of
from planning.running import TICKS, Run, act_key, run_of, used_so_far

State = Job.State
Kind = RunEvent.Kind
# How well a person tells what is left on the last bobbin, as a share of a full one: common practice, no source.
BOBBIN_SIGMA = 0.15
# How well a person tells how long a machine ran: common practice, no source.
TIME_SIGMA = 0.05


@dataclass(frozen=True)
class WeighedBack:
    """A spool on the scale after the run. ``sure`` that it holds more than its put-up would."""

    label: str
    gross_mg: int
    sure: bool = False


@dataclass(frozen=True)
class Ending:
    """What a person says at the end of a run. What is left out is believed as it was estimated.

    ``bobbins`` may have a fraction: 3.5 is three empty ones and half of a fourth.
    """

    weighed: tuple[WeighedBack, ...] = ()
    scale_resolution_mg: int = 1000
    bobbins: float | None = None
    machine_min: float | None = None
    although_unfinished: bool = False


@dataclass(frozen=True)
class OnSpool:
    """What a run did with one spool: thread by the plan's geometry, and what no geometry tells, such as breaks."""

    geometry_mm: float
    beyond_mm: int
    estimated_mm: int
    range: ThreadRange | None


@transaction.atomic
def finish(job: Job, ending: Ending, *, at: datetime, by: Any) -> RunReport:
    """Return the report of ``job``, finished: the shelf corrected, the factors taught, nothing set aside any more.

    Raises WorkshopError where pieces are still to be stitched, unless a person says ``although_unfinished``. The
    whole act happens or none of it: a weighing that is refused leaves the job running. Sent again it answers with
    the report there is.
    """
    earlier = RunReport.objects.filter(job=job).first()
    if earlier is not None:
        return earlier
    hold_in(job, State.RUNNING)
    run = run_of(job)
    if run.left and not ending.although_unfinished:
        raise WorkshopError(
            f"{run.called(run.left[0]).capitalize()} and {len(run.left) - 1} more are not ticked. "
            "Tick what was stitched, or say that the job ends as it is."
        )
    spools = spools_of(run)
    began = _began(job, list(spools))
    release_holder(job.holder)
    differences = _weigh_back(job, ending, spools, at=at, by=by)
    _teach_thread(job, spools, began, differences, ending, at=at, by=by)
    bobbins = _settle_bobbins(run, ending, at=at, by=by)
    _teach_time(run, ending, at=at, by=by)
    machine = machine_of(job)
    stitched = round(run.promise.stitches * len(run.done) / run.promise.to_stitch)
    if machine.pk and stitched:
        note_stitches(machine, stitches=stitched, key=f"run-{job.pk}-stitches", at=at, by=by)
    job.state, job.ended_at = State.FINISHED, at
    job.save(update_fields=["state", "ended_at"])
    facts = _facts(run, ending, bobbins=bobbins)
    return RunReport.objects.create(job=job, at=at, by=by, facts=facts)


def spools_of(run: Run) -> dict[int, OnSpool]:
    """Return what the run did with each spool it used, by the spool's id."""
    geometry_mm: dict[int, float] = defaultdict(float)
    beyond_mm: dict[int, int] = defaultdict(int)
    by_order = {thread.order: thread for thread in run.threads}
    entries = _entries_of_events(run)
    for event in run.events:
        if event.kind in TICKS:
            for thread in run.threads:
                item = spool_on(thread, event.position, run.swaps)
                if item is not None:
                    geometry_mm[item] += thread.geometry_at(event.position)
        elif event.kind == Kind.RESTITCH and event.thread and event.item_id:
            geometry_mm[event.item_id] += (
                by_order[event.thread.order].geometry_at(event.position) * event.share
            )
        elif event.kind == Kind.BREAK and event.item_id:
            beyond_mm[event.item_id] += -entries.get((act_key(event), event.item_id), 0)
    used = used_so_far(run.job)
    items = Spool.objects.filter(pk__in=set(geometry_mm) | set(beyond_mm)).select_related("shade__range")
    return {
        spool.pk: OnSpool(
            geometry_mm=geometry_mm[spool.pk],
            beyond_mm=beyond_mm[spool.pk],
            estimated_mm=used.get(spool.pk, 0),
            range=spool.shade.range,
        )
        for spool in items.order_by("label")
    }


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
    entries = Entry.objects.filter(key__startswith=f"run-{run.job.pk}-")
    return {(each.key, each.item_id): each.quantity for each in entries}


def _began(job: Job, items: list[int]) -> dict[int, tuple[Finding, int]]:
    """Return how each spool was known before the run first took from it, and what it held."""
    found: dict[int, tuple[Finding, int]] = {}
    entries = Entry.objects.filter(key__startswith=f"run-{job.pk}-", item_id__in=items).order_by("id")
    for entry in entries:
        if entry.item_id not in found:
            known = Finding(entry.sigma_before, entry.known_before)
            found[entry.item_id] = known, held_after(entry) - entry.quantity
    return found


def _weigh_back(
    job: Job, ending: Ending, spools: Mapping[int, OnSpool], *, at: datetime, by: Any
) -> dict[int, int]:
    """Return for each weighed spool how much more it held than was thought, in mm."""
    found = {}
    for weighed in ending.weighed:
        spool = Spool.objects.filter(label__iexact=weighed.label.strip()).first()
        if spool is None or spool.pk not in spools:
            raise WorkshopError(f'No spool of this run has the label "{weighed.label}".')
        entry = weigh_spool(
            spool,
            gross_mg=weighed.gross_mg,
            scale_resolution_mg=ending.scale_resolution_mg,
            key=f"finish-{job.pk}-{spool.label}",
            at=at,
            by=by,
            sure=weighed.sure,
            reference=f"{job.holder}: weighed back",
        )
        found[spool.pk] = entry.quantity
    return found


def _teach_thread(
    job: Job,
    spools: Mapping[int, OnSpool],
    began: Mapping[int, tuple[Finding, int]],
    differences: Mapping[int, int],
    ending: Ending,
    *,
    at: datetime,
    by: Any,
) -> None:
    """Make one observation for each thread range of the spools that were weighed back."""
    machine = machine_of(job)
    actual: dict[int, float] = defaultdict(float)
    geometry: dict[int, float] = defaultdict(float)
    variance: dict[int, float] = defaultdict(float)
    ranges: dict[int, ThreadRange] = {}
    for pk, difference in differences.items():
        spool = spools[pk]
        if pk not in began or spool.range is None or spool.geometry_mm <= 0 or machine.pk is None:
            continue
        used_mm = spool.estimated_mm - difference
        before, before_mm = began[pk]
        sigma = sigma_of_use(
            StockItem(pk=pk),
            used_mm=max(used_mm, 0),
            before=before,
            before_mm=before_mm,
            scale_resolution_mg=ending.scale_resolution_mg,
        )
        if sigma is None:
            continue  # nobody knew what was on it, so that its weight now says nothing of what was used
        ranges[spool.range.pk] = spool.range
        actual[spool.range.pk] += used_mm - spool.beyond_mm
        geometry[spool.range.pk] += spool.geometry_mm
        variance[spool.range.pk] += sigma**2
    for pk, range in ranges.items():
        if actual[pk] <= 0:
            raise WorkshopError(
                f"By these weights the spools of {range} hold more than before the run. Weigh them again."
            )
        observe(
            machine,
            Learns.NEEDLE,
            range=range,
            job=job,
            estimated=geometry[pk],
            actual=actual[pk],
            sigma=math.sqrt(variance[pk]),
            key=f"finish-{job.pk}-needle-{pk}",
            at=at,
            by=by,
        )


def _settle_bobbins(run: Run, ending: Ending, *, at: datetime, by: Any) -> float:
    """Return how many bobbins the run took, after putting the shelf right and teaching the factor."""
    used = used_so_far(run.job)
    batches = {batch.pk: batch for batch in bobbin_batches(run.job)}
    gone = StockItem.objects.filter(pk__in=used, kind=StockItem.Kind.BOBBINS).select_for_update(no_key=True)
    taken = sum(used[item.pk] for item in gone)
    if ending.bobbins is None:
        return float(taken)
    if ending.bobbins < 0:
        raise WorkshopError(f"{ending.bobbins:g} bobbins cannot be used up; give 0 or more.")
    lines = _bobbin_corrections(
        math.ceil(ending.bobbins) - taken,
        gone={item.pk: used[item.pk] for item in gone},
        batches=list(batches.values()),
    )
    if lines:
        post(
            lines,
            reason=Entry.Reason.COUNT,
            key=f"finish-{run.job.pk}-bobbins",
            at=at,
            by=by,
            reference=f"{run.job.holder}: bobbins counted",
        )
    machine = machine_of(run.job)
    geometry_mm = sum(
        run.promise.bobbin_geometry_mm[min(position, len(run.promise.bobbin_geometry_mm)) - 1]
        for position in run.done
    )
    if ending.bobbins > 0 and geometry_mm > 0 and run.promise.bobbin_mm and machine.pk:
        batch = next(iter(batches.values()), None)
        observe(
            machine,
            Learns.BOBBIN,
            range=batch.shade.range if batch else None,
            job=run.job,
            estimated=geometry_mm,
            actual=ending.bobbins * run.promise.bobbin_mm,
            sigma=BOBBIN_SIGMA * run.promise.bobbin_mm,
            key=f"finish-{run.job.pk}-bobbins",
            at=at,
            by=by,
        )
    return ending.bobbins


def _bobbin_corrections(more: int, *, gone: Mapping[int, int], batches: list[Any]) -> list[Line]:
    """Return the lines that take ``more`` bobbins off the shelf, or put back those that were not used after all."""
    lines: list[Line] = []
    if more < 0:
        for pk, quantity in gone.items():
            back = min(-more, quantity)
            if back > 0:
                lines.append(Line(StockItem(pk=pk), back))
                more += back
        return lines
    for batch in batches:
        take = min(more, batch.free)
        if take > 0:
            lines.append(Line(batch, -take))
            more -= take
    if more:
        raise NotEnough(f"{more} more bobbins were used than the shelf has. Count the bobbins first.")
    return lines


def _teach_time(run: Run, ending: Ending, *, at: datetime, by: Any) -> None:
    """Learn the effective speed from the minutes a person tells: those that are no trims, stops and changes."""
    machine = machine_of(run.job)
    if ending.machine_min is None or machine.pk is None or not run.done:
        return
    if ending.machine_min <= 0:
        raise WorkshopError(f"{ending.machine_min:g} minutes is no time at a machine; give more than 0.")
    share = len(run.done) / run.promise.to_stitch
    stitching = machine_minutes(machine.times, stitches=round(run.promise.stitches * share))
    waiting = run.promise.waiting_min * share
    actual = ending.machine_min - waiting
    if stitching <= 0 or actual <= 0:
        raise WorkshopError(
            f"{ending.machine_min:g} minutes are fewer than trims and thread changes alone take. "
            "Give the minutes of the whole batch, or correct the seconds of the machine."
        )
    observe(
        machine,
        Learns.TIME,
        job=run.job,
        estimated=stitching,
        actual=actual,
        sigma=TIME_SIGMA * ending.machine_min,
        key=f"finish-{run.job.pk}-time",
        at=at,
        by=by,
    )


def _facts(run: Run, ending: Ending, *, bobbins: float) -> dict[str, Any]:
    """Return planned against actual, as it is kept: thread by thread, time and money."""
    job, promise = run.job, run.promise
    used = _used_in_all(job)
    weighed = {each.label.strip().upper() for each in ending.weighed}
    threads = []
    seen: set[int] = set()
    for record in run.records:
        items = {spool.item_id: spool.item for spool in record.spools.all()}
        items |= {
            event.item.pk: event.item
            for event in run.events
            if event.item and event.thread_id == record.pk and event.kind == Kind.SPOOL
        }
        own = {pk: item for pk, item in items.items() if pk not in seen}
        seen |= set(own)
        threads.append(
            {
                "order": record.order,
                "thread": str(record),
                "hex": record.hex,
                "planned_mm": record.needed_mm,
                "used_mm": sum(used.get(pk, 0) for pk in own),
                "spools": [
                    {
                        "label": item.label,
                        "lot": item.lot,
                        "used_mm": used.get(pk, 0),
                        "weighed": item.label.upper() in weighed,
                    }
                    for pk, item in own.items()
                ],
            }
        )
    kinds = [event.kind for event in run.events]
    lost_min = sum(event.minutes for event in run.events)
    return {
        "pieces": {
            "ordered": promise.pieces,
            "good": run.good,
            "tests": sum(position <= promise.tests for position in run.done),
            "spoiled": run.spoiled,
        },
        "breaks": kinds.count(Kind.BREAK),
        "stitched_again": kinds.count(Kind.RESTITCH),
        "swaps": kinds.count(Kind.SPOOL),
        "threads": threads,
        "bobbins": {"planned": promise.answer["bobbins"]["count"], "used": bobbins},
        "minutes": {
            "planned": round(promise.machine_min, 1),
            "actual": ending.machine_min,
            "lost": round(lost_min, 1),
        },
        "material": {
            "planned": promise.answer["cost"]["material"],
            "used": str(_paid_for(used)),
            "currency": Rules.current().currency,
        },
    }


def _used_in_all(job: Job) -> dict[int, int]:
    """Return what the job took of each item by its ticks and by what was found afterwards."""
    used = used_so_far(job)
    found = (
        Entry.objects.filter(key__startswith=f"finish-{job.pk}-")
        .values("item_id")
        .annotate(total=Sum("quantity"))
    )
    for each in found:
        used[each["item_id"]] = used.get(each["item_id"], 0) - each["total"]
    for item_id, quantity in _cut_for(job).items():
        used[item_id] = used.get(item_id, 0) + quantity
    return used


def _cut_for(job: Job) -> dict[int, int]:
    """Return the stabilizer that was cut for ``job``, in the items' units; of a cut for several, its share by area."""
    found: dict[int, int] = defaultdict(int)
    for mine in job.stabilizer_cuts.all():
        all_mm2 = sum(_area_mm2(each) for each in JobCut.objects.filter(key=mine.key))
        share = _area_mm2(mine) / all_mm2 if all_mm2 else 0.0
        entries = Entry.objects.filter(key=mine.key, quantity__lt=0, reversed_by__isnull=True)
        for entry in entries:
            found[entry.item_id] += round(-entry.quantity * share)
    return found


def _area_mm2(cut: JobCut) -> int:
    return sum(each["width_mm"] * each["height_mm"] * each["count"] for each in cut.pieces)


def _paid_for(used: Mapping[int, int]) -> Decimal:
    """Return what was paid for what was used, of the things whose price is known."""
    total = Decimal(0)
    for item in StockItem.objects.filter(pk__in=used, price_paid__isnull=False, quantity_paid__gt=0):
        assert item.price_paid is not None  # filtered above
        assert item.quantity_paid
        total += item.price_paid * used[item.pk] / item.quantity_paid
    return total.quantize(Decimal("0.01"), ROUND_HALF_UP)
