"""The ways on from a plan that is not enough: at most three, the best first, and finding out before buying."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from django.http import QueryDict
from django.urls import reverse

from inventory.compute.colour.seen import difference_seen
from inventory.compute.lengths import told_length
from inventory.compute.units import Units
from planning.compute.batch.lasting import Lasting
from planning.compute.batch.plan import BatchPlan
from planning.compute.hooping.pieces import pieces_to_stitch
from planning.models import Job, Rules
from planning.plan.banner import Banner
from planning.plan.data import on_order_rows, shopping_rows
from planning.plan.pins import written_block, written_pin

MOST_WAYS = 3
# A look that settles the answer less often than this comes after buying: judged, no source.
WORTH_A_LOOK = 0.25
ACTS = {"weigh": "Weigh", "measure across": "Measure", "judge by eye": "Look at", "measure along": "Measure"}


def ways_on(
    plan: BatchPlan, banner: Banner, *, units: Units, address: QueryDict | None, job: Job | None
) -> list[dict[str, Any]]:
    """Return what can be done about the plan; each has a kind, a title, a sentence, and an act with its address."""
    if not banner.deciding or any(each.word == "bare" for each in banner.deciding):
        return []
    deciding = banner.deciding[0]
    found = [
        _find_out(plan),
        _buy(plan, banner, job, address),
        _another_thread(plan, deciding, units, address),
        _fewer(plan, banner, address),
    ]
    return [way for way in found if way][:MOST_WAYS]


def _find_out(plan: BatchPlan) -> dict[str, Any] | None:
    likely = [each for each in plan.look_first if each.settling.chance >= WORTH_A_LOOK]
    if not likely:
        return None
    first = likely[0]
    item = first.items[0]
    act = ACTS[item.act]
    whole = "the answer" if not first.of else f"whether {first.of} is enough"
    more = f", with {len(first.items) - 1} more" if len(first.items) > 1 else ""
    return {
        "kind": "Find out",
        "title": f"{act} {item.label}{more}",
        "text": f"{item.what}{f', {item.place}' if item.place else ''}. "
        f"{round(first.settling.chance * 100)} in a hundred that it settles {whole}.",
        "act": f"{act} {item.label}",
        "href": reverse("item", args=[item.label]),
    }


def _buy(
    plan: BatchPlan, banner: Banner, job: Job | None, address: QueryDict | None
) -> dict[str, Any] | None:
    rows = [row for row in shopping_rows(plan) if row["packs"]]
    coming = on_order_rows(plan)
    if not rows:
        return _wait(coming) if coming else None
    first = rows[0]
    total = sum((Decimal(row["total"]) for row in rows), Decimal(0))
    more = f" and {len(rows) - 1} more" if len(rows) > 1 else ""
    days = [date.fromisoformat(row["order_by"]) for row in rows if row["order_by"]]
    way = {
        "kind": "Buy",
        "title": f"{first['packs']} × {first['put_up']} of {first['what']}{more}, {plan.cost.currency} {total:,.2f}",
        "text": f"{first['supplier']}{', beyond what is on order' if coming else ''}.",
        "order_by": min(days, default=None),
    }
    if job is not None:
        return way | {"act": "See it in Buying", "href": reverse("buying")}
    kept = f"{reverse('keep_job')}?{address.urlencode()}" if address is not None else reverse("buying")
    return way | {"act": "Keep as a job to order it", "href": kept}


def _wait(coming: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """Return the way of whoever has ordered already: send the draft, or wait for what comes and chase it."""
    drafts = [each for each in coming if each["is_draft"]]
    last = drafts[0] if drafts else max(coming, key=lambda each: each["comes_on"])
    number = last["order"]
    if last["is_draft"]:
        text = f"Order {number} to {last['supplier']} is drafted and not sent."
        return {
            "kind": "Send the order",
            "title": last["what"],
            "text": text,
            "act": f"Send order {number}",
        } | {"href": reverse("order", args=[number])}
    day = date.fromisoformat(last["comes_on"])
    return {
        "kind": "Wait for the order",
        "title": last["what"],
        "text": f"Order {number} to {last['supplier']} is to come {day:%a %-d %b}. Nothing more has to be bought, "
        "unless another job wants it too.",
        "act": f"Look at order {number}",
        "href": reverse("order", args=[number]),
    }


def _another_thread(
    plan: BatchPlan, deciding: Lasting, units: Units, address: QueryDict | None
) -> dict[str, Any] | None:
    """Return the nearest other thread that has the metres, where a thread is what decides."""
    if deciding.kind != "thread" or address is None:
        return None
    thread = plan.threads[deciding.place]
    used = {each.choice.shade.id for each in plan.threads if each.choice.shade}
    enough = [
        each
        for each in thread.runners_up
        if each.shade.id not in used
        and each.delta_e_00 <= plan.colour_limit
        and each.shade.free[0] >= thread.needed_mm + 2 * thread.needed_sigma_mm
    ]
    if not enough:
        return None
    other = enough[0]
    several = len(plan.designs) > 1
    mine = {written_block(place, several=several) for place in thread.blocks}
    pins = [pin for pin in address.getlist("pin") if pin.partition("=")[0].strip() not in mine]
    changed = address.copy()
    changed.setlist("pin", [*pins, written_pin(thread.blocks[0], other.shade, several=several)])
    name = other.shade.name or other.shade.code
    free = told_length(other.shade.free[0], unit=units.length)
    return {
        "kind": "Use another thread",
        "title": f"{name}, {free} here",
        "text": f"{difference_seen(other.delta_e_00).capitalize()}: hold them together in daylight.",
        "asked": thread.hex,
        "chosen": other.shade.hex,
        "act": f"Try {name}",
        "href": f"?{changed.urlencode()}",
    }


def _fewer(plan: BatchPlan, banner: Banner, address: QueryDict | None) -> dict[str, Any] | None:
    # What nobody has said how much there is of is no reason to stitch fewer.
    known = [each for each in banner.deciding if each.word != "unknown"]
    sure = min((each.sure for each in known), default=0)
    if address is None or not sure:
        return None
    spoilage = Rules.current().spoilage
    ordered = next(
        (
            pieces
            for pieces in range(min(sure, plan.pieces.ordered - 1), 0, -1)
            if pieces_to_stitch(pieces, test_pieces=plan.pieces.tests, spoilage=spoilage).total <= sure
        ),
        0,
    )
    if not ordered:
        return None
    changed = address.copy()
    changed["pieces"] = str(ordered)
    return {
        "kind": "Stitch fewer",
        "title": f"{ordered} piece{'' if ordered == 1 else 's'} now",
        "text": f"{'Sure to be' if len(known) == len(banner.deciding) else 'The thread is surely'} enough today; "
        f"the other {plan.pieces.ordered - ordered} later.",
        "act": f"Plan {ordered}",
        "href": f"?{changed.urlencode()}",
    }
