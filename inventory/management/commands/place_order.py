"""Place a drafted order."""

from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.acting.days import plain_day
from inventory.compute.spoken import N_
from inventory.management.base import WorkshopCommand, day
from inventory.management.orders import order_as_data, order_numbered
from inventory.orders.orders import expect_order, place_order


class Command(WorkshopCommand):
    help = N_(
        "Note that the order with this NUMBER was sent: what is on it counts as on order from "
        "now on. Placed already, it takes the day of --expected."
    )
    example = "place_order 4 --expected 2026-12-04"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("number", type=int, metavar="NUMBER")
        parser.add_argument("--expected", type=day, metavar="DAY", help=_("The day it is expected."))

    def handle(self, *args: Any, **options: Any) -> None:
        order = place_order(
            order_numbered(options["number"]), at=timezone.now(), expected_on=options["expected"]
        )
        if options["expected"] and order.expected_on != options["expected"]:
            order = expect_order(order, on=options["expected"], at=timezone.now())
        if options["format"] == "json":
            self.write_json(order_as_data(order_numbered(order.number)))
        else:
            self.stdout.write(
                _("Order {number} is placed and expected on {day}.").format(
                    number=order.number, day=plain_day(order.expected_on)
                )
            )
