"""Cancel an order, or its rest; or take that back."""

from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.compute.spoken import N_
from inventory.management.base import WorkshopCommand
from inventory.management.orders import order_as_data, order_numbered
from inventory.orders.orders import cancel_order, take_cancelling_back


class Command(WorkshopCommand):
    help = N_(
        "Cancel the order with this NUMBER: what has not come of it is no longer expected. "
        "--take-back: it is."
    )
    example = "cancel_order 4"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("number", type=int, metavar="NUMBER")
        # The first name stays for the scripts that have it.
        parser.add_argument(
            "--take-back", "--undo", dest="take_back", action="store_true", help=_("Expect it again.")
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
            self.stdout.write(
                _("Order {number} now stands as {stands}.").format(
                    number=now.number, stands=now.stands_in_words
                )
            )
