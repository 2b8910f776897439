"""Set something on the shelf to what was found of it."""

from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.compute.spoken import N_
from inventory.management.acts import ActCommand, add_scale_step, scale_step_mg
from inventory.shelf.counts import found_as_typed, note_found
from inventory.shelf.labelled import item_labelled


class Command(ActCommand):
    help = N_(
        "Set the thing that carries the label LABEL to what was FOUND of it: a count (18), a "
        "length (350 m), the weight of a spool (52.4 g), how full it looks (half), or ? where "
        "nobody knows."
    )
    example = "count_stock S0042 half"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("label", metavar="LABEL")
        parser.add_argument("found", metavar="FOUND", nargs="+")
        add_scale_step(parser)
        parser.add_argument(
            "--sure", action="store_true", help=_("Believe more than a full spool could hold.")
        )

    def handle(self, *args: Any, **options: Any) -> None:
        item = item_labelled(options["label"])
        found = found_as_typed(
            " ".join(options["found"]),
            item=item,
            scale_resolution_mg=scale_step_mg(options),
            sure=options["sure"],
        )
        key = self.key_of(options)
        note_found(item, found, key=key, at=timezone.now(), by=None)
        self.answer(key, options)
