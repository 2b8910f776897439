"""The first layer of a plan's page: rows of thread under one finish, and what each fold says of itself."""

from collections.abc import Collection, Sequence
from typing import Any

from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext

from inventory.compute.colour.seen import SEEN, difference_seen
from inventory.compute.lengths import format_length, format_weight, told_length
from inventory.compute.spoken import figure
from inventory.compute.units import Units
from planning.compute.batch.lasting import Lasting
from planning.compute.batch.needle_thread import PlannedThread
from planning.compute.batch.plan import BatchPlan
from planning.compute.colour.choice import OwnedShade
from planning.compute.picture.thread_bar import thread_bar
from planning.models import Fabric, Machine, Rules
from planning.plan.banner import Banner, called
from planning.plan.found import found_steps, good_to
from planning.plan.words import asked_name, in_currency, method_said

# So many rows stand open; what is enough beyond them waits behind one line.
MOST_ROWS = 5
# Up to so much no difference is seen.
UNSEEN = SEEN[0][0]
# Thread of bobbins, and cloth, in the drawings.
BOBBIN, CLOTH = "#e6e4dc", "#d8d2c2"


def lasting_rows(plan: BatchPlan, banner: Banner, *, units: Units) -> dict[str, Any]:
    """Return the rows that say for each thing how long it lasts, and those that wait behind a line."""
    rows = [_row(plan, each, units) for each in banner.rows]
    threads = [row for row in rows if row["kind"] == "thread"]
    shown = max(MOST_ROWS, sum(row["decides"] for row in threads))
    return {
        "rows": threads[:shown],
        "more_rows": threads[shown:],
        "under": [row for row in rows if row["kind"] != "thread"],
    }


def _row(plan: BatchPlan, each: Lasting, units: Units) -> dict[str, Any]:
    makes = {"thread": _thread_row, "bobbins": _bobbin_row, "stabilizer": _layer_row}
    row = makes[each.kind](plan, each, units)
    bar = thread_bar(
        total=each.total, sure=each.sure, perhaps=each.perhaps, reach=each.reach, colour=row["colour"]
    )
    name = called(plan, each)
    return {
        "kind": each.kind,
        "decides": each.decides,
        "is_bare": each.word == "bare",
        "word": "unknown" if each.word == "bare" else each.word,
        "called": _(CALLED[each.word]),
        "name": f"{name[:1].upper()}{name[1:]}",
        # The picture is of numbers only: nothing that a person typed is in it.
        "bar": _safe(bar),
        **row,
    }


# What a row of the plan is called by its word.
CALLED = {
    "enough": gettext_noop("Enough"),
    "tight": gettext_noop("Tight"),
    "short": gettext_noop("Short"),
    "bare": gettext_noop("Choose"),
    "off colour": gettext_noop("No match"),
    "unknown": gettext_noop("Not known"),
}


def _safe(svg: str) -> SafeString:
    return mark_safe(svg)


def _thread_row(plan: BatchPlan, each: Lasting, units: Units) -> dict[str, Any]:
    thread = plan.threads[each.place]
    shade = thread.choice.shade if thread.choice.near_enough else None
    return {
        "asked": thread.hex or None,
        "colour": shade.hex if shade else thread.hex,
        "chosen": shade.hex if shade else None,
        "measured": bool(shade and thread.verdict != "unknown"),
        "detail": _thread_detail(thread),
        "needs": _number(thread.needed_mm, units),
        "free": "–" if thread.verdict == "unknown" or shade is None else _number(thread.free_mm, units),
        "says": _thread_says(thread, each, units),
    }


def _thread_detail(thread: PlannedThread) -> str:
    """Return maker and code, or for which colour the thread stands where that is another one."""
    shade = thread.choice.shade
    if shade is None or not thread.choice.near_enough:
        return ""
    difference = thread.choice.delta_e_00
    if thread.name and thread.name != shade.name and difference is not None and difference > UNSEEN:
        return _("for {colour}, {seen}").format(colour=asked_name(thread), seen=difference_seen(difference))
    return f"{shade.maker} {shade.code}"


def _thread_says(thread: PlannedThread, each: Lasting, units: Units) -> str:
    if each.word == "bare":
        return _("the file names no colour")
    if each.word == "off colour":
        return _("another colour than asked") if thread.choice.near_enough else _("nothing near is owned")
    if each.word == "enough":
        return _over(_length(thread.free_mm - thread.needed_mm, units))
    if each.word == "unknown":
        return _("nobody has said how full it is")
    if thread.choice.shade is None or not thread.choice.near_enough:
        return _("none on the shelf")
    if each.word == "tight":
        if each.perhaps >= each.total:
            return _("sure for {sure}, likely for all").format(sure=each.sure)
        return _("sure for {sure}, perhaps {perhaps}").format(sure=each.sure, perhaps=each.perhaps)
    return _("{length} more to be sure").format(length=_length(thread.missing_mm, units))


def _over(quantity: object) -> str:
    return _("{quantity} over").format(quantity=quantity)


def _bobbin_row(plan: BatchPlan, each: Lasting, units: Units) -> dict[str, Any]:
    bobbins = plan.bobbins
    there = bobbins.owned + bobbins.to_wind
    known = each.word != "unknown"
    if not known:
        says = _("none of this machine's kind are known")
    elif each.word == "enough":
        says = _over(there - bobbins.count)
    else:
        says = _("{number} more to be sure").format(number=max(bobbins.sure_count - there, 1))
    wind = _("{number} of them to wind").format(number=bobbins.to_wind) if bobbins.to_wind else ""
    return {
        "picture": "bobbin",
        "colour": BOBBIN,
        "detail": wind or bobbins.thread,
        "needs": _("{number} full").format(number=bobbins.count)
        if known
        else _number(bobbins.needed_mm, units),
        "free": _("{number} full").format(number=there) if known else "–",
        "says": says,
    }


def _layer_row(plan: BatchPlan, each: Lasting, units: Units) -> dict[str, Any]:
    layer = plan.stabilizer[each.place]
    roll_mm = layer.cut.roll_mm if layer.cut else 0
    needs = _number(roll_mm, units) if roll_mm else _("{number} cut").format(number=layer.pieces)
    free = _number(layer.free_mm, units) if layer.product else "–"
    over = _over(_length(layer.free_mm - roll_mm, units)) if roll_mm else _("from offcuts")
    if layer.spray is not None:
        needs, free = (
            format_weight(mg, unit=units.weight) for mg in (layer.spray.needed_mg, layer.spray.free_mg)
        )
        over = _over(format_weight(layer.spray.free_mg - layer.spray.needed_mg, unit=units.weight))
    if not layer.product and layer.pieces:
        says = _("none is on the shelf")
    elif each.word == "unknown":
        says = _("not known")
    elif each.word == "enough":
        says = over
    elif each.word == "tight":
        says = _("it may be too little")
    elif layer.missing_pieces:
        says = ngettext(
            "{number} piece more to cut", "{number} pieces more to cut", layer.missing_pieces
        ).format(number=layer.missing_pieces)
    else:
        says = _("too little")
    return {
        "picture": "roll",
        "colour": CLOTH,
        "detail": " · ".join(filter(None, [layer.product, method_said(layer.words or layer.method)])),
        "needs": needs,
        "free": free,
        "says": says,
    }


def _length(mm: float, units: Units) -> str:
    return told_length(mm, unit=units.length)


def _number(mm: float, units: Units) -> str:
    return _length(mm, units).partition(" ")[0]


def plan_folds(
    lines: dict[str, str],
    *,
    grave: Sequence[str],
    pictures: bool,
    appliques: bool,
    unfolded: Collection[str],
) -> list[dict[str, Any]]:
    """Return the folds of a plan's page in their order, each with its result in one line and what is in it."""
    folds = (
        ("look-out", _("Look before you sew"), grave[0] if grave else "", "_plan_grave"),
        ("pictures", _("How it will look"), lines["look"] if pictures else "", "_plan_pictures"),
        ("threads", _("Other threads"), lines["threads"], "_plan_thread"),
        ("spools", _("Spools and needles"), lines["spools"], "_plan_threading"),
        ("bobbins", _("Bobbins"), lines["bobbins"], "_plan_bobbins"),
        ("stabilizer", _("Stabilizer"), lines["stabilizer"], "_plan_stabilizer"),
        ("applique", _("Applique"), _("what is done at each stop") if appliques else "", "_applique_stops"),
        ("cost", _("Time and cost"), lines["cost"], "_plan_time_and_cost"),
        ("quantities", _("Fewer or more"), lines["quantities"], "_plan_other_ways"),
        ("to-buy", _("To buy"), lines["shopping"], "_plan_buying"),
        ("found", _("How was this found?"), lines["found"] or _("step by step"), "_plan_found"),
    )
    return [
        {
            "at": at,
            "title": title,
            "says": says,
            "inside": f"planning/{inside}.html",
            "unfolded": at in unfolded,
        }
        for at, title, says, inside in folds
        if says
    ]


def fold_lines(
    plan: BatchPlan,
    banner: Banner,
    *,
    shopping: Sequence[dict[str, Any]],
    notes: int,
    units: Units,
) -> dict[str, str]:
    """Return what each fold has in it, in one line: its result, so that nobody opens it to see whether to."""
    threads = [thread for thread in plan.threads if thread.choice.shade and thread.choice.near_enough]
    others = [
        _stands_for(thread.choice.shade, thread, thread.choice.delta_e_00)
        for thread in threads
        if thread.choice.shade and thread.choice.delta_e_00 is not None and thread.choice.delta_e_00 > UNSEEN
    ]
    uses = [use for thread in plan.threads for use in thread.spools]
    labels = {use.label for use in uses}
    inside = sum(1 for use in uses if use.inside or use.from_block)
    bobbins, needles = plan.bobbins, plan.needles
    sums = plan.cost
    priced = [row for row in shopping if row["total"]]
    priced_total = sum(float(row["total"]) for row in priced)
    quantities = plan.quantities
    return {
        "look": _("As asked, but {thread}").format(thread=others[0]) + _and_more(len(others) - 1)
        if others
        else _("As asked, as near as the eye tells"),
        "threads": _others_line(plan),
        "spools": "; ".join(
            [
                _spools(len(labels), inside),
                ngettext(
                    "{number} threading by hand", "{number} threadings by hand", needles.threadings
                ).format(number=needles.threadings),
            ]
        ),
        "bobbins": ngettext(
            "{number} change, each before a block begins",
            "{number} changes, each before a block begins",
            len(bobbins.changes),
        ).format(number=len(bobbins.changes))
        if bobbins.thread
        else _("none of this machine's kind are known"),
        "stabilizer": "; ".join(_layer_line(layer, units) for layer in plan.stabilizer)
        or _("none is planned"),
        "cost": _("{total} in all, {each} a piece").format(
            total=in_currency(f"{sums.total:,.2f}", sums.currency),
            each=figure(float(sums.total_per_piece), 2),
        )
        + (_("; not everything has a price") if sums.unpriced else "")
        if sums.total
        else _("no price is known"),
        "quantities": ", ".join(
            _("{pieces} cost {price} each").format(
                pieces=each.pieces, price=figure(float(each.total_per_piece), 2)
            )
            for each in quantities[-3:]
            if each.total
        )
        or (
            _("the time for {pieces}").format(pieces=", ".join(str(each.pieces) for each in quantities))
            if quantities
            else ""
        ),
        "shopping": ngettext("{number} thing", "{number} things", len(shopping)).format(number=len(shopping))
        + (f", {in_currency(f'{priced_total:,.2f}', sums.currency)}" if priced else "")
        if shopping
        else _("nothing more: it is on order")
        if plan.on_order
        else _("nothing: the shelf does for this batch"),
        "found": "; ".join(
            filter(
                None,
                [
                    good_to(_deciding(plan, banner)) if plan.threads else "",
                    ngettext("{number} note", "{number} notes", notes).format(number=notes) if notes else "",
                ],
            )
        ),
    }


def _spools(spools: int, inside: int) -> str:
    number = ngettext("{number} spool", "{number} spools", spools).format(number=spools)
    if not inside:
        return _("{spools}, none changed inside a piece").format(spools=number)
    return ngettext(
        "{spools}, {number} change inside a piece", "{spools}, {number} changes inside a piece", inside
    ).format(spools=number, number=inside)


def _stands_for(shade: OwnedShade, thread: PlannedThread, difference: float) -> str:
    return _("{shade} for {colour}: {seen}").format(
        shade=shade.name or shade.code, colour=asked_name(thread), seen=difference_seen(difference)
    )


def _others_line(plan: BatchPlan) -> str:
    """Return how many other threads would do, and for how many colours."""
    others = [
        [each for each in thread.runners_up if each.delta_e_00 <= plan.colour_limit]
        for thread in plan.threads
    ]
    some = [each for each in others if each]
    if not some:
        return _("none on the shelf would do")
    first, thread = some[0][0], plan.threads[others.index(some[0])]
    return _stands_for(first.shade, thread, first.delta_e_00) + _and_more(sum(map(len, some)) - 1)


def _layer_line(layer: Any, units: Units) -> str:
    width, height = (format_length(side, unit=units.size).partition(" ")[0] for side in layer.piece_mm)
    cut = layer.cut.flat_pieces if layer.cut else 0
    said = _("{pieces} of {kind}, {size}").format(
        pieces=layer.pieces, kind=_(layer.kind), size=f"{width} × {height} {units.size}"
    )
    return said + (_(", {number} from offcuts").format(number=cut) if cut else "")


def _deciding(plan: BatchPlan, banner: Banner) -> PlannedThread:
    threads = [each for each in (*banner.deciding, *banner.rows) if each.kind == "thread"]
    return plan.threads[threads[0].place]


def found_context(
    plan: BatchPlan, banner: Banner, *, machine: Machine, fabric: Fabric | None, units: Units
) -> dict[str, Any]:
    """Return how the answer was found for the thread that decides it."""
    if not plan.threads:
        return {}
    thread = _deciding(plan, banner)
    rules = Rules.current()
    cloth = fabric or Fabric(name="")
    settings = machine.thread_settings(thickness_mm=cloth.thickness_mm, allowance=rules.allowance)
    steps = found_steps(plan, thread, settings=settings, units=units)
    return {"found": steps, "found_of": asked_name(thread)}


def _and_more(number: int) -> str:
    return _("; {number} more").format(number=number) if number > 0 else ""
