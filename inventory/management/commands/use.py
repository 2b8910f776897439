"""Take something off the shelf for use."""

from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.compute.lengths import parse_count, parse_length, parse_weight
from inventory.compute.spoken import N_
from inventory.ledger import use
from inventory.management.acts import ActCommand
from inventory.shelf.labelled import item_labelled


class Command(ActCommand):
    help = N_("Take QUANTITY (such as 12.5 m, 8 g, or 3) of the thing that carries the label LABEL.")
    example = 'use S0042 12.5m --for "a sample"'

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("label", metavar="LABEL")
        parser.add_argument(
            "quantity",
            metavar="QUANTITY",
            help=_("A length without a unit is in m, a weight of spray in g."),
        )
        parser.add_argument(
            "--for", dest="reference", default="", metavar="WHAT", help=_("What it was used for.")
        )

    def handle(self, *args: Any, **options: Any) -> None:
        item = item_labelled(options["label"])
        typed = options["quantity"]
        reads = {"mm": parse_length, "mg": parse_weight}.get(item.unit, parse_count)
        quantity = reads(typed)
        key = self.key_of(options)
        use(item, quantity=quantity, key=key, at=timezone.now(), by=None, reference=options["reference"])
        self.answer(key, options)
