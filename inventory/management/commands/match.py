"""List the owned shades nearest to a colour."""

from typing import Any

from django.core.management.base import CommandParser
from django.utils.translation import gettext as _
from rich.table import Table
from rich.text import Text

from inventory.compute.colour.seen import difference_seen
from inventory.compute.left_out import left_out_as_data, left_out_in_words
from inventory.compute.lengths import format_length
from inventory.compute.spoken import N_, figure
from inventory.compute.units import reader
from inventory.management.base import WorkshopCommand
from inventory.management.shades import shade_as_data
from inventory.shelf.reads import NearShade, colour_meant, left_out_of_nearest, owned_nearest


class Command(WorkshopCommand):
    help = N_(
        "List the owned thread nearest to COLOUR (#rrggbb, lab:L,a,b, a shade code, or words "
        "such as 'dark blue'), nearest first."
    )
    example = 'match "dark blue"'

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("colour", metavar="COLOUR")
        parser.add_argument("--limit", type=int, default=10, metavar="N")

    def handle(self, *args: Any, **options: Any) -> None:
        left_out = left_out_of_nearest()
        near = owned_nearest(colour_meant(options["colour"]), limit=max(1, options["limit"]))
        if options["format"] == "json":
            self.write_json(
                {"shades": [_as_data(each) for each in near], "left_out": left_out_as_data(left_out)}
            )
            return
        if near:
            self.console().print(_table(near))
        else:
            self.stdout.write(_("No thread of a known colour is on the shelf yet."))
        if left_out:
            self.stdout.write(left_out_in_words(left_out))


def _as_data(near: NearShade) -> dict[str, Any]:
    shade = near.shade
    return shade_as_data(shade) | {
        "delta_e_00": round(near.delta_e_00, 1),
        "grey_scale_grade": near.grade,
        "free_mm": near.free_mm,
    }


def _table(near: list[NearShade]) -> Table:
    table = Table(box=None, pad_edge=False)
    table.add_column("")
    for heading in (_("Maker and range"), _("Code"), _("Name"), _("Colour")):
        table.add_column(heading, overflow="fold")
    table.add_column("ΔE00", justify="right")
    table.add_column(_("Grey scale"))
    unit = reader().length
    table.add_column(f"{_('Free')} {unit}", justify="right")
    for each in near:
        shade = each.shade
        table.add_row(
            Text("██", style=shade.hex),
            str(shade.range),
            shade.code,
            shade.name,
            _(shade.plain_name),
            figure(each.delta_e_00, 1),
            f"{each.grade} ({difference_seen(each.delta_e_00)})",
            format_length(each.free_mm, unit=unit, places=1).removesuffix(f" {unit}"),
        )
    return table
