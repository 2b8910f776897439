"""Planned against actual: what a finished run took, in thread, time and money."""

from collections import defaultdict
from collections.abc import Collection, Mapping
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from django.db.models import Min, Sum

from inventory.models import Entry, Offcut, SheetPack, Spool, StabilizerRoll, StockItem
from planning.models import Job, JobCut, Rules, RunEvent
from planning.run.stabilizer import StabilizerUse
from planning.run.standing import KEPT_AS_FOUND, Run, entries_of_run, used_so_far
from planning.run.told import kept_parts

Kind = RunEvent.Kind
NO_STABILIZER = StabilizerUse()


def report_facts(
    run: Run,
    *,
    weighed: Collection[str],
    machine_min: float | None,
    bobbins: float,
    bobbin_kept: str | None = None,
    found_under: Collection[str],
    stabilizer: StabilizerUse = NO_STABILIZER,
    not_booked: Collection[str] = (),
) -> dict[str, Any]:
    """Return planned against actual, as it is kept: thread by thread, time and money.

    ``weighed`` are the labels of the spools that were on the scale; ``machine_min`` and ``bobbins`` what was told, and
    ``bobbin_kept`` the label of the part bobbin that came of the last; ``found_under`` the keys under which the ledger
    has what was found at the end; ``not_booked`` what was not, and why.
    """
    job, promise = run.job, run.promise
    used = _used_in_all(job, found_under)
    on_scale = {label.strip().upper() for label in weighed}
    threads = [
        {
            "order": record.order,
            "thread": str(record),
            "hex": record.hex,
            "planned_mm": record.needed_mm,
            "used_mm": sum(quantity for _, quantity in own),
            "spools": [
                {
                    "label": item.label,
                    "lot": item.lot,
                    "used_mm": quantity,
                    "weighed": item.label.upper() in on_scale,
                }
                for item, quantity in own
            ],
        }
        for record, own in zip(run.records, _by_thread(run, used), strict=True)
    ]
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
        "stabilizer": _stabilizer(run, stabilizer),
        "not_booked": [str(each) for each in not_booked],
        "not_booked_parts": kept_parts(not_booked),
        "bobbins": {"planned": promise.answer["bobbins"]["count"], "used": bobbins, "kept": bobbin_kept},
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


def _by_thread(run: Run, used: Mapping[int, int]) -> list[list[tuple[StockItem, int]]]:
    """Return for each thread of the run its spools and what it used of each; all of it adds up to ``used``.

    A spool that served several threads is parted as the events part it. One that is on no thread any more (the swap
    was taken back) and was used all the same stands with the thread of its shade, or with the first.
    """
    taken: dict[int, dict[int, int]] = defaultdict(lambda: defaultdict(int))
    for record in run.records:
        for turn in record.spools.all():
            taken[turn.item_id][record.order] += 0
    for event in run.events:
        if event.kind == Kind.SPOOL and event.item_id and event.thread:
            taken[event.item_id][event.thread.order] += 0
    for each in run.taken:
        if each.item is not None:
            taken[each.item][each.order] += each.quantity_mm
    spools = Spool.objects.filter(pk__in=set(taken) | set(used)).order_by("label")
    own: dict[int, list[tuple[StockItem, int]]] = {record.order: [] for record in run.records}
    for spool in spools:
        parts = taken.get(spool.pk) or {_thread_of(run, spool): 0}
        for order, quantity in _parted(used.get(spool.pk, 0), parts).items():
            own[order].append((spool, quantity))
    return [own[record.order] for record in run.records]


def _thread_of(run: Run, spool: Spool) -> int:
    of_shade = [record.order for record in run.records if record.shade_id == spool.shade_id]
    return of_shade[0] if of_shade else run.records[0].order


def _parted(total: int, weights: Mapping[int, int]) -> dict[int, int]:
    """Return ``total`` in whole parts as large as their ``weights``; without any, all of it to the first."""
    whole, so_far, given = sum(weights.values()), 0, 0
    parts = {}
    for order, weight in weights.items():
        so_far += weight
        until = round(total * so_far / whole) if whole else total
        parts[order] = until - given
        given = until
    return parts


def _used_in_all(job: Job, found_under: Collection[str]) -> dict[int, int]:
    """Return what the job took of each item by its ticks and by what was found afterwards."""
    used = used_so_far(job)
    found = (
        Entry.objects.filter(key__in=found_under)
        .order_by()
        .values("item_id")
        .annotate(total=Sum("quantity"), first=Min("id"))
    )
    # What kept a finding of an earlier ending true, while a tick before it was taken back, was used all the same.
    kept = list(entries_of_run(job, endings=KEPT_AS_FOUND).values_list("item_id", "id", "quantity"))
    for each in found:
        since = sum(quantity for item, pk, quantity in kept if item == each["item_id"] and pk > each["first"])
        used[each["item_id"]] = used.get(each["item_id"], 0) - each["total"] - since
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


def _stabilizer(run: Run, use: StabilizerUse) -> list[dict[str, Any]]:
    """Return each layer in pieces, and what was taken of its product: mm of rolls, and sheets and offcuts."""
    cut = _cut_for(run.job)
    planned = run.promise.answer["stabilizer"]
    rolls: dict[str, int] = defaultdict(int)
    flats: dict[str, int] = defaultdict(int)
    sprayed: dict[str, int] = defaultdict(int)
    for product, _, mg in use.sprayed:
        sprayed[product] += mg
    for roll in StabilizerRoll.objects.filter(pk__in=cut).select_related("product"):
        rolls[str(roll.product)] += cut[roll.pk]
    for kind in (SheetPack, Offcut):
        for flat in kind.objects.filter(pk__in=cut).select_related("product"):
            flats[str(flat.product)] += cut[flat.pk]
    seen: set[str] = set()
    rows = []
    for layer in use.layers:
        first = layer.product not in seen
        seen.add(layer.product)
        rows.append(
            {
                "layer": layer.layer,
                "product": layer.product,
                "planned_pieces": layer.planned,
                "used_pieces": layer.used,
                "left_over_pieces": layer.left_over,
                # Layers of one product are cut together: its lengths stand with the first of them.
                "planned_mm": sum(each["roll_mm"] for each in planned if each["product"] == layer.product)
                * first,
                "used_mm": rolls[layer.product] * first,
                "used_flats": flats[layer.product] * first,
                "planned_mg": sum(
                    each.get("spray_mg", 0) for each in planned if each["product"] == layer.product
                )
                * first,
                "used_mg": sprayed[layer.product] * first,
            }
        )
    return rows


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
