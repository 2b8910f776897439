"""Set a spool to the length that its weight tells."""

from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone

from inventory.compute.lengths import format_weight, parse_weight
from inventory.management.acts import ActCommand
from inventory.shelf.labelled import item_labelled
from inventory.shelf.weights import learn_tare, weigh_spool


class Command(ActCommand):
    help = "Set the spool that carries the label LABEL to what its WEIGHT (such as 52.4 g) tells."

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("label", metavar="LABEL")
        parser.add_argument("weight", metavar="WEIGHT", help="Without a unit it is in grams.")
        parser.add_argument(
            "--scale", default="1 g", metavar="STEP", help="The smallest step that the scale shows."
        )
        parser.add_argument(
            "--empty", action="store_true", help="The spool is empty: learn what it weighs so."
        )
        parser.add_argument("--sure", action="store_true", help="Believe more than a full spool could hold.")

    def handle(self, *args: Any, **options: Any) -> None:
        spool = item_labelled(options["label"])
        weight_mg = parse_weight(options["weight"])
        key = self.key_of(options)
        if options["empty"]:
            learn_tare(spool, empty_mg=weight_mg, key=key, at=timezone.now(), by=None)
            self._say_learnt(spool.label, weight_mg, options)
            return
        weigh_spool(
            spool,
            gross_mg=weight_mg,
            scale_resolution_mg=parse_weight(options["scale"]),
            sure=options["sure"],
            key=key,
            at=timezone.now(),
            by=None,
        )
        self.answer(key, options)

    def _say_learnt(self, label: str, empty_mg: int, options: dict[str, Any]) -> None:
        if options["format"] == "json":
            self.write_json({"label": label, "empty_mg": empty_mg})
        else:
            self.stdout.write(f"{label} weighs {format_weight(empty_mg, unit='g')} when empty.")
