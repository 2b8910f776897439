"""Read stitch files and show them block by block."""

import sys
from typing import Any

from django.core.management.base import CommandParser
from django.utils.translation import gettext as _

from inventory.compute.spoken import N_
from inventory.management.base import WorkshopCommand
from planning.compute.stitches.thread_length import USUAL_THICKNESS_MM
from planning.library.designs import asked_from_file
from planning.models import Rules
from planning.plan.ask import chosen_machine
from planning.plan.data import read_design_as_data
from planning.plan.terminal import print_design
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
                print_design(self.console(), design)
        if refused:
            sys.exit(1)
