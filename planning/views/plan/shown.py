"""The first layer of a plan's page: rows of thread under one finish, and what each fold says of itself."""

from collections.abc import Collection, Sequence
from typing import Any

from django.utils.safestring import SafeString, mark_safe

from inventory.compute.colour.seen import difference_seen
from inventory.compute.lengths import format_length, format_weight, told_length
from inventory.compute.units import Units
from planning.compute.batch.lasting import Lasting
from planning.compute.batch.needle_thread import PlannedThread
from planning.compute.batch.plan import BatchPlan
from planning.compute.picture.thread_bar import thread_bar
from planning.models import Fabric, Machine, Rules
from planning.plan.banner import Banner, called
from planning.plan.found import found_steps, good_to
from planning.plan.words import asked_name

# So many rows stand open; what is enough beyond them waits behind one line.
MOST_ROWS = 9
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
        "word": "unknown" if each.word == "bare" else each.word,
        "called": {"bare": "Choose", "off colour": "No match", "unknown": "Not known"}.get(
            each.word, each.word.capitalize()
        ),
        "name": f"{name[:1].upper()}{name[1:]}",
        # The picture is of numbers only: nothing that a person typed is in it.
        "bar": _safe(bar),
        **row,
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
    seen = difference_seen(thread.choice.delta_e_00) if thread.choice.delta_e_00 is not None else ""
    if thread.name and thread.name != shade.name and seen and seen != "no difference":
        return f"for {asked_name(thread)}, {seen}"
    return f"{shade.maker} {shade.code}"


def _thread_says(thread: PlannedThread, each: Lasting, units: Units) -> str:
    if each.word == "bare":
        return "the file names no colour"
    if each.word == "off colour":
        return "another colour than asked" if thread.choice.near_enough else "nothing near is owned"
    if each.word == "enough":
        return f"{_length(thread.free_mm - thread.needed_mm, units)} over"
    if each.word == "unknown":
        return "nobody has said how full it is"
    if thread.choice.shade is None or not thread.choice.near_enough:
        return "none on the shelf"
    if each.word == "tight":
        likely = "likely for all" if each.perhaps >= each.total else f"perhaps {each.perhaps}"
        return f"sure for {each.sure}, {likely}"
    return f"{_length(thread.missing_mm, units)} more to be sure"


def _bobbin_row(plan: BatchPlan, each: Lasting, units: Units) -> dict[str, Any]:
    bobbins = plan.bobbins
    there = bobbins.owned + bobbins.to_wind
    known = each.word != "unknown"
    if not known:
        says = "none of this machine's kind are known"
    elif each.word == "enough":
        says = f"{there - bobbins.count} over"
    else:
        says = f"{max(bobbins.sure_count - there, 1)} more to be sure"
    wind = f"{bobbins.to_wind} of them to wind" if bobbins.to_wind else ""
    return {
        "picture": "bobbin",
        "colour": BOBBIN,
        "detail": wind or bobbins.thread,
        "needs": f"{bobbins.count} full" if known else _number(bobbins.needed_mm, units),
        "free": f"{there} full" if known else "–",
        "says": says,
    }


def _layer_row(plan: BatchPlan, each: Lasting, units: Units) -> dict[str, Any]:
    layer = plan.stabilizer[each.place]
    roll_mm = layer.cut.roll_mm if layer.cut else 0
    needs = _number(roll_mm, units) if roll_mm else f"{layer.pieces} cut"
    free = _number(layer.free_mm, units) if layer.product else "–"
    over = f"{_length(layer.free_mm - roll_mm, units)} over" if roll_mm else "from offcuts"
    if layer.spray is not None:
        needs, free = (
            format_weight(mg, unit=units.weight) for mg in (layer.spray.needed_mg, layer.spray.free_mg)
        )
        over = f"{format_weight(layer.spray.free_mg - layer.spray.needed_mg, unit=units.weight)} over"
    if not layer.product and layer.pieces:
        says = "none is on the shelf"
    elif each.word == "unknown":
        says = "not known"
    elif each.word == "enough":
        says = over
    elif each.word == "tight":
        says = "it may be too little"
    else:
        says = f"{layer.missing_pieces} pieces more to cut" if layer.missing_pieces else "too little"
    return {
        "picture": "roll",
        "colour": CLOTH,
        "detail": " · ".join(filter(None, [layer.product, layer.words or layer.method])),
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
        ("look-out", "Look before you sew", grave[0] if grave else "", "_plan_grave"),
        ("pictures", "How it will look", lines["look"] if pictures else "", "_plan_pictures"),
        ("threads", "Other threads", lines["threads"], "_plan_thread"),
        ("spools", "Spools and needles", lines["spools"], "_plan_threading"),
        ("bobbins", "Bobbins", lines["bobbins"], "_plan_bobbins"),
        ("stabilizer", "Stabilizer", lines["stabilizer"], "_plan_stabilizer"),
        ("applique", "Applique", "what is done at each stop" if appliques else "", "_applique_stops"),
        ("cost", "Time and cost", lines["cost"], "_plan_time_and_cost"),
        ("quantities", "Fewer or more", lines["quantities"], "_plan_other_ways"),
        ("to-buy", "To buy", lines["shopping"], "_plan_buying"),
        ("found", "How was this found?", lines["found"] or "step by step", "_plan_found"),
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
        f"{thread.choice.shade.name or thread.choice.shade.code} for {asked_name(thread)}: {seen}"
        for thread in threads
        if thread.choice.shade
        and thread.choice.delta_e_00 is not None
        and (seen := difference_seen(thread.choice.delta_e_00)) != "no difference"
    ]
    uses = [use for thread in plan.threads for use in thread.spools]
    labels = {use.label for use in uses}
    inside = sum(1 for use in uses if use.inside or use.from_block)
    bobbins, needles = plan.bobbins, plan.needles
    sums = plan.cost
    priced = [row for row in shopping if row["total"]]
    quantities = plan.quantities
    all_of_it = f"{_count(len(labels), 'spool')}, " + (
        f"{_count(inside, 'change')} inside a piece" if inside else "none changed inside a piece"
    )
    return {
        "look": f"As asked, but {others[0]}{_and_more(len(others) - 1)}"
        if others
        else "As asked, as near as the eye tells",
        "threads": _others_line(plan),
        "spools": f"{all_of_it}; {_count(needles.threadings, 'threading')} by hand",
        "bobbins": f"{_count(len(bobbins.changes), 'change')}, each before a block begins"
        if bobbins.thread
        else "none of this machine's kind are known",
        "stabilizer": "; ".join(_layer_line(layer, units) for layer in plan.stabilizer) or "none is planned",
        "cost": f"{sums.currency} {sums.total:,.2f} in all, {sums.total_per_piece:,.2f} a piece"
        + ("; not everything has a price" if sums.unpriced else "")
        if sums.total
        else "no price is known",
        "quantities": ", ".join(
            f"{each.pieces} cost {each.total_per_piece:,.2f} each" for each in quantities[-3:] if each.total
        )
        or (f"the time for {', '.join(str(each.pieces) for each in quantities)}" if quantities else ""),
        "shopping": f"{_count(len(shopping), 'thing')}"
        + (f", {sums.currency} {sum(float(row['total']) for row in priced):,.2f}" if priced else "")
        if shopping
        else "nothing more: it is on order"
        if plan.on_order
        else "nothing: the shelf does for this batch",
        "found": "; ".join(
            filter(
                None,
                [
                    good_to(_deciding(plan, banner)) if plan.threads else "",
                    _count(notes, "note") if notes else "",
                ],
            )
        ),
    }


def _others_line(plan: BatchPlan) -> str:
    """Return how many other threads would do, and for how many colours."""
    others = [
        [each for each in thread.runners_up if each.delta_e_00 <= plan.colour_limit]
        for thread in plan.threads
    ]
    some = [each for each in others if each]
    if not some:
        return "none on the shelf would do"
    first, thread = some[0][0], plan.threads[others.index(some[0])]
    name = first.shade.name or first.shade.code
    return f"{name} for {asked_name(thread)}: {difference_seen(first.delta_e_00)}{_and_more(sum(map(len, some)) - 1)}"


def _layer_line(layer: Any, units: Units) -> str:
    width, height = (format_length(side, unit=units.size).partition(" ")[0] for side in layer.piece_mm)
    cut = layer.cut.flat_pieces if layer.cut else 0
    offcuts = f", {cut} from offcuts" if cut else ""
    return f"{layer.pieces} of {layer.kind}, {width} × {height} {units.size}{offcuts}"


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


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


def _and_more(number: int) -> str:
    return f"; {number} more" if number > 0 else ""
