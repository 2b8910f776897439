"""Read stitch files and show them block by block."""

import sys
from typing import Any

from django.core.management.base import CommandParser
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from rich.console import Console
from rich.table import Table

from inventory.compute.lengths import format_length
from inventory.compute.spoken import N_, figure
from inventory.compute.units import Units, reader
from inventory.management.base import WorkshopCommand
from planning.compute.batch.asked import AskedDesign
from planning.compute.stitches.thread_length import USUAL_THICKNESS_MM
from planning.library.designs import asked_from_file
from planning.models import Rules
from planning.plan.ask import chosen_machine
from planning.plan.data import read_design_as_data
from planning.plan.terminal import print_file_warnings, swatch
from planning.stitch_files.reading import UnreadableDesign, read_design_file


class Command(WorkshopCommand):
    help = N_(
        "Read stitch files and show stitches, trims and drawn length of each colour block. Saves nothing."
    )
    example = "read_design crew-cap-badge.pes"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("files", nargs="+", metavar="FILE")
        parser.add_argument("--machine", metavar="NAME", help=_("Whose rule for trims holds."))

    def handle(self, *args: Any, **options: Any) -> None:
        machine = chosen_machine(options["machine"])
        rules = Rules.current()
        settings = machine.thread_settings(thickness_mm=USUAL_THICKNESS_MM, allowance=rules.allowance)
        designs = []
        refused = 0
        for path in options["files"]:
            try:
                designs.append(asked_from_file(read_design_file(path, trim_at_jumps=machine.trim_at_jumps)))
            except UnreadableDesign as problem:
                self.stderr.write(str(problem))
                refused += 1
        if options["format"] == "json":
            self.write_json({"designs": [read_design_as_data(design, settings) for design in designs]})
        else:
            for design in designs:
                _print_design(self.console(), design)
        if refused:
            sys.exit(1)


def _print_design(console: Console, design: AskedDesign, *, units: Units | None = None) -> None:
    """Print one design and its blocks."""
    units = units or reader()
    console.print(
        ngettext(
            "{design} ({format}): {stitches} stitches, {trims} trim, {size}",
            "{design} ({format}): {stitches} stitches, {trims} trims, {size}",
            design.trims,
        ).format(
            design=design.name,
            format=design.format,
            stitches=figure(design.stitches),
            trims=design.trims,
            size=f"{figure(design.width_mm, 1)} × {figure(design.height_mm, 1)} mm",
        ),
        style="bold",
    )
    print_file_warnings(console, design)
    table = Table(box=None, pad_edge=False)
    table.add_column(_("Block"), justify="right")
    table.add_column(_("Colour"))
    table.add_column("")
    for heading in (_("Stitches"), _("Trims"), f"{_('Drawn')} {units.length}"):
        table.add_column(heading, justify="right")
    for block in design.blocks:
        sums = block.sums
        table.add_row(
            str(block.number),
            " ".join(part for part in (block.hex, block.name) if part) or _("no colour in the file"),
            swatch(block.hex),
            figure(sums.penetrations),
            str(sums.trims),
            format_length(sums.drawn_mm, unit=units.length, places=1).rsplit(" ", 1)[0],
        )
    console.print(table)
