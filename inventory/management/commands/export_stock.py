"""Export stock or catalogue as CSV or .xlsx."""

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser
from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import N_
from inventory.files import export
from inventory.files.importing import KINDS
from inventory.management.base import WorkshopCommand


class Command(WorkshopCommand):
    help = N_(
        "Write KIND as CSV, or as a workbook with --xlsx, to standard output or a file. What it "
        "writes can be imported again. Exits 0, or 1 where the file cannot be written."
    )
    example = "export_stock spools --xlsx --output spools.xlsx"

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("kind", metavar="KIND", choices=list(KINDS), help=", ".join(KINDS))
        parser.add_argument("--xlsx", action="store_true", help=_("A workbook instead of CSV."))
        parser.add_argument(
            "--template", action="store_true", help=_("The empty template: column names alone.")
        )
        parser.add_argument(
            "--output", metavar="FILE", type=Path, help=_("Where to write; standard output otherwise.")
        )

    def handle(self, *args: Any, **options: Any) -> None:
        kind, path = options["kind"], options["output"]
        if options["template"]:
            content = export.template_xlsx(kind) if options["xlsx"] else export.template_csv(kind)
        else:
            content = export.export_xlsx(kind) if options["xlsx"] else export.export_csv(kind)
        if path is not None:
            try:
                path.write_bytes(content)
            except OSError as problem:
                raise WorkshopError(
                    _("{path} cannot be written: {problem}.").format(path=path, problem=problem.strerror)
                ) from None
        elif options["xlsx"] and self.stdout.isatty():
            raise WorkshopError(_("A workbook cannot be shown on a terminal. Name a file with --output."))
        elif (raw := getattr(self.stdout, "buffer", None)) is not None:
            # Bytes, because text would have its line ends changed on some systems.
            raw.write(content)
        else:
            self.stdout.write(content.decode("utf-8-sig"), ending="")
