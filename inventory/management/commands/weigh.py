"""Set a spool to the length that its weight tells."""

from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.compute.lengths import read_scale
from inventory.compute.spoken import N_
from inventory.compute.units import told_mass
from inventory.management.acts import ActCommand, add_scale_step, scale_step_mg
from inventory.shelf.labelled import item_labelled
from inventory.shelf.weights import learn_tare, weigh_spool


class Command(ActCommand):
    help = N_("Set the spool that carries the label LABEL to what its WEIGHT (such as 52.4 g) tells.")
    example = "weigh S0042 52.4g"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("label", metavar="LABEL")
        parser.add_argument(
            "weight",
            metavar="WEIGHT",
            help=_("As the scale shows it, every figure of it; without a unit it is in grams."),
        )
        add_scale_step(parser)
        parser.add_argument(
            "--empty", action="store_true", help=_("The spool is empty: learn what it weighs so.")
        )
        parser.add_argument(
            "--sure", action="store_true", help=_("Believe more than a full spool could hold.")
        )

    def handle(self, *args: Any, **options: Any) -> None:
        spool = item_labelled(options["label"])
        shown = read_scale(options["weight"], resolution_mg=scale_step_mg(options))
        key = self.key_of(options)
        if options["empty"]:
            learn_tare(spool, empty_mg=shown.mg, key=key, at=timezone.now(), by=None)
            self._say_learnt(spool.label, shown.mg, options)
            return
        weigh_spool(
            spool,
            gross_mg=shown.mg,
            scale_resolution_mg=shown.resolution_mg,
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
            self.stdout.write(
                _("{label} weighs {weight} when empty.").format(label=label, weight=told_mass(empty_mg))
            )
