"""Check that the shelf and the ledger agree, and that no order brought more than was ordered."""

import json

from django.core.management.base import BaseCommand, CommandParser

from inventory.ledger import ledger_problems
from inventory.models import Entry, StockItem
from inventory.orders.orders import order_problems


class Command(BaseCommand):
    help = "Check the ledger's invariants; exits 1 and names each one that fails."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--format", choices=["text", "json"], default="text")

    def handle(self, *args: object, **options: str) -> None:
        problems = [*ledger_problems(), *order_problems()]
        if options["format"] == "json":
            rows = [vars(problem) for problem in problems]
            self.stdout.write(json.dumps({"sound": not problems, "problems": rows}, indent=2))
        else:
            for problem in problems:
                self.stdout.write(str(problem))
            if not problems:
                self.stdout.write(
                    f"The ledger is sound: {StockItem.objects.count():,} items, {Entry.objects.count():,} entries."
                )
        if problems:
            raise SystemExit(1)
