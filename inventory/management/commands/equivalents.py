"""List the nearest shade of every other range."""

from typing import Any

from django.core.management.base import CommandParser
from django.utils.translation import gettext as _
from rich.table import Table
from rich.text import Text

from inventory.catalogue.equivalents import ONE_WAY, Equivalent, by_earlier_code, equivalents, one_shade
from inventory.compute.colour.seen import difference_seen
from inventory.compute.spoken import N_, figure
from inventory.management.base import WorkshopCommand
from inventory.management.shades import shade_as_data


class Command(WorkshopCommand):
    help = N_("List the shade of each other range that is nearest to SHADE, from the colours that are known.")
    example = "equivalents R170"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("shade", metavar="SHADE", help=_("Its code, or maker, range and code."))

    def handle(self, *args: Any, **options: Any) -> None:
        shade = one_shade(options["shade"])
        found = equivalents(shade)
        if options["format"] == "json":
            self.write_json(
                {
                    "shade": str(shade),
                    "code": shade.code,
                    "asked_by_earlier_code": by_earlier_code(shade, options["shade"]),
                    "holds": "one way",
                    "equivalents": [_as_data(each) for each in found],
                }
            )
            return
        if by_earlier_code(shade, options["shade"]):
            self.stdout.write(
                _("{asked} is an earlier code; the shade is now {shade}.").format(
                    asked=options["shade"], shade=shade
                )
            )
        if found:
            self.console().print(_table(found))
            self.stdout.write(str(ONE_WAY))
        else:
            self.stdout.write(_("No other range has a shade whose colour is known."))


def _as_data(each: Equivalent) -> dict[str, Any]:
    shade = each.shade
    return shade_as_data(shade) | {
        "fibre": shade.range.fibre,
        "weight": shade.range.weight_label,
        "delta_e_00": round(each.delta_e_00, 1),
        "delta_e_00_from": round(each.between[0], 1),
        "delta_e_00_to": round(each.between[1], 1),
        "grey_scale_grade": each.grade,
        "owned": each.is_owned,
        "free_mm": each.kept.free_mm,
    }


def _table(found: list[Equivalent]) -> Table:
    table = Table(box=None, pad_edge=False)
    table.add_column("")
    table.add_column("Shade", overflow="fold")
    table.add_column("Colour")
    table.add_column("ΔE00", justify="right")
    for heading in ("Between", "Grade", "Fibre", "Weight", "Owned"):
        table.add_column(heading)
    for each in found:
        shade = each.shade
        table.add_row(
            Text("██", style=shade.hex),
            str(shade),
            shade.plain_name,
            f"{each.delta_e_00:.1f}",
            _("{low} and {high}").format(
                low=figure(each.between[0], 1, grouped=False),
                high=figure(each.between[1], 1, grouped=False),
            ),
            f"{each.grade} ({difference_seen(each.delta_e_00)})",
            shade.range.fibre,
            shade.range.weight_label,
            "yes" if each.is_owned else "no",
        )
    return table
