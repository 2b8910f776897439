"""Planned against actual: what a finished run took, in thread, time and money."""

from collections import defaultdict
from collections.abc import Collection, Mapping
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from django.db.models import Sum

from inventory.models import Entry, StockItem
from planning.models import Job, JobCut, Rules, RunEvent
from planning.run.standing import Run, used_so_far

Kind = RunEvent.Kind


def report_facts(
    run: Run,
    *,
    weighed: Collection[str],
    machine_min: float | None,
    bobbins: float,
    found_under: Collection[str],
) -> dict[str, Any]:
    """Return planned against actual, as it is kept: thread by thread, time and money.

    ``weighed`` are the labels of the spools that were on the scale; ``machine_min`` and ``bobbins`` what was told;
    ``found_under`` the keys under which the ledger has what was found at the end.
    """
    job, promise = run.job, run.promise
    used = _used_in_all(job, found_under)
    on_scale = {label.strip().upper() for label in weighed}
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
                        "weighed": item.label.upper() in on_scale,
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
            "actual": machine_min,
            "lost": round(lost_min, 1),
        },
        "material": {
            "planned": promise.answer["cost"]["material"],
            "used": str(_paid_for(used)),
            "currency": Rules.current().currency,
        },
    }


def _used_in_all(job: Job, found_under: Collection[str]) -> dict[int, int]:
    """Return what the job took of each item by its ticks and by what was found afterwards."""
    used = used_so_far(job)
    found = (
        Entry.objects.filter(key__in=found_under).order_by().values("item_id").annotate(total=Sum("quantity"))
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
