"""Show the parts of a design and its appliques; say that parts are one, or take one out."""

from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.compute.lengths import parse_length
from inventory.compute.spoken import N_
from inventory.management.base import WorkshopCommand
from inventory.models import StabilizerProduct
from planning.compute.stitches.applique import COVER, PLACEMENT, TACK_DOWN, USUAL_ALLOWANCE_MM, proposals
from planning.library.appliques import add_applique, part_meant, parts_of, remove_applique
from planning.models import Design


class Command(WorkshopCommand):
    help = N_(
        "Show the parts of design DESIGN from stop to stop, what may be an applique, and what was said to be one. "
        "With --fabric and at least one line, say that it is; with --remove, take one out."
    )
    example = 'design_appliques 12 --fabric "Felt, stiff" --placement 1 --tack-down 2 --cover 3'

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("design", type=int, metavar="DESIGN", help=_("The design's number."))
        parser.add_argument("--fabric", default="", metavar="NAME", help=_("The fabric, by its name."))
        parser.add_argument(
            "--placement", default="", metavar="PART", help=_("The placement line: 3, or 3.2.")
        )
        parser.add_argument("--tack-down", default="", metavar="PART")
        parser.add_argument("--cover", default="", metavar="PART")
        parser.add_argument("--name", default="", help=_("What the piece is called."))
        parser.add_argument("--allowance", default="", help=_("Beyond the line all round, such as 1 cm."))
        parser.add_argument("--count", type=int, default=1, help=_("Pieces of fabric on each piece."))
        parser.add_argument(
            "--remove", type=int, metavar="NUMBER", help=_("Take out the applique of this number.")
        )

    def handle(self, *args: Any, **options: Any) -> None:
        design = Design.objects.filter(pk=options["design"]).first()
        if design is None:
            raise WorkshopError(_("There is no design {number}.").format(number=options["design"]))
        at = timezone.now()
        if options["remove"] is not None:
            found = design.appliques.filter(number=options["remove"]).first()
            if found is None:
                raise WorkshopError(
                    _("{design} has no applique {number}.").format(design=design, number=options["remove"])
                )
            remove_applique(found, at=at, by=None)
        parts = parts_of(design)
        if options["fabric"]:
            roles = ((PLACEMENT, "placement"), (TACK_DOWN, "tack_down"), (COVER, "cover"))
            allowance = options["allowance"]
            add_applique(
                design,
                lines=[(role, part_meant(options[name], parts)) for role, name in roles if options[name]],
                product=_fabric(options["fabric"]),
                name=options["name"],
                allowance_mm=parse_length(allowance, unit="cm") if allowance else USUAL_ALLOWANCE_MM,
                count=options["count"],
                at=at,
                by=None,
            )
        said = list(design.appliques.select_related("product").prefetch_related("stops"))
        taken = {(stop.block, stop.part) for each in said for stop in each.stops.all()}
        maybe = proposals([each for each in parts if (each.block, each.part) not in taken])
        data = {
            "design": design.pk,
            "parts": [
                {
                    "part": each.key,
                    "stitches": each.stitches,
                    "box_mm": [round(side, 1) for side in each.box_mm],
                    "is_outline": each.is_outline,
                }
                for each in parts
            ],
            "proposals": [
                {
                    "placement": each.placement.key,
                    "tack_down": each.tack_down.key if each.tack_down else None,
                    "cover": each.cover.key if each.cover else None,
                }
                for each in maybe
            ],
            "appliques": [
                {
                    "number": each.number,
                    "name": each.name,
                    "fabric": str(each.product),
                    "covers_mm": [each.width_mm, each.height_mm],
                    "allowance_mm": each.allowance_mm,
                    "count": each.count,
                    "stops": [
                        {"line": stop.role, "block": stop.block, "part": stop.part}
                        for stop in each.stops.all()
                    ],
                }
                for each in said
            ],
        }
        if options["format"] == "json":
            self.write_json(data)
            return
        for part in parts:
            told = (
                _("part {key}: {stitches} stitches, a closed line")
                if part.is_outline
                else _("part {key}: {stitches} stitches")
            )
            self.stdout.write(told.format(key=part.key, stitches=part.stitches))
        for guess in maybe:
            over = [(TACK_DOWN, guess.tack_down), (COVER, guess.cover)]
            lines = [
                f"{PLACEMENT} {guess.placement.key}",
                *(f"{role} {each.key}" for role, each in over if each),
            ]
            self.stdout.write(_("may be an applique, if you say so: {lines}").format(lines=", ".join(lines)))
        for applique in said:
            stops = ", ".join(f"{stop.role} {stop.block}.{stop.part}" for stop in applique.stops.all())
            self.stdout.write(
                _("applique {number}, {applique}: {product}; {stops}").format(
                    number=applique.number, applique=applique, product=applique.product, stops=stops
                )
            )


def _fabric(name: str) -> StabilizerProduct:
    fabrics = StabilizerProduct.objects.filter(kind=StabilizerProduct.Kind.FABRIC)
    for product in fabrics:
        if name.casefold() in (product.name.casefold(), str(product).casefold()):
            return product
    raise WorkshopError(
        _('There is no fabric "{name}". There are: {known}.').format(
            name=name, known=", ".join(map(str, fabrics)) or _("none yet")
        )
    )
