"""Say what the colour of a shade is: typed, from a meter's readings, or from a photograph beside a grey card."""

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.catalogue.colour_files import colour_for, read_meter_file, read_photograph
from inventory.catalogue.equivalents import one_shade
from inventory.catalogue.shade_colours import set_colour
from inventory.compute.colour.knowing import usual_sigma
from inventory.compute.colour.lab import delta_e_00, parse_colour
from inventory.compute.colour.photograph import colour_in_photograph, read_region
from inventory.compute.colour.readings import KnownColour
from inventory.compute.errors import WorkshopError
from inventory.compute.names.plain import plain_name
from inventory.compute.spoken import N_, figure
from inventory.management.base import WorkshopCommand
from inventory.models import Shade


class Command(WorkshopCommand):
    help = N_(
        "Set the colour of SHADE from typing, a colour meter's CSV or a photograph, and tell how "
        "well it is known."
    )
    example = 'shade_colour R170 --colour "#b01c2e" --source maker'

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("shade", metavar="SHADE", help=_("Its code, or maker, range and code."))
        how = parser.add_mutually_exclusive_group(required=True)
        how.add_argument("--colour", metavar="COLOUR", help=_("#rrggbb, lab:L,a,b (D65) or lab50:L,a,b."))
        how.add_argument("--readings", metavar="CSV", help=_("A meter's file; columns L, a, b, illuminant."))
        how.add_argument("--photo", metavar="PICTURE", help=_("Thread beside an 18 %% grey card."))
        parser.add_argument("--source", choices=["measured", "maker", "screen"], default="screen",
                            help=_("Where a typed colour comes from."))  # fmt: skip
        parser.add_argument(
            "--illuminant", choices=["D65", "D50"], default="", help=_("Where the file names none.")
        )
        parser.add_argument("--card", metavar="L,T,W,H", help=_("The card, in hundredths of the photograph."))
        parser.add_argument("--thread", metavar="L,T,W,H", help=_("The thread, likewise."))
        parser.add_argument(
            "--yes", action="store_true", help=_("Keep what a photograph shows without being asked.")
        )

    def handle(self, *args: Any, **options: Any) -> None:
        shade = one_shade(options["shade"])
        found = _found(shade, options)
        moved = float(delta_e_00(tuple(shade.lab), [tuple(found.lab)])[0]) if shade.lab else None
        asks = found.source == "photo" and not options["yes"]
        if not asks:
            set_colour(shade, found, at=timezone.now(), by=None)
        said = {
            "shade": str(shade),
            "lab": [round(value, 2) for value in found.lab],
            "source": found.source,
            "sigma": round(found.sigma, 2),
            "spread": round(found.spread, 2),
            "count": found.count,
            "plain_name": plain_name(found.lab),
            "moved": None if moved is None else round(moved, 1),
            "notes": list(found.notes),
            "saved": not asks,
        }
        if options["format"] == "json":
            self.write_json(said)
        else:
            L, a, b = found.lab
            self.stdout.write(
                _("{shade}: L {L}, a {a}, b {b}, {source}; may be off by ΔE {sigma}. That is {name}.").format(
                    shade=shade,
                    L=figure(L, 1, grouped=False),
                    a=figure(a, 1, grouped=False),
                    b=figure(b, 1, grouped=False),
                    source=Shade.Source(found.source).label,
                    sigma=figure(found.sigma, 1, grouped=False),
                    name=_(plain_name(found.lab))
                    if moved is None
                    else _("{name}, ΔE00 {moved} from the colour so far").format(
                        name=_(plain_name(found.lab)), moved=figure(moved, 1, grouped=False)
                    ),
                )
            )
            for note in found.notes:
                self.stdout.write(_("note: {note}").format(note=note))
            if asks:
                self.stdout.write(_("Nothing is kept yet: say --yes to make it the colour of the shade."))


def _found(shade: Shade, options: dict[str, Any]) -> KnownColour:
    if options["colour"]:
        lab = parse_colour(options["colour"])
        if lab is None:
            raise WorkshopError(
                _('"{colour}" is not a colour. Write it like #1f4e79 or lab:31,-1,-28.').format(
                    colour=options["colour"]
                )
            )
        return KnownColour(lab, options["source"], usual_sigma(options["source"]), 0.0, 1)
    if options["readings"]:
        codes = [shade.code, *shade.earlier_codes.values_list("code", flat=True)]
        return colour_for(
            read_meter_file(_content(options["readings"]), illuminant=options["illuminant"]), codes
        )
    if not (options["card"] and options["thread"]):
        raise WorkshopError(
            _("Say where the card and the thread are: --card 5,10,30,80 --thread 50,10,40,80.")
        )
    return colour_in_photograph(
        read_photograph(_content(options["photo"])),
        card=read_region(options["card"]),
        thread=read_region(options["thread"]),
    )


def _content(path: str) -> bytes:
    try:
        return Path(path).read_bytes()
    except OSError as problem:
        raise WorkshopError(
            _("{path} cannot be read: {problem}.").format(path=path, problem=problem.strerror)
        ) from None
