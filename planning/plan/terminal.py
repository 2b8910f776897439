"""The plan as a page of text that a person can read at the machine."""

from collections.abc import Sequence
from datetime import date

from rich.console import Console, Group
from rich.table import Table
from rich.text import Text

from inventory.compute.left_out import left_out_in_words
from inventory.compute.lengths import format_length, format_weight
from inventory.compute.units import METRIC, Units
from planning.compute.batch.asked import AskedDesign
from planning.compute.batch.bobbin_thread import PlannedBobbins
from planning.compute.batch.needle_thread import PlannedThread
from planning.compute.batch.plan import BatchPlan
from planning.compute.stitches.thread_length import BlockSums
from planning.compute.stitches.warnings import GRADE_IN_WORDS
from planning.plan.appliques import applique_stops
from planning.plan.data import on_order_rows, shopping_rows
from planning.plan.pins import written_blocks
from planning.plan.settling import look_first_in_words
from planning.plan.words import (
    answer_in_words,
    asked_name,
    colour_word,
    difference_in_words,
    instead_in_words,
    pins_to_type,
    shown_verdict,
    spool_goes_on,
    thread_name,
)

SIGNS = {"enough": "●", "tight": "◐", "short": "○", "unknown": "?", "off colour": "≠"}


def print_plan(console: Console, plan: BatchPlan, *, units: Units = METRIC) -> None:
    """Print the answer first, then the reasons: colours, spools, bobbins, stabilizer, time, cost, shopping."""
    answer = answer_in_words(plan, units=units)
    console.print(f"{SIGNS[answer.sign]} {answer.headline}", style="bold")
    for line in answer.lines:
        console.print(line)
    console.print(
        f"{plan.pieces.ordered} ordered + {plan.pieces.tests} to test + {plan.pieces.spoiled_allowed} that may "
        f"spoil = {plan.pieces.total} pieces to stitch in {plan.hoopings} hoopings."
    )
    for design in plan.designs:
        console.print(
            f"{design.name} ({design.format}): {design.stitches:,} stitches, {len(design.blocks)} colour blocks, "
            f"{design.width_mm:.0f} × {design.height_mm:.0f} mm"
        )
        _file_warnings(console, design)
    for note in plan.notes:
        console.print(f"note: {note}")
    if plan.left_out:
        console.print(left_out_in_words(plan.left_out))
    if pins := pins_to_type(plan):
        console.print(f"To choose, type any shade with enough metres, such as: {pins}", soft_wrap=True)
    console.print()
    console.print(_threads(plan, units))
    console.print(_spools(plan, units))
    console.print(_other(plan, units))
    if len(plan.needles.start) > 1:
        console.print(_needles(plan))
    if len(plan.copies) > 1:
        console.print(_copies(plan))
    console.print(_quantities(plan))
    if plan.look_first:
        console.print("\nBefore you buy", style="italic")
    for first in plan.look_first:
        console.print(look_first_in_words(first))
    rows = shopping_rows(plan)
    for row in on_order_rows(plan):
        day = row["comes_on"]
        comes = f"to come {date.fromisoformat(day):%-d %b %Y}" if day else "a draft that is not sent"
        console.print(f"On order: {row['what']}, order {row['order']} to {row['supplier']}, {comes}.")
    if rows:
        console.print(_shopping(rows, plan, units))
    if plan.instead:
        console.print("\nWhat would come nearer to the colours", style="italic")
    for instead in plan.instead:
        console.print(instead_in_words(instead, currency=plan.cost.currency, now=plan.verdict))


def _file_warnings(console: Console, design: AskedDesign) -> None:
    """Print what a person should know of the file: first what to look at before sewing."""
    for warning in design.graded_warnings:
        style = "bold" if warning.is_grave else ""
        console.print(f"  {GRADE_IN_WORDS[warning.grade]}: {warning.text}", style=style)


def swatch(hex: str) -> Text:
    """Return two cells in the colour, or dots where there is none."""
    return Text("██", style=hex) if hex else Text("··")


def _threads(plan: BatchPlan, units: Units) -> Table:
    table = Table(box=None, pad_edge=False)
    table.add_column("Thread", ratio=1)
    for heading in ("ΔE00", f"Needs {units.length}", f"Free {units.length}", "Sure", "Pieces"):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("Verdict", no_wrap=True)
    several = len(plan.designs) > 1
    for thread in plan.threads:
        choice = thread.choice
        table.add_row(
            _asked_and_chosen(thread, several=several),
            difference_in_words(choice),
            f"{_number(thread.needed_mm, units)} ± {_number(thread.needed_sigma_mm, units)}",
            _number(thread.free_mm, units) if thread.is_asked else "",
            f"{thread.p_enough:.0%}" if thread.is_asked else "",
            str(thread.pieces_possible) if thread.is_asked else "",
            f"{SIGNS[shown_verdict(thread)]} {shown_verdict(thread)}",
        )
    return table


def _asked_and_chosen(thread: PlannedThread, *, several: bool) -> Group:
    shade = thread.choice.shade
    asked = Text.assemble(
        swatch(thread.hex), f" {asked_name(thread)}, block {_blocks(thread, several=several)}"
    )
    if shade is None:
        return Group(asked, Text("   choose a shade" if not thread.is_asked else "   nothing on the shelf"))
    chosen = Text.assemble(swatch(shade.hex), f" {shade.code} {shade.name}\n   {shade.maker} {shade.range}")
    if thread.given_up is None or thread.given_up.word == "near":
        return Group(asked, chosen)
    return Group(asked, chosen, Text(f"   {colour_word(thread)}", style="italic"))


def _spools(plan: BatchPlan, units: Units) -> Group:
    grid = Table(box=None, pad_edge=False, show_header=False, padding=(0, 2, 0, 0))
    grid.add_column()
    grid.add_column(ratio=1)
    for thread in plan.threads:
        turns = "\n".join(
            f"pieces {use.from_piece}–{use.to_piece}: {use.label}{f' ({use.place})' if use.place else ''}"
            f"{spool_goes_on(use)}"
            for use in thread.spools
        )
        grid.add_row(thread_name(thread), turns or thread.reason or "no spool holds a whole piece")
    return Group(Text("\nWhich spool for which pieces", style="italic"), grid)


def _other(plan: BatchPlan, units: Units) -> Group:
    table = Table(box=None, pad_edge=False, show_header=False, padding=(0, 2, 0, 0))
    table.add_column(no_wrap=True)
    table.add_column()
    table.add_column(no_wrap=True)
    bobbins = plan.bobbins
    table.add_row(
        "Bobbins",
        f"{bobbins.count} of {bobbins.thread or 'a thread not chosen'}; {bobbins.owned} on the shelf; "
        f"{len(bobbins.changes)} changes; needs {format_length(bobbins.needed_mm, unit=units.length)}"
        f"{_more_of_bobbins(bobbins)}",
        f"{SIGNS[bobbins.verdict]} {bobbins.verdict}",
    )
    for layer in plan.stabilizer:
        size = " × ".join(format_length(side, unit=units.size) for side in layer.piece_mm)
        cut = (
            f"{layer.cut.flat_pieces} from offcuts and sheets, "
            f"{format_length(layer.cut.roll_mm, unit=units.length)} of roll "
            f"({format_length(layer.free_mm, unit=units.length)} free)"
            if layer.cut
            else f"{format_weight(layer.spray.needed_mg, unit=units.weight)} of spray "
            f"({format_weight(layer.spray.free_mg, unit=units.weight)} free)"
            if layer.spray
            else "cut already"
            if layer.cut_before and not layer.pieces
            else "none on the shelf"
        )
        table.add_row(
            layer.name,
            f"{layer.product}: {layer.pieces} {'coats on pieces' if layer.spray else 'pieces'} of {size}; {cut}",
            f"{SIGNS[layer.verdict]} {layer.verdict}",
        )
    for number, design in enumerate(plan.designs):
        for applique in design.appliques:
            stops = applique_stops(applique, design=number, several=len(plan.designs) > 1)
            table.add_row(
                f"applique {applique.name}", "; ".join(f"{each['called']} {each['at']}" for each in stops), ""
            )
    table.add_row(
        "Time",
        f"machine {_minutes(plan.machine_min)}, hands on {_minutes(plan.hands_on_min)}, "
        f"{plan.thread_changes} thread changes"
        + (f"; start by {plan.start_by:%a %-d %b %Y} to be done in time" if plan.start_by else ""),
        "",
    )
    cost = plan.cost
    unpriced = f"; without {', '.join(cost.unpriced)}: no price known" if cost.unpriced else ""
    table.add_row(
        "Material",
        f"{cost.currency} {cost.material}, {cost.material_per_piece} a piece{unpriced}",
        "",
    )
    if cost.time:
        table.add_row(
            "All in",
            f"{cost.currency} {cost.total}, {cost.total_per_piece} a piece: material, machine {cost.machine} and "
            f"hands {cost.hands_on}; of it {cost.tests_and_spoilage} for tests and spoiled pieces",
            "",
        )
    return Group(Text("\nBobbins, stabilizer, time and cost", style="italic"), table)


def _more_of_bobbins(bobbins: PlannedBobbins) -> str:
    said = f"; part bobbins {', '.join(bobbins.parts)} are used first" if bobbins.parts else ""
    if bobbins.wind:
        said += "; wind " + ", ".join(f"{each.bobbins} from {each.label}" for each in bobbins.wind)
    for each in bobbins.interruptions:
        said += f"; runs out about {each.inside:.0%} into block {each.called} of piece {each.piece}"
    return said


def _needles(plan: BatchPlan) -> Group:
    grid = Table(box=None, pad_edge=False, show_header=False, padding=(0, 2, 0, 0))
    for needle, thread in plan.needles.start.items():
        grid.add_row(f"needle {needle}", thread_name(plan.threads[int(str(thread))]))
    after = len(plan.needles.rethreads)
    said = (
        f"Threaded anew {after} time{'s' if after != 1 else ''} after the start"
        if after
        else "None is threaded anew"
    )
    second = [
        f" {thread_name(plan.threads[int(str(each.end.thread))])}: needle {each.needle}, then needle {each.on_needle} "
        f"({each.end.on}) from hooping {each.end.hooping}."
        for each in plan.spool_changes
        if each.is_ready
    ]
    head = Text("\nWhat is on the needles at the start", style="italic")
    return Group(head, grid, Text(f"{said}.{''.join(second)}"))


def _copies(plan: BatchPlan) -> Group:
    table = Table(box=None, pad_edge=False)
    for heading in (
        "Pieces a hooping",
        "Hoop",
        "Hoopings",
        "Threadings",
        "Machine",
        "Hands on",
        "Stabilizer",
    ):
        table.add_column(heading, justify="left" if heading == "Hoop" else "right")
    for option in plan.copies:
        area = option.stabilizer_mm2 / plan.copies[0].stabilizer_mm2 if option.stabilizer_mm2 else None
        table.add_row(
            f"{option.copies}{' (planned)' if option.is_planned else ''}",
            option.hoop.name,
            str(option.hoopings),
            str(option.rethreads),
            _minutes(option.machine_min),
            _minutes(option.hands_on_min),
            "" if area is None else f"{area:.0%}",
        )
    return Group(Text("\nOne piece a hooping, or several", style="italic"), table)


def _quantities(plan: BatchPlan) -> Group:
    table = Table(box=None, pad_edge=False)
    for heading in ("Pieces", "Machine", "Hands on", "Material", "Time", "All in", "A piece"):
        table.add_column(heading, justify="right")
    for each in plan.quantities:
        table.add_row(
            f"{each.pieces}{' (planned)' if each.is_planned else ''}",
            _minutes(each.machine_min),
            _minutes(each.hands_on_min),
            *(str(amount) for amount in (each.material, each.time, each.total, each.total_per_piece)),
        )
    return Group(Text(f"\nWhat other quantities cost, {plan.cost.currency}", style="italic"), table)


def shopping_table(*, needs: str, currency: str) -> Table:
    """Return the empty table of what is to be bought."""
    table = Table(box=None, pad_edge=False)
    for heading in ("What", "Put-up", "From"):
        table.add_column(heading, overflow="fold")
    for heading in (needs, "Packs", currency):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("Order by", no_wrap=True)
    return table


def _shopping(rows: Sequence[dict], plan: BatchPlan, units: Units) -> Group:
    table = shopping_table(needs=f"Needs {units.length}", currency=plan.cost.currency)
    for row in rows:
        table.add_row(
            row["what"],
            row["put_up"] or "nobody is known to sell it",
            row["supplier"],
            _number(row["need_mm"], units),
            str(row["packs"]) if row["packs"] else "",
            row["total"] if row["packs"] else "",
            f"{date.fromisoformat(row['order_by']):%-d %b %Y}" if row["order_by"] else "",
        )
    return Group(Text("\nTo buy", style="italic"), table)


def print_design(console: Console, design: AskedDesign, *, units: Units = METRIC) -> None:
    """Print one design and its blocks."""
    console.print(
        f"{design.name} ({design.format}): {design.stitches:,} stitches, {design.trims} trims, "
        f"{design.width_mm:.1f} × {design.height_mm:.1f} mm",
        style="bold",
    )
    _file_warnings(console, design)
    table = Table(box=None, pad_edge=False)
    table.add_column("Block", justify="right")
    table.add_column("Colour")
    table.add_column("")
    for heading in ("Stitches", "Trims", f"Drawn {units.length}"):
        table.add_column(heading, justify="right")
    for block in design.blocks:
        sums: BlockSums = block.sums
        table.add_row(
            str(block.number),
            " ".join(part for part in (block.hex, block.name) if part) or "no colour in the file",
            swatch(block.hex),
            f"{sums.penetrations:,}",
            str(sums.trims),
            _number(round(sums.drawn_mm), units),
        )
    console.print(table)


def _blocks(thread: PlannedThread, *, several: bool) -> str:
    return written_blocks(thread.blocks, several=several)


def _number(mm: int, units: Units) -> str:
    return format_length(mm, unit=units.length, places=1).rsplit(" ", 1)[0]


def _minutes(minutes: float) -> str:
    hours, rest = divmod(round(minutes), 60)
    return f"{hours} h {rest:02} min" if hours else f"{rest} min"
