"""Set a spool to the length that a diameter across its thread tells."""

from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.compute.diameters import TOOLS
from inventory.compute.lengths import exact_length
from inventory.compute.spoken import N_
from inventory.compute.units import reader
from inventory.management.acts import ActCommand
from inventory.shelf.diameters import best_way_in_words, measure_spool
from inventory.shelf.labelled import item_labelled


class Command(ActCommand):
    help = N_("Set the spool that carries the label LABEL to what its DIAMETER across the thread tells.")
    example = "measure S0042 31.5"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("label", metavar="LABEL")
        parser.add_argument(
            "diameter", metavar="DIAMETER", help=_("Across the thread, half-way up; without a unit in mm.")
        )
        parser.add_argument(
            "--with", dest="tool", default="calipers", choices=list(TOOLS), help=_("Read with what.")
        )

    def handle(self, *args: Any, **options: Any) -> None:
        spool = item_labelled(options["label"])
        key = self.key_of(options)
        measure_spool(
            spool,
            diameter_mm=float(exact_length(options["diameter"], unit="mm")),
            tool=options["tool"],
            key=key,
            at=timezone.now(),
            by=None,
        )
        self.answer(key, options)
        if options["format"] == "text":
            self.stdout.write(best_way_in_words(spool, reader()))
