"""Take everything out in open formats."""

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser

from inventory.management.base import WorkshopCommand
from workshop.backup.moving import export_all


class Command(WorkshopCommand):
    help = "Write everything in open formats (CSV, the stitch files as they came) into a new folder. Exits 1 if not."
    example = "export_all /tmp/workshop-in-csv"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("folder", type=Path, metavar="FOLDER")

    def handle(self, *args: Any, **options: Any) -> None:
        written = export_all(options["folder"])
        if options["format"] == "json":
            self.write_json(written)
            return
        self.stdout.write(
            f"{options['folder']}: {written['lists']} lists, {written['tables']} tables, {written['designs']} designs, "
            f"{written['photographs']} photographs."
            + (f" {written['missing']} kept files are missing; see README.txt." if written["missing"] else "")
        )
