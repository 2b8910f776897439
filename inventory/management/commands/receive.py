"""Put something on the shelf."""

from decimal import Decimal
from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.compute.lengths import parse_count, parse_decimal, parse_length, parse_weight
from inventory.compute.spoken import N_
from inventory.management.acts import ActCommand
from inventory.models import BobbinStyle, NeedlePack, Place, PutUp, Shade, StabilizerProduct
from inventory.shelf.receipts import (
    MOST_PRICE,
    Delivery,
    receive_bobbins,
    receive_cans,
    receive_needles,
    receive_rolls,
    receive_sheets,
    receive_spools,
)


class Command(ActCommand):
    help = N_(
        "Put WHAT on the shelf. WHAT is the code of a shade (spools; bobbins with --bobbins), "
        "the name of a stabilizer, film, foam or fabric (a roll with --width and --length, "
        "sheets with --width and --height) or of a spray (cans with --content), or a needle "
        "system with --needles."
    )
    example = 'receive R170 --count 3 --place "Wall, top row" --price 3.20'

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("what", metavar="WHAT")
        parser.add_argument("--count", default="1", metavar="N", help=_("How many; 1 if not given."))
        parser.add_argument(
            "--range", default="", metavar="NAME", help=_("The range, where several have the code.")
        )
        parser.add_argument(
            "--put-up", default="", metavar="NAME", help=_("The put-up, where the range has several.")
        )
        parser.add_argument("--bobbins", default="", metavar="STYLE", help=_("Full bobbins of this style."))
        parser.add_argument("--needles", default="", metavar="SIZE", help=_("Needles of this metric size."))
        parser.add_argument("--point", default="universal", choices=NeedlePack.Point.values)
        parser.add_argument("--length", default="", help=_("On each bobbin, or of the roll, such as 100 m."))
        parser.add_argument("--width", default="", help=_("Of the roll or the sheet, such as 50 cm."))
        parser.add_argument("--height", default="", help=_("Of the sheet, such as 30 cm."))
        parser.add_argument(
            "--content", default="", help=_("Of a can of spray, as printed on it, such as 300 g.")
        )
        parser.add_argument("--empty", default="", help=_("What the can weighs empty, such as 110 g."))
        parser.add_argument("--price", default="", help=_("For each one."))
        parser.add_argument("--place", default="", metavar="NAME")
        parser.add_argument("--lot", default="")
        parser.add_argument(
            "--label", action="append", default=[], help=_("Its code; give it once for each.")
        )

    def handle(self, *args: Any, **options: Any) -> None:
        key = self.key_of(options)
        delivery = Delivery(
            key=key,
            at=timezone.now(),
            by=None,
            place=_place(options["place"]),
            lot=options["lot"],
            price_each=_price(options["price"]),
        )
        shared = {"delivery": delivery, "count": parse_count(options["count"]), "labels": options["label"]}
        if options["needles"]:
            size = parse_count(options["needles"])
            receive_needles(system=options["what"], size=size, point=options["point"], **shared)
        elif options["bobbins"]:
            length_mm = parse_length(_given(options, "length"))
            shade = _shade(options["what"], range=options["range"])
            receive_bobbins(_style(options["bobbins"]), shade=shade, length_mm=length_mm, **shared)
        elif options["content"]:
            empty_mg = parse_weight(options["empty"]) if options["empty"] else None
            content_mg = parse_weight(options["content"])
            receive_cans(_product(options["what"]), content_mg=content_mg, empty_mg=empty_mg, **shared)
        elif options["width"]:
            self._stabilizer(options, shared)
        else:
            shade = _shade(options["what"], range=options["range"])
            receive_spools(shade, put_up=_put_up(shade, options["put_up"]), **shared)
        self.answer(key, options)

    def _stabilizer(self, options: dict[str, Any], shared: dict[str, Any]) -> None:
        product = _product(options["what"])
        width_mm = parse_length(options["width"], unit="cm")
        if options["height"]:
            height_mm = parse_length(options["height"], unit="cm")
            receive_sheets(product, width_mm=width_mm, height_mm=height_mm, **shared)
        else:
            receive_rolls(
                product, width_mm=width_mm, length_mm=parse_length(_given(options, "length")), **shared
            )


def _given(options: dict[str, Any], name: str) -> str:
    if not options[name]:
        raise WorkshopError(_("Say the {name} too, with --{name}.").format(name=name))
    return str(options[name])


def _price(text: str) -> Decimal | None:
    if not text:
        return None
    amount = parse_decimal(text)
    if abs(amount) > MOST_PRICE:  # which could not be rounded either
        raise WorkshopError(
            _("{text} is no price. The most is {most}.").format(text=text[:40], most=MOST_PRICE)
        )
    return amount.quantize(Decimal("0.01"))


def _place(name: str) -> Place | None:
    if not name:
        return None
    place = Place.objects.filter(name__iexact=name).first()
    if place is None:
        raise WorkshopError(
            _('There is no place called "{name}". There are: {names}.').format(
                name=name, names=_names(Place.objects.all())
            )
        )
    return place


def _shade(code: str, *, range: str) -> Shade:
    shades = [
        shade
        for shade in Shade.objects.by_code(code).select_related("range")
        if not range or str(shade.range).casefold() == range.casefold()
    ]
    if not shades:
        said = _('There is no shade "{code}". Enter it in the catalogue first.')
        if range:
            said = _('There is no shade "{code}" of {range}. Enter it in the catalogue first.')
        raise WorkshopError(said.format(code=code, range=range))
    if len(shades) > 1:
        raise WorkshopError(
            _("Several shades carry the code {code}: {names}. Say which with --range.").format(
                code=code, names=_names(shades)
            )
        )
    return shades[0]


def _put_up(shade: Shade, name: str) -> PutUp:
    put_ups = list(shade.range.put_ups.all())
    chosen = [put_up for put_up in put_ups if not name or put_up.name.casefold() == name.casefold()]
    if len(chosen) != 1:
        raise WorkshopError(
            _("{range} is sold as {names}. Say which with --put-up.").format(
                range=shade.range, names=_names(put_ups) or _("nothing yet")
            )
        )
    return chosen[0]


def _style(name: str) -> BobbinStyle:
    style = BobbinStyle.objects.filter(name__iexact=name).first()
    if style is None:
        raise WorkshopError(
            _('There is no bobbin style "{name}". There are: {names}.').format(
                name=name, names=_names(BobbinStyle.objects.all())
            )
        )
    return style


def _product(name: str) -> StabilizerProduct:
    for product in StabilizerProduct.objects.all():
        if name.casefold() in (product.name.casefold(), str(product).casefold()):
            return product
    raise WorkshopError(
        _('There is no stabilizer "{name}". There are: {names}.').format(
            name=name, names=_names(StabilizerProduct.objects.all())
        )
    )


def _names(things: Any) -> str:
    return ", ".join(str(thing) for thing in things)
