"""Tell which regions of colour the shelf does not cover, and which shades would cover most of them."""

from typing import Any

from django.core.management.base import CommandParser
from django.utils.translation import gettext as _
from rich.table import Table

from inventory.compute.spoken import N_, as_written_here
from inventory.management.base import WorkshopCommand
from planning.buying.gaps import ShelfGaps, shelf_gaps
from planning.plan.data import shade_as_data


class Command(WorkshopCommand):
    help = N_(
        "Tell which known colours have nothing near on the shelf, by region, and what would cover most of them."
    )
    example = "gap_map --most 5"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("--most", type=int, default=5, metavar="N", help=_("How many shades to suggest."))
        parser.add_argument(
            "--limit", type=float, metavar="ΔE00", help=_("How near is near; else as the rules say.")
        )

    def handle(self, *args: Any, **options: Any) -> None:
        found = shelf_gaps(most=options["most"], limit=options["limit"])
        if options["format"] == "json":
            self.write_json(_as_data(found))
            return
        gaps, console = found.gaps, self.console()
        console.print(
            _("{uncovered} of {count} known colours have nothing on the shelf within ΔE00 {limit}.").format(
                uncovered=gaps.uncovered, count=len(gaps.points), limit=as_written_here(f"{found.limit:g}")
            )
        )
        table = Table(box=None, pad_edge=False)
        table.add_column(_("Region"))
        for heading in (_("Known"), _("Covered"), _("Open")):
            table.add_column(heading, justify="right")
        for region in gaps.regions:
            table.add_row(
                f"{region.lightness} {region.family}",
                str(region.known),
                str(region.covered),
                str(region.uncovered),
            )
        console.print(table)
        for each in found.suggested:
            shade, offer = each.suggestion.shade, each.offer
            price = (
                _("{put_up}, {supplier}, {price}").format(
                    put_up=offer.put_up, supplier=offer.supplier, price=offer.price
                )
                if offer
                else _("nobody is known to sell it")
            )
            console.print(
                _("{maker} {range} {code} {name}: {adds} more, {region}; {price}").format(
                    maker=shade.maker,
                    range=shade.range,
                    code=shade.code,
                    name=shade.name,
                    adds=each.suggestion.adds,
                    region=" ".join(each.suggestion.region),
                    price=price,
                )
            )
        if found.suggested:
            console.print(
                _("Together {would_cover} of them; no {count} shades cover more than {bound}.").format(
                    would_cover=gaps.would_cover, count=len(found.suggested), bound=gaps.bound
                )
            )


def _as_data(found: ShelfGaps) -> dict[str, Any]:
    gaps = found.gaps
    return {
        "limit": found.limit,
        "known": len(gaps.points),
        "covered": gaps.covered,
        "regions": [
            {
                "lightness": region.lightness,
                "family": region.family,
                "known": region.known,
                "covered": region.covered,
            }
            for region in gaps.regions
        ],
        "suggestions": [
            {
                "shade": shade_as_data(each.suggestion.shade),
                "adds": each.suggestion.adds,
                "put_up": each.offer.put_up if each.offer else "",
                "supplier": each.offer.supplier if each.offer else "",
                "price": str(each.offer.price) if each.offer else None,
            }
            for each in found.suggested
        ],
        "would_cover": gaps.would_cover,
        "bound": gaps.bound,
    }
