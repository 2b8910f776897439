"""Answer how kept jobs' stabilizer is cut."""

import sys
from typing import Any

from django.core.management.base import CommandParser
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from rich.console import Console

from inventory.compute.spoken import N_, figure
from inventory.compute.units import reader, side_number, told_area, told_sides
from inventory.management.base import WorkshopCommand
from planning.cutting.cuts import JobsCut, ProductCut, cut_as_data, jobs_to_cut, plan_cuts
from planning.plan.ask import verdict_exit_code
from planning.plan.words import piece_said


class Command(WorkshopCommand):
    help = N_(
        "Show how the stabilizer of the jobs with these numbers is cut, strip by strip, saving nothing; several are "
        "cut together. Exits 0 for enough, 3 for tight or short, 4 for unknown, 1 for an error."
    )
    example = "cut_plan 3 4"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument(
            "job",
            type=int,
            nargs="+",
            metavar="JOB",
            help=_("A job's number, as its page's address has it."),
        )

    def handle(self, *args: Any, **options: Any) -> None:
        cut = plan_cuts(jobs_to_cut(options["job"]))
        if options["format"] == "json":
            self.write_json(cut_as_data(cut))
        else:
            print_cut(self.console(), cut)
        sys.exit(verdict_exit_code(cut.verdict))


def print_cut(console: Console, cut: JobsCut) -> None:
    """Print each product's strips with their measures from the free end, in mm or inches."""
    console.print(f"{', '.join(map(str, cut.jobs))}: {_(cut.verdict)}", style="bold")
    for note in cut.notes:
        console.print(note)
    if cut.comparison:
        saved = cut.comparison.saved_mm2
        console.print(
            _("Together they take {saved} of roll less than one after another.").format(
                saved=told_area(saved) if reader().size == "in" else f"{figure(saved / 1e6, 3)} m²"
            )
            if saved
            else _("Cutting them together saves no roll; one after another does as well.")
        )
    for each in cut.cuts:
        _print_product(console, each)
    for layer in cut.unplanned:
        console.print(_("{name}: none on the shelf, or no hoop holds the design").format(name=layer.name))
    if not cut.every_layer:
        console.print(_("No stabilizer is planned: choose a fabric with a recipe for the job."))
    before = sum(layer.cut_before for layer in cut.every_layer)
    if before:
        console.print(
            ngettext(
                "{before} piece is cut already and not asked for again.",
                "{before} pieces are cut already and not asked for again.",
                before,
            ).format(before=before)
        )


def _print_product(console: Console, cut: ProductCut) -> None:
    plan = cut.plan
    console.print(
        "\n"
        + ngettext(
            "{product}: {pieces} piece, {roll} of roll; the {proof}, no way takes less than {bound}; {waste} wasted",
            "{product}: {pieces} pieces, {roll} of roll; the {proof}, no way takes less than {bound}; {waste} wasted",
            plan.pieces,
        ).format(
            product=cut.product,
            pieces=plan.pieces,
            roll=told_sides(plan.roll_mm),
            proof=_(plan.proof),
            bound=told_sides(plan.bound_mm),
            waste=told_area(plan.waste_mm2),
        )
    )
    for row in cut.needs:
        if row.missing:
            console.print(
                ngettext(
                    "  {missing} piece missing for {label}",
                    "  {missing} pieces missing for {label}",
                    row.missing,
                ).format(missing=row.missing, label=piece_said(row.piece.label))
            )
    for source in plan.sources:
        console.print(
            _("  {label}, {width} wide").format(label=source.label, width=told_sides(source.width_mm))
        )
        for number, strip in enumerate(source.strips, 1):
            pieces = ", ".join(
                (
                    _("{width} × {height} turned at {x} ({name})")
                    if piece.turned
                    else _("{width} × {height} at {x} ({name})")
                ).format(
                    width=side_number(piece.width_mm),
                    height=side_number(piece.height_mm),
                    x=side_number(piece.x_mm),
                    name=cut.need_names[piece.need],
                )
                for piece in strip.pieces
            )
            told = _("strip {number}: x {x}–{x_end}, y {y}–{y_end}: {pieces}").format(
                number=number,
                x=side_number(strip.x_mm),
                x_end=side_number(strip.x_mm + strip.width_mm),
                y=side_number(strip.y_mm),
                y_end=side_number(strip.y_mm + strip.height_mm),
                pieces=pieces,
            )
            console.print(f"    {told}")
        for rest in source.useful_rests:
            console.print(
                _("    back on the shelf: {width_mm} × {height_mm}").format(
                    width_mm=side_number(rest.width_mm), height_mm=side_number(rest.height_mm)
                )
            )
