"""The plan as a page of text that a person can read at the machine."""

from collections.abc import Sequence
from datetime import date

from rich.console import Console, Group
from rich.table import Table
from rich.text import Text

from inventory.compute.lengths import format_length
from inventory.compute.units import METRIC, Units
from planning.answers import shopping_rows
from planning.compute.asked import AskedDesign
from planning.compute.batch import BatchPlan
from planning.compute.needle_thread import PlannedThread
from planning.compute.thread_length import BlockSums
from planning.wording import (
    answer_in_words,
    asked_name,
    difference_in_words,
    instead_in_words,
    shown_verdict,
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
        for warning in design.warnings:
            console.print(f"  note: {warning}")
    for note in plan.notes:
        console.print(f"note: {note}")
    console.print()
    console.print(_threads(plan, units))
    console.print(_spools(plan, units))
    console.print(_other(plan, units))
    rows = shopping_rows(plan)
    if rows:
        console.print(_shopping(rows, plan, units))
    if plan.instead:
        console.print("\nWhat would come nearer to the colours", style="italic")
    for instead in plan.instead:
        console.print(instead_in_words(instead, currency=plan.cost.currency))


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
            _number(thread.free_mm, units),
            f"{thread.p_enough:.0%}",
            str(thread.pieces_possible),
            f"{SIGNS[shown_verdict(thread)]} {shown_verdict(thread)}",
        )
    return table


def _asked_and_chosen(thread: PlannedThread, *, several: bool) -> Group:
    shade = thread.choice.shade
    asked = Text.assemble(
        swatch(thread.hex), f" {asked_name(thread)}, block {_blocks(thread, several=several)}"
    )
    if shade is None:
        return Group(asked, Text("   nothing on the shelf"))
    return Group(
        asked, Text.assemble(swatch(shade.hex), f" {shade.code} {shade.name}\n   {shade.maker} {shade.range}")
    )


def _spools(plan: BatchPlan, units: Units) -> Group:
    grid = Table(box=None, pad_edge=False, show_header=False, padding=(0, 2, 0, 0))
    grid.add_column()
    grid.add_column(ratio=1)
    for thread in plan.threads:
        turns = "\n".join(
            f"pieces {use.from_piece}–{use.to_piece}: {use.label}{f' ({use.place})' if use.place else ''}"
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
        f"{len(bobbins.changes)} changes; needs {format_length(bobbins.needed_mm, unit=units.length)}",
        f"{SIGNS[bobbins.verdict]} {bobbins.verdict}",
    )
    for layer in plan.stabilizer:
        size = " × ".join(format_length(side, unit=units.size) for side in layer.piece_mm)
        cut = (
            f"{layer.cut.flat_pieces} from offcuts and sheets, "
            f"{format_length(layer.cut.roll_mm, unit=units.length)} of roll "
            f"({format_length(layer.free_mm, unit=units.length)} free)"
            if layer.cut
            else "none on the shelf"
        )
        table.add_row(
            f"{layer.kind}, {layer.method}",
            f"{layer.product}: {layer.pieces} pieces of {size}; {cut}",
            f"{SIGNS[layer.verdict]} {layer.verdict}",
        )
    table.add_row(
        "Time",
        f"machine {_minutes(plan.machine_min)}, hands on {_minutes(plan.hands_on_min)}, "
        f"{plan.thread_changes} thread changes",
        "",
    )
    cost = plan.cost
    unpriced = f"; without {', '.join(cost.unpriced)}: no price known" if cost.unpriced else ""
    table.add_row(
        "Material",
        f"{cost.currency} {cost.material}, {cost.material_per_piece} a piece{unpriced}",
        "",
    )
    return Group(Text("\nBobbins, stabilizer, time and cost", style="italic"), table)


def _shopping(rows: Sequence[dict], plan: BatchPlan, units: Units) -> Group:
    table = Table(box=None, pad_edge=False)
    for heading in ("What", "Put-up", "From"):
        table.add_column(heading, overflow="fold")
    for heading in (f"Needs {units.length}", "Packs", plan.cost.currency):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("Order by", no_wrap=True)
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
    for warning in design.warnings:
        console.print(f"  note: {warning}")
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
    if several:
        return ", ".join(f"{design + 1}.{number}" for design, number in thread.blocks)
    return ", ".join(str(number) for _, number in thread.blocks)


def _number(mm: int, units: Units) -> str:
    return format_length(mm, unit=units.length, places=1).rsplit(" ", 1)[0]


def _minutes(minutes: float) -> str:
    hours, rest = divmod(round(minutes), 60)
    return f"{hours} h {rest:02} min" if hours else f"{rest} min"
