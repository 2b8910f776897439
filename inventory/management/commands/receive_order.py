"""Put what came of an order on the shelf."""

from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.compute.lengths import parse_decimal
from inventory.compute.spoken import N_
from inventory.management.acts import ActCommand
from inventory.management.orders import order_numbered
from inventory.models import Order, OrderLine, Place
from inventory.orders.orders import Arrived, receive_order


class Command(ActCommand):
    help = N_(
        "Put on the shelf what came of the order with this NUMBER: all that is still to come, or "
        "with --line so many of some lines. Each thing gets a label code. Nothing can come twice."
    )
    example = "receive_order 4 --line 1=2 --lot 3099C"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("number", type=int, metavar="NUMBER")
        parser.add_argument(
            "--line",
            action="append",
            default=[],
            metavar="LINE=COUNT",
            help=_("May be repeated; without it: all."),
        )
        parser.add_argument("--lot", default="", help=_("The dye lot of all that came."))
        parser.add_argument("--price", default="", help=_("What each cost, where not as ordered."))
        parser.add_argument("--place", default="", metavar="NAME")

    def handle(self, *args: Any, **options: Any) -> None:
        order = order_numbered(options["number"])
        key = self.key_of(options)
        price = parse_decimal(options["price"]) if options["price"] else None
        arrived = [
            Arrived(line, count, lot=options["lot"], price_each=price)
            for line, count in _came(order, options["line"])
        ]
        place = _place(options["place"])
        receive_order(order, arrived=arrived, key=key, at=timezone.now(), by=None, place=place)
        self.answer(key, options)


def _came(order: Order, words: list[str]) -> list[tuple[OrderLine, int]]:
    lines = {line.number: line for line in order.lines.all()}
    if not words:
        return [(line, line.to_come) for line in lines.values()]
    came = []
    for word in words:
        number, _equals, count = word.partition("=")
        if not (number.isdecimal() and count.isdecimal()) or int(number) not in lines:
            raise WorkshopError(
                _(
                    '"{word}" names no line and count. Write it like 1=4; order {number} has lines {names}.'
                ).format(word=word, number=order.number, names=", ".join(map(str, lines)))
            )
        came.append((lines[int(number)], int(count)))
    return came


def _place(name: str) -> Place | None:
    if not name:
        return None
    place = Place.objects.filter(name__iexact=name).first()
    if place is None:
        raise WorkshopError(_('There is no place called "{name}".').format(name=name))
    return place
