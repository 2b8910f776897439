"""Take everything out in open formats."""

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser
from django.utils.translation import gettext as _

from inventory.compute.spoken import N_
from inventory.management.base import WorkshopCommand
from workshop.backup.moving import export_all


class Command(WorkshopCommand):
    help = N_(
        "Write everything in open formats (CSV, the stitch files as they came) into a new folder. Exits 1 if not."
    )
    example = "export_all /tmp/workshop-in-csv"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("folder", type=Path, metavar="FOLDER")

    def handle(self, *args: Any, **options: Any) -> None:
        written = export_all(options["folder"])
        if options["format"] == "json":
            self.write_json(written)
            return
        told = (
            _(
                "{folder}: lists {lists}, tables {tables}, designs {designs}, photographs {photographs}. Kept files "
                "that are missing: {missing}; see README.txt."
            )
            if written["missing"]
            else _("{folder}: lists {lists}, tables {tables}, designs {designs}, photographs {photographs}.")
        )
        self.stdout.write(told.format(folder=options["folder"], **written))
