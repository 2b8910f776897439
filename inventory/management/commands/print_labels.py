"""Write a sheet of labels for things on the shelf as a PDF."""

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser
from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import N_, figure
from inventory.labels.sheets import SHEETS, label_sheet, lost_letters
from inventory.management.base import WorkshopCommand
from inventory.models import Place, StockItem
from inventory.shelf.labelled import item_labelled


class Command(WorkshopCommand):
    help = N_("Write a PDF with labels for the things with these label CODEs, or for everything in a place.")
    example = "print_labels S0042 S0043 --base-url http://workshop.local:8000 --output labels.pdf"

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("codes", metavar="CODE", nargs="*")
        parser.add_argument("--place", metavar="NAME", help=_("Everything that is kept there."))
        sheets = "; ".join(f"{name}: {sheet.name}" for name, sheet in SHEETS.items())
        parser.add_argument(
            "--sheet", choices=list(SHEETS), default="a4-63.5x38.1", metavar="SHEET", help=sheets
        )
        parser.add_argument(
            "--skip",
            type=int,
            default=0,
            metavar="N",
            help=_("So many labels of the first sheet are used up."),
        )
        parser.add_argument(
            "--base-url",
            required=True,
            metavar="URL",
            help=_("Where the pages are, such as https://thread.example."),
        )
        parser.add_argument("--output", type=Path, default=Path("labels.pdf"), metavar="FILE")

    def handle(self, *args: Any, **options: Any) -> None:
        items = [item_labelled(code) for code in options["codes"]]
        if options["place"]:
            items += _in_place(options["place"])
        content = label_sheet(
            items, sheet=options["sheet"], base_url=options["base_url"], skip=options["skip"]
        )
        try:
            options["output"].write_bytes(content)
        except OSError as problem:
            raise WorkshopError(
                _("{path} cannot be written: {problem}.").format(
                    path=options["output"], problem=problem.strerror
                )
            ) from None
        self.stdout.write(
            _("Labels written to {path}: {count}.").format(path=options["output"], count=figure(len(items)))
        )
        for code, letters in lost_letters(items).items():
            self.stderr.write(
                _(
                    "{code}: these letters cannot be printed, a question mark stands for them: {letters}"
                ).format(code=code, letters=" ".join(letters))
            )


def _in_place(name: str) -> list[StockItem]:
    place = Place.objects.filter(name__iexact=name.strip()).first()
    if place is None:
        raise WorkshopError(
            _("There is no place {name}. There are: {places}.").format(
                name=name, places=", ".join(str(each) for each in Place.objects.all())
            )
        )
    return list(StockItem.objects.on_the_shelf().filter(place=place).order_by("label"))
