"""List the orders, or write one to be sent."""

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser
from django.utils.translation import gettext as _

from inventory.acting.days import plain_day
from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import N_
from inventory.management.base import WorkshopCommand
from inventory.management.orders import order_as_data, order_numbered
from inventory.models import Order
from inventory.orders.sheets import order_csv, order_pdf, order_text


class Command(WorkshopCommand):
    help = N_(
        "List all orders with what has come of them; with a NUMBER show that order, and with "
        "--output write it as .pdf, .csv or .txt to be sent."
    )
    example = "orders 4 --output order-4.pdf"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("number", type=int, nargs="?", metavar="NUMBER")
        parser.add_argument("--output", type=Path, metavar="FILE", help=_("Write the order here."))
        parser.add_argument("--workshop", default=_("our workshop"), metavar="NAME", help=_("Who orders."))
        parser.add_argument("--currency", default="EUR", metavar="CODE", help=_("Three letters."))

    def handle(self, *args: Any, **options: Any) -> None:
        if options["output"] and options["number"] is None:
            raise WorkshopError(_("Say which order is to be written, by its number."))
        orders = (
            [order_numbered(options["number"])]
            if options["number"] is not None
            else list(Order.objects.with_lines())
        )
        if options["output"]:
            self._write(orders[0], options)
        elif options["format"] == "json":
            self.write_json([order_as_data(order) for order in orders])
        else:
            self._print(orders)

    def _write(self, order: Order, options: dict[str, Any]) -> None:
        named = {"workshop": options["workshop"], "currency": options["currency"]}
        path: Path = options["output"]
        writers = {
            ".pdf": lambda: order_pdf(order, **named),
            ".csv": lambda: order_csv(order),
            ".txt": lambda: order_text(order, **named).encode(),
        }
        if path.suffix not in writers:
            raise WorkshopError(
                _("{name} should end in {endings}.").format(name=path.name, endings=", ".join(writers))
            )
        try:
            path.write_bytes(writers[path.suffix]())
        except OSError as problem:
            raise WorkshopError(
                _("{path} cannot be written: {problem}.").format(path=path, problem=problem.strerror)
            ) from None
        self.stdout.write(_("Order {number} written to {path}.").format(number=order.number, path=path))

    def _print(self, orders: list[Order]) -> None:
        if not orders:
            self.stdout.write(_("Nothing has been ordered yet."))
        for order in orders:
            said = _("Order {number} to {supplier}: {stands}, {total}")
            if order.is_open:
                said = _("Order {number} to {supplier}: {stands}, expected {day}, {total}")
            self.stdout.write(
                said.format(
                    number=order.number,
                    supplier=order.supplier,
                    stands=order.stands_in_words,
                    day=plain_day(order.expected_on) if order.is_open else "",
                    total=order.total,
                )
            )
            for line in order.lines.all():
                self.stdout.write(
                    _("  {number}: {packs} × {sold_as}, {what}: {received} of {things} came").format(
                        number=line.number,
                        packs=line.packs,
                        sold_as=line.sold_as,
                        what=line.what,
                        received=line.received,
                        things=line.things,
                    )
                )
