"""Answer how a kept job's stabilizer is cut."""

import sys
from typing import Any

from django.core.management.base import CommandParser
from rich.console import Console

from inventory.compute.errors import WorkshopError
from inventory.management.base import WorkshopCommand
from planning.compute.batch import BatchPlan
from planning.cuts import ProductCut, cut_as_data, cut_verdict, cuts_of
from planning.jobs import plan_of
from planning.models import Job
from planning.plan import verdict_exit_code


class Command(WorkshopCommand):
    help = (
        "Show how the stabilizer of the job with this number is cut, strip by strip, saving nothing. "
        "Exits 0 for enough, 3 for tight or short, 4 for unknown, 1 for an error."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument(
            "job", type=int, metavar="JOB", help="The job's number, as its page's address has it."
        )

    def handle(self, *args: Any, **options: Any) -> None:
        job = Job.objects.with_everything().filter(pk=options["job"]).first()
        if job is None:
            raise WorkshopError(
                f"There is no job {options['job']}. The page Jobs lists them with their numbers."
            )
        plan = plan_of(job)
        if options["format"] == "json":
            self.write_json(cut_as_data(job, plan))
        else:
            print_cut(self.console(), job, plan)
        sys.exit(verdict_exit_code(cut_verdict(plan)))


def print_cut(console: Console, job: Job, plan: BatchPlan) -> None:
    """Print each product's strips with their measures from the free end, in mm."""
    console.print(f"{job}: {cut_verdict(plan)}", style="bold")
    cuts = cuts_of(plan)
    for cut in cuts:
        _print_product(console, cut)
    for layer in plan.stabilizer:
        if layer.cut is None:
            console.print(f"{layer.kind}, {layer.method}: none on the shelf, or no hoop holds the design")
    if not plan.stabilizer:
        console.print("No stabilizer is planned: the job has no fabric with a recipe.")


def _print_product(console: Console, cut: ProductCut) -> None:
    plan = cut.plan
    console.print(
        f"\n{cut.product}: {plan.pieces} pieces, {plan.roll_mm} mm of roll; "
        f"no way takes less than {plan.bound_mm} mm; {plan.waste_mm2 / 100:,.0f} cm² wasted"
    )
    for name, missing in zip(cut.layer_names, plan.missing, strict=True):
        if missing:
            console.print(f"  {missing} pieces missing for {name}")
    for source in plan.sources:
        console.print(f"  {source.label}, {source.width_mm} mm wide")
        for number, strip in enumerate(source.strips, 1):
            pieces = ", ".join(
                f"{piece.width_mm} × {piece.height_mm}{' turned' if piece.turned else ''} at {piece.x_mm}"
                f" ({cut.layer_names[piece.need]})"
                for piece in strip.pieces
            )
            console.print(
                f"    strip {number}: x {strip.x_mm}–{strip.x_mm + strip.width_mm}, "
                f"y {strip.y_mm}–{strip.y_mm + strip.height_mm}: {pieces}"
            )
        for rest in source.useful_rests:
            console.print(f"    back on the shelf: {rest.width_mm} × {rest.height_mm}")
