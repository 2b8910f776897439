"""Answer how kept jobs' stabilizer is cut."""

import sys
from typing import Any

from django.core.management.base import CommandParser
from rich.console import Console

from inventory.management.base import WorkshopCommand
from planning.cutting.cuts import JobsCut, ProductCut, cut_as_data, jobs_to_cut, plan_cuts
from planning.plan.ask import verdict_exit_code


class Command(WorkshopCommand):
    help = (
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
            help="A job's number, as its page's address has it.",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        cut = plan_cuts(jobs_to_cut(options["job"]))
        if options["format"] == "json":
            self.write_json(cut_as_data(cut))
        else:
            print_cut(self.console(), cut)
        sys.exit(verdict_exit_code(cut.verdict))


def print_cut(console: Console, cut: JobsCut) -> None:
    """Print each product's strips with their measures from the free end, in mm."""
    console.print(f"{', '.join(map(str, cut.jobs))}: {cut.verdict}", style="bold")
    for note in cut.notes:
        console.print(note)
    if cut.comparison:
        saved = cut.comparison.saved_mm2
        console.print(
            f"Together they take {saved / 1e6:.3f} m² of roll less than one after another."
            if saved
            else "Cutting them together saves no roll; one after another does as well."
        )
    for each in cut.cuts:
        _print_product(console, each)
    for layer in cut.unplanned:
        console.print(f"{layer.name}: none on the shelf, or no hoop holds the design")
    if not cut.every_layer:
        console.print("No stabilizer is planned: choose a fabric with a recipe for the job.")
    before = sum(layer.cut_before for layer in cut.every_layer)
    if before:
        console.print(f"{before} pieces are cut already and not asked for again.")


def _print_product(console: Console, cut: ProductCut) -> None:
    plan = cut.plan
    console.print(
        f"\n{cut.product}: {plan.pieces} pieces, {plan.roll_mm} mm of roll; "
        f"the {plan.proof}, no way takes less than {plan.bound_mm} mm; {plan.waste_mm2 / 100:,.0f} cm² wasted"
    )
    for row in cut.needs:
        if row.missing:
            console.print(f"  {row.missing} pieces missing for {row.piece.label}")
    for source in plan.sources:
        console.print(f"  {source.label}, {source.width_mm} mm wide")
        for number, strip in enumerate(source.strips, 1):
            pieces = ", ".join(
                f"{piece.width_mm} × {piece.height_mm}{' turned' if piece.turned else ''} at {piece.x_mm}"
                f" ({cut.need_names[piece.need]})"
                for piece in strip.pieces
            )
            console.print(
                f"    strip {number}: x {strip.x_mm}–{strip.x_mm + strip.width_mm}, "
                f"y {strip.y_mm}–{strip.y_mm + strip.height_mm}: {pieces}"
            )
        for rest in source.useful_rests:
            console.print(f"    back on the shelf: {rest.width_mm} × {rest.height_mm}")
