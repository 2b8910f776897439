"""The ways on from a plan that is not enough: at most three, the best first, and finding out before buying."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from django.http import QueryDict
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext

from inventory.acting.days import near_day
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
from planning.plan.words import in_currency

MOST_WAYS = 3
# A look that settles the answer less often than this comes after buying: judged, no source.
WORTH_A_LOOK = 0.25
ACTS = {
    "weigh": gettext_noop("Weigh {label}"),
    "measure across": gettext_noop("Measure {label}"),
    "judge by eye": gettext_noop("Look at {label}"),
    "measure along": gettext_noop("Measure {label}"),
}


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
        # A draft has no address to change: its way is sent, and pins the thread.
        _another_thread(plan, deciding, units, QueryDict() if _may_pin(job) else address),
        _fewer(plan, banner, address),
    ]
    return [way for way in found if way][:MOST_WAYS]


def _may_pin(job: Job | None) -> bool:
    return job is not None and job.state == Job.State.DRAFT


def _find_out(plan: BatchPlan) -> dict[str, Any] | None:
    likely = [each for each in plan.look_first if each.settling.chance >= WORTH_A_LOOK]
    if not likely:
        return None
    first = likely[0]
    item = first.items[0]
    act = _(ACTS[item.act]).format(label=item.label)
    number = len(first.items) - 1
    chance = (
        _("{hundredths} in a hundred that it settles whether {thing} is enough.")
        if first.of
        else _("{hundredths} in a hundred that it settles the answer.")
    ).format(hundredths=round(first.settling.chance * 100), thing=first.of)
    return {
        "kind": _("Find out"),
        "title": act + (_(", with {number} more").format(number=number) if number else ""),
        "text": f"{item.what}{f', {item.place}' if item.place else ''}. {chance}",
        "act": act,
        "href": reverse("item", args=[item.label]),
    }


def _buy(
    plan: BatchPlan, banner: Banner, job: Job | None, address: QueryDict | None
) -> dict[str, Any] | None:
    rows = [row for row in shopping_rows(plan) if row["packs"]]
    coming = on_order_rows(plan)
    if not rows:
        return _wait(coming, plan) if coming else None
    first = rows[0]
    total = sum((Decimal(row["total"]) for row in rows), Decimal(0))
    more = _(" and {number} more").format(number=len(rows) - 1) if len(rows) > 1 else ""
    days = [date.fromisoformat(row["order_by"]) for row in rows if row["order_by"]]
    way = {
        "kind": _("Buy"),
        "title": _("{packs} × {put_up} of {what}{and_more}, {price}").format(
            packs=first["packs"],
            put_up=first["put_up"],
            what=first["what"],
            and_more=more,
            price=in_currency(f"{total:,.2f}", plan.cost.currency),
        ),
        "text": first["supplier"] + (_(", beyond what is on order") if coming else "") + ".",
        "order_by": min(days, default=None),
    }
    if job is not None:
        return way | {"act": _("See it in Buying"), "href": reverse("buying")}
    kept = f"{reverse('keep_job')}?{address.urlencode()}" if address is not None else reverse("buying")
    return way | {"act": _("Keep as a job to order it"), "href": kept}


def _wait(coming: Sequence[dict[str, Any]], plan: BatchPlan) -> dict[str, Any]:
    """Return the way of whoever has ordered already: send the draft, or wait for what comes and chase it."""
    drafts = [each for each in coming if each["is_draft"]]
    last = drafts[0] if drafts else max(coming, key=lambda each: each["comes_on"])
    number = last["order"]
    if last["is_draft"]:
        text = _("Order {number} to {supplier} is drafted and not sent.")
        return {
            "kind": _("Send the order"),
            "title": last["what"],
            "text": text.format(number=number, supplier=last["supplier"]),
            "act": _("Send order {number}").format(number=number),
            "href": reverse("order", args=[number]),
        }
    comes = date.fromisoformat(last["comes_on"])
    day = near_day(comes)
    if plan.material_day and plan.start_by and comes > plan.material_day:
        text = _(
            "Order {number} to {supplier} is to come {day}, too late to start on {start}. "
            "Ordered today it would come no sooner: ask where it is."
        )
        text = text.format(number=number, supplier=last["supplier"], day=day, start=near_day(plan.start_by))
        return {
            "kind": _("Chase the order"),
            "title": last["what"],
            "text": text,
            "act": _("Look at order {number}").format(number=number),
            "href": reverse("order", args=[number]),
        }
    return {
        "kind": _("Wait for the order"),
        "title": last["what"],
        "text": _(
            "Order {number} to {supplier} is to come {day}. Nothing more has to be bought, "
            "unless another job wants it too."
        ).format(number=number, supplier=last["supplier"], day=day),
        "act": _("Look at order {number}").format(number=number),
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
    seen = difference_seen(other.delta_e_00)
    return {
        "kind": _("Use another thread"),
        "title": _("{thread}, {length} here").format(thread=name, length=free),
        "text": _("{seen}: hold them together in daylight.").format(seen=f"{seen[:1].upper()}{seen[1:]}"),
        "asked": thread.hex,
        "chosen": other.shade.hex,
        "act": _("Try {thread}").format(thread=name),
        "href": f"?{changed.urlencode()}",
        "pin": written_pin(thread.blocks[0], other.shade, several=several),
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
        "kind": _("Stitch fewer"),
        "title": ngettext("{pieces} piece now", "{pieces} pieces now", ordered).format(pieces=ordered),
        "text": (
            _("Sure to be enough today; the other {number} later.")
            if len(known) == len(banner.deciding)
            else _("The thread is surely enough today; the other {number} later.")
        ).format(number=plan.pieces.ordered - ordered),
        "act": _("Plan {pieces}").format(pieces=ordered),
        "href": f"?{changed.urlencode()}",
    }
