"""Read the colours of a range from a colour meter's file."""

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.catalogue.colour_files import read_meter_file
from inventory.catalogue.shade_colours import set_colours
from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import N_, figure
from inventory.management.base import WorkshopCommand
from inventory.models import ThreadRange


class Command(WorkshopCommand):
    help = N_(
        "Read the colours of shades of RANGE from a colour meter's CSV (code, L, a, b, "
        "illuminant): all or none."
    )
    example = 'read_colours meter.csv --range "Bright 40"'

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("file", metavar="CSV")
        parser.add_argument(
            "--range", required=True, metavar="RANGE", help=_("Maker and range, as the catalogue has it.")
        )
        parser.add_argument(
            "--illuminant", choices=["D65", "D50"], default="", help=_("Where the file names none.")
        )

    def handle(self, *args: Any, **options: Any) -> None:
        wanted = " ".join(options["range"].split()).casefold()
        ranges = list(ThreadRange.objects.all())
        of_range = next((each for each in ranges if str(each).casefold() == wanted), None)
        if of_range is None:
            known = ", ".join(map(str, ranges)) or _("none yet")
            raise WorkshopError(
                _('There is no range "{name}". Known: {known}.').format(name=options["range"], known=known)
            )
        try:
            content = Path(options["file"]).read_bytes()
        except OSError as problem:
            raise WorkshopError(
                _("{path} cannot be read: {problem}.").format(path=options["file"], problem=problem.strerror)
            ) from None
        file = read_meter_file(content, illuminant=options["illuminant"])
        if file.problems:
            raise WorkshopError("\n".join([*map(str, file.problems), _("Nothing was changed.")]))
        done = set_colours(of_range, file.colours, at=timezone.now(), by=None)
        if options["format"] == "json":
            rows = [
                {
                    "shade": str(shade),
                    "lab": [round(value, 2) for value in colour.lab],
                    "readings": colour.count,
                    "spread": round(colour.spread, 2),
                    "sigma": round(colour.sigma, 2),
                    "changed": change is not None,
                }
                for shade, colour, change in done
            ]
            self.write_json({"colours": rows})
            return
        for shade, colour, change in done:
            L, a, b = colour.lab
            readings = ngettext("{count} reading", "{count} readings", colour.count).format(
                count=colour.count
            )
            said = _("{shade}: L {L}, a {a}, b {b} from {readings}, apart by ΔE {spread}")
            if not change:
                said = _(
                    "{shade}: L {L}, a {a}, b {b} from {readings}, apart by ΔE {spread}; it was so already"
                )
            self.stdout.write(
                said.format(
                    shade=shade,
                    L=figure(L, 1, grouped=False),
                    a=figure(a, 1, grouped=False),
                    b=figure(b, 1, grouped=False),
                    readings=readings,
                    spread=figure(colour.spread, 2, grouped=False),
                )
            )
