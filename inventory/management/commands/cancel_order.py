"""Cancel an order, or its rest; or take that back."""

from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone

from inventory.management.base import WorkshopCommand
from inventory.management.orders import order_as_data, order_numbered
from inventory.orders.orders import cancel_order, take_cancelling_back


class Command(WorkshopCommand):
    help = "Cancel the order with this NUMBER: what has not come of it is no longer expected. --take-back: it is."
    example = "cancel_order 4"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("number", type=int, metavar="NUMBER")
        # The first name stays for the scripts that have it.
        parser.add_argument(
            "--take-back", "--undo", dest="take_back", action="store_true", help="Expect it again."
        )

    def handle(self, *args: Any, **options: Any) -> None:
        order = order_numbered(options["number"])
        changed = (
            take_cancelling_back(order, at=timezone.now())
            if options["take_back"]
            else cancel_order(order, at=timezone.now())
        )
        now = order_numbered(changed.number)
        if options["format"] == "json":
            self.write_json(order_as_data(now))
        else:
            self.stdout.write(f"Order {now.number} now stands as {now.stands}.")
