"""Say that a machine was set otherwise, its tension above all."""

from typing import Any
from uuid import uuid4

from django.core.management.base import CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.compute.spoken import N_
from inventory.management.base import WorkshopCommand
from planning.facts.learning import latest_told, take_back_change, tell_change
from planning.facts.names import by_name
from planning.models import Machine


class Command(WorkshopCommand):
    help = N_(
        "Say that a machine's tension was changed: estimates are less sure until weigh-backs tell more."
    )
    example = 'machine_changed "Six needles" --what "upper tension"'

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("machine", metavar="MACHINE")
        parser.add_argument("--what", default="", help=_("What was changed, in a few words."))
        parser.add_argument("--key", default="", help=_("The same key sent again tells it once."))
        parser.add_argument("--take-back", action="store_true", help=_("Take back the last such word."))

    def handle(self, *args: Any, **options: Any) -> None:
        machine = by_name(Machine, options["machine"])
        if options["take_back"]:
            told = latest_told(machine)
            number = told.pk
            take_back_change(told)
        else:
            told = tell_change(
                machine, what=options["what"], key=options["key"] or uuid4().hex, at=timezone.now(), by=None
            )
            number = told.pk
        if options["format"] == "json":
            self.write_json({"machine": machine.name, "id": number, "taken_back": options["take_back"]})
        else:
            self.stdout.write(f"{'Taken back' if options['take_back'] else 'Noted'}: {told}")
