"""Tell what finished jobs taught of each machine."""

import math
from typing import Any

from django.core.management.base import CommandParser
from django.utils.translation import gettext as _

from inventory.compute.spoken import N_, figure
from inventory.management.base import WorkshopCommand
from planning.facts.learning import (
    MachineLearned,
    change_in_words,
    kept_in_words,
    learned_as_data,
    machine_learned,
)
from planning.facts.names import by_name
from planning.models import Machine


class Command(WorkshopCommand):
    help = N_(
        "Show the use factors of each machine, how often the stated 95 % held, and changes that were noticed."
    )
    example = "learned"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("--machine", metavar="NAME", help=_("Only this one."))

    def handle(self, *args: Any, **options: Any) -> None:
        machines = (
            [by_name(Machine, options["machine"])] if options["machine"] else list(Machine.objects.all())
        )
        known = [machine_learned(each) for each in machines]
        if options["format"] == "json":
            self.write_json({"machines": [learned_as_data(each) for each in known]})
            return
        for each in known:
            self.stdout.write("\n".join(_told(each)))
        if not known:
            self.stdout.write(_("No machine is set up yet."))


def _told(known: MachineLearned) -> list[str]:
    lines = [str(known.machine), f"  {kept_in_words(known.kept['thread'])}"]
    lines += [f"  {change_in_words(each)}" for each in known.changes]
    for each in known.factors:
        low, high = each.factor.quantile(0.025), each.factor.quantile(0.975)
        about = f"{each.kind} {each.range or ''}".strip()
        lines.append(
            _(
                "  {about}: {median}, the next job {low} to {high} in 95 %; {counted} of {count} counted"
            ).format(
                about=about,
                median=figure(each.factor.median, 2),
                low=_times(low),
                high=_times(high),
                counted=each.counted,
                count=len(each.observations),
            )
        )
    return lines


def _times(log_factor: float) -> str:
    return figure(math.exp(log_factor), 2)
