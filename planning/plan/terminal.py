"""The plan as a page of text that a person can read at the machine."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal

from rich.console import Console, Group
from rich.table import Table
from rich.text import Text

from inventory.acting.days import plain_day, told_day
from inventory.compute.left_out import left_out_in_words
from inventory.compute.lengths import format_length, format_weight
from inventory.compute.spoken import _, as_written_here, figure, ngettext
from inventory.compute.units import Units, reader
from planning.compute.batch.asked import AskedDesign
from planning.compute.batch.bobbin_thread import PlannedBobbins
from planning.compute.batch.needle_thread import PlannedThread
from planning.compute.batch.plan import BatchPlan
from planning.compute.batch.sentences import said_of_plan
from planning.compute.stabilizer.supply import LayerPlan
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
    in_currency,
    instead_in_words,
    layer_name,
    pins_to_type,
    shown_verdict,
    spool_goes_on,
    thread_name,
)

SIGNS = {"enough": "●", "tight": "◐", "short": "○", "unknown": "?", "off colour": "≠"}


def print_plan(console: Console, plan: BatchPlan, *, units: Units | None = None) -> None:
    """Print the answer first, then the reasons: colours, spools, bobbins, stabilizer, time, cost, shopping."""
    units = units or reader()
    answer = answer_in_words(plan, units=units)
    console.print(f"{SIGNS[answer.sign]} {answer.headline}", style="bold")
    for line in answer.lines:
        console.print(line)
    console.print(
        ngettext(
            "{ordered} ordered + {tests} to test + {spoiled} that may spoil = {total} pieces to stitch in {hoopings} "
            "hooping.",
            "{ordered} ordered + {tests} to test + {spoiled} that may spoil = {total} pieces to stitch in {hoopings} "
            "hoopings.",
            plan.hoopings,
        ).format(
            ordered=plan.pieces.ordered,
            tests=plan.pieces.tests,
            spoiled=plan.pieces.spoiled_allowed,
            total=plan.pieces.total,
            hoopings=plan.hoopings,
        )
    )
    for design in plan.designs:
        console.print(
            ngettext(
                "{design} ({format}): {stitches} stitches, {blocks} colour block, {size}",
                "{design} ({format}): {stitches} stitches, {blocks} colour blocks, {size}",
                len(design.blocks),
            ).format(
                design=design.name,
                format=design.format,
                stitches=figure(design.stitches),
                blocks=len(design.blocks),
                size=f"{design.width_mm:.0f} × {design.height_mm:.0f} mm",
            )
        )
        print_file_warnings(console, design)
    for note in plan.notes:
        console.print(_("note: {note}").format(note=said_of_plan(note)))
    if plan.left_out:
        console.print(left_out_in_words(plan.left_out))
    if pins := pins_to_type(plan):
        said = _("To choose, type any shade with enough thread, such as: {pins}")
        console.print(said.format(pins=pins), soft_wrap=True)
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
        console.print("\n" + _("Before you buy"), style="italic")
    for first in plan.look_first:
        console.print(look_first_in_words(first))
    rows = shopping_rows(plan)
    for row in on_order_rows(plan):
        day = row["comes_on"]
        said = (
            _("On order: {what}, order {order} to {supplier}, to come {day}.")
            if day
            else _("On order: {what}, order {order} to {supplier}, a draft that is not sent.")
        )
        console.print(
            said.format(
                what=row["what"], order=row["order"], supplier=row["supplier"], day=_day(day) if day else ""
            )
        )
    if rows:
        console.print(_shopping(rows, plan, units))
    if plan.instead:
        console.print("\n" + _("What would come nearer to the colours"), style="italic")
    for instead in plan.instead:
        console.print(instead_in_words(instead, currency=plan.cost.currency, now=plan.verdict))


def print_file_warnings(console: Console, design: AskedDesign) -> None:
    """Print what a person should know of the file: first what to look at before sewing."""
    for warning in design.graded_warnings:
        style = "bold" if warning.is_grave else ""
        console.print(f"  {_(GRADE_IN_WORDS[warning.grade])}: {warning.text}", style=style)


def swatch(hex: str) -> Text:
    """Return two cells in the colour, or dots where there is none."""
    return Text("██", style=hex) if hex else Text("··")


def _threads(plan: BatchPlan, units: Units) -> Table:
    table = Table(box=None, pad_edge=False)
    table.add_column(_("Thread"), ratio=1)
    needs, free = f"{_('Needs')} {units.length}", f"{_('Free')} {units.length}"
    for heading in ("ΔE00", needs, free, _("Sure"), _("Pieces")):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column(_("Verdict"), no_wrap=True)
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
            f"{SIGNS[shown_verdict(thread)]} {_(shown_verdict(thread))}",
        )
    return table


def _asked_and_chosen(thread: PlannedThread, *, several: bool) -> Group:
    shade = thread.choice.shade
    asked = Text.assemble(
        swatch(thread.hex),
        " ",
        _("{colour}, block {block}").format(
            colour=asked_name(thread), block=_blocks(thread, several=several)
        ),
    )
    if shade is None:
        said = _("choose a shade") if not thread.is_asked else _("nothing on the shelf")
        return Group(asked, Text(f"   {said}"))
    chosen = Text.assemble(swatch(shade.hex), f" {shade.code} {shade.name}\n   {shade.maker} {shade.range}")
    if thread.given_up is None or thread.given_up.word == "near":
        return Group(asked, chosen)
    return Group(asked, chosen, Text(f"   {_(colour_word(thread))}", style="italic"))


def _spools(plan: BatchPlan, units: Units) -> Group:
    grid = Table(box=None, pad_edge=False, show_header=False, padding=(0, 2, 0, 0))
    grid.add_column()
    grid.add_column(ratio=1)
    for thread in plan.threads:
        turns = "\n".join(
            _("pieces {first}–{last}: {label}").format(
                first=use.from_piece,
                last=use.to_piece,
                label=f"{use.label}{f' ({use.place})' if use.place else ''}",
            )
            + spool_goes_on(use)
            for use in thread.spools
        )
        grid.add_row(thread_name(thread), turns or thread.reason or _("no spool holds a whole piece"))
    return Group(Text("\n" + _("Which spool for which pieces"), style="italic"), grid)


def _other(plan: BatchPlan, units: Units) -> Group:
    table = Table(box=None, pad_edge=False, show_header=False, padding=(0, 2, 0, 0))
    table.add_column(no_wrap=True)
    table.add_column()
    table.add_column(no_wrap=True)
    bobbins = plan.bobbins
    table.add_row(
        _("Bobbins"),
        ngettext(
            "{count} of {thread}; {owned} on the shelf; {changes} change; needs {length}",
            "{count} of {thread}; {owned} on the shelf; {changes} changes; needs {length}",
            len(bobbins.changes),
        ).format(
            count=bobbins.count,
            thread=bobbins.thread or _("a thread not chosen"),
            owned=bobbins.owned,
            changes=len(bobbins.changes),
            length=format_length(bobbins.needed_mm, unit=units.length),
        )
        + _more_of_bobbins(bobbins),
        f"{SIGNS[bobbins.verdict]} {_(bobbins.verdict)}",
    )
    for layer in plan.stabilizer:
        size = " × ".join(format_length(side, unit=units.size) for side in layer.piece_mm)
        pieces = (
            ngettext(
                "{product}: {pieces} coat on a piece of {size}",
                "{product}: {pieces} coats on pieces of {size}",
                layer.pieces,
            )
            if layer.spray
            else ngettext(
                "{product}: {pieces} piece of {size}", "{product}: {pieces} pieces of {size}", layer.pieces
            )
        ).format(product=layer.product, pieces=layer.pieces, size=size)
        table.add_row(
            layer_name(layer), f"{pieces}; {_cut(layer, units)}", f"{SIGNS[layer.verdict]} {_(layer.verdict)}"
        )
    for number, design in enumerate(plan.designs):
        for applique in design.appliques:
            stops = applique_stops(applique, design=number, several=len(plan.designs) > 1)
            table.add_row(
                _("applique {name}").format(name=applique.name),
                "; ".join(f"{each['called']} {each['at']}" for each in stops),
                "",
            )
    table.add_row(
        _("Time"),
        _("machine {machine}, hands on {hands}, {changes} thread changes").format(
            machine=_minutes(plan.machine_min), hands=_minutes(plan.hands_on_min), changes=plan.thread_changes
        )
        + (
            _("; start by {day} to be done in time").format(day=told_day(plan.start_by))
            if plan.start_by
            else ""
        ),
        "",
    )
    cost = plan.cost
    unpriced = (
        _("; without {things}: no price known").format(things=", ".join(cost.unpriced))
        if cost.unpriced
        else ""
    )
    table.add_row(
        _("Material"),
        _("{total}, {each} a piece").format(
            total=in_currency(cost.material, cost.currency), each=_money(cost.material_per_piece)
        )
        + unpriced,
        "",
    )
    if cost.time:
        table.add_row(
            _("All in"),
            _(
                "{total}, {each} a piece: material, machine {machine} and hands {hands}; of it {spoiled} for tests and "
                "spoiled pieces"
            ).format(
                total=in_currency(cost.total, cost.currency),
                each=_money(cost.total_per_piece),
                machine=_money(cost.machine),
                hands=_money(cost.hands_on),
                spoiled=_money(cost.tests_and_spoilage),
            ),
            "",
        )
    return Group(Text("\n" + _("Bobbins, stabilizer, time and cost"), style="italic"), table)


def _cut(layer: LayerPlan, units: Units) -> str:
    if layer.cut:
        return _("{pieces} from offcuts and sheets, {length} of roll ({free} free)").format(
            pieces=layer.cut.flat_pieces,
            length=format_length(layer.cut.roll_mm, unit=units.length),
            free=format_length(layer.free_mm, unit=units.length),
        )
    if layer.spray:
        return _("{weight} of spray ({free} free)").format(
            weight=format_weight(layer.spray.needed_mg, unit=units.weight),
            free=format_weight(layer.spray.free_mg, unit=units.weight),
        )
    return _("cut already") if layer.cut_before and not layer.pieces else _("none on the shelf")


def _more_of_bobbins(bobbins: PlannedBobbins) -> str:
    said = (
        _("; part bobbins {labels} are used first").format(labels=", ".join(bobbins.parts))
        if bobbins.parts
        else ""
    )
    if bobbins.wind:
        each_wound = _("{number} from {label}")
        wound = ", ".join(each_wound.format(number=each.bobbins, label=each.label) for each in bobbins.wind)
        said += _("; wind {bobbins}").format(bobbins=wound)
    for each in bobbins.interruptions:
        said += _("; runs out about {share} into block {block} of piece {piece}").format(
            share=f"{each.inside:.0%}", block=each.called, piece=each.piece
        )
    return said


def _needles(plan: BatchPlan) -> Group:
    grid = Table(box=None, pad_edge=False, show_header=False, padding=(0, 2, 0, 0))
    for needle, thread in plan.needles.start.items():
        grid.add_row(_("needle {needle}").format(needle=needle), thread_name(plan.threads[int(str(thread))]))
    after = len(plan.needles.rethreads)
    said = (
        ngettext(
            "Threaded anew {number} time after the start.",
            "Threaded anew {number} times after the start.",
            after,
        ).format(number=after)
        if after
        else _("None is threaded anew.")
    )
    second = [
        " "
        + _("{thread}: needle {needle}, then needle {on_needle} ({on}) from hooping {hooping}.").format(
            thread=thread_name(plan.threads[int(str(each.end.thread))]),
            needle=each.needle,
            on_needle=each.on_needle,
            on=each.end.on,
            hooping=each.end.hooping,
        )
        for each in plan.spool_changes
        if each.is_ready
    ]
    head = Text("\n" + _("What is on the needles at the start"), style="italic")
    return Group(head, grid, Text(f"{said}{''.join(second)}"))


def _copies(plan: BatchPlan) -> Group:
    table = Table(box=None, pad_edge=False)
    hoop = _("Hoop")
    for heading in (
        _("Pieces a hooping"),
        hoop,
        _("Hoopings"),
        _("Threadings"),
        _("Machine"),
        _("Hands on"),
        _("Stabilizer"),
    ):
        table.add_column(heading, justify="left" if heading == hoop else "right")
    for option in plan.copies:
        area = option.stabilizer_mm2 / plan.copies[0].stabilizer_mm2 if option.stabilizer_mm2 else None
        table.add_row(
            f"{option.copies}{_(' (planned)') if option.is_planned else ''}",
            option.hoop.name,
            str(option.hoopings),
            str(option.rethreads),
            _minutes(option.machine_min),
            _minutes(option.hands_on_min),
            "" if area is None else f"{area:.0%}",
        )
    return Group(Text("\n" + _("One piece a hooping, or several"), style="italic"), table)


def _quantities(plan: BatchPlan) -> Group:
    table = Table(box=None, pad_edge=False)
    for heading in (
        _("Pieces"), _("Machine"), _("Hands on"), _("Material"), _("Time"), _("All in"), _("A piece")
    ):  # fmt: skip
        table.add_column(heading, justify="right")
    for each in plan.quantities:
        table.add_row(
            f"{each.pieces}{_(' (planned)') if each.is_planned else ''}",
            _minutes(each.machine_min),
            _minutes(each.hands_on_min),
            *(_money(amount) for amount in (each.material, each.time, each.total, each.total_per_piece)),
        )
    title = f"\n{_('What other quantities cost')}, {plan.cost.currency}"
    return Group(Text(title, style="italic"), table)


def shopping_table(*, needs: str, currency: str) -> Table:
    """Return the empty table of what is to be bought."""
    table = Table(box=None, pad_edge=False)
    for heading in (_("What"), _("Put-up"), _("From")):
        table.add_column(heading, overflow="fold")
    for heading in (needs, _("Packs"), currency):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column(_("Order by"), no_wrap=True)
    return table


def _shopping(rows: Sequence[dict], plan: BatchPlan, units: Units) -> Group:
    table = shopping_table(needs=f"{_('Needs')} {units.length}", currency=plan.cost.currency)
    for row in rows:
        table.add_row(
            row["what"],
            row["put_up"] or _("nobody is known to sell it"),
            row["supplier"],
            _number(row["need_mm"], units),
            str(row["packs"]) if row["packs"] else "",
            _money(row["total"]) if row["packs"] else "",
            _day(row["order_by"]) if row["order_by"] else "",
        )
    return Group(Text("\n" + _("To buy"), style="italic"), table)


def _blocks(thread: PlannedThread, *, several: bool) -> str:
    return written_blocks(thread.blocks, several=several)


def _number(mm: int, units: Units) -> str:
    return format_length(mm, unit=units.length, places=1).rsplit(" ", 1)[0]


def _money(amount: Decimal | str | None) -> str:
    return "" if amount is None else as_written_here(str(amount))


def _day(iso: str) -> str:
    return plain_day(date.fromisoformat(iso))


def _minutes(minutes: float) -> str:
    hours, rest = divmod(round(minutes), 60)
    return f"{hours} h {rest:02} min" if hours else f"{rest} min"
