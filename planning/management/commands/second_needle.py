"""Say on which needle a second spool of a thread is."""

from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.compute.spoken import N_
from inventory.management.base import WorkshopCommand
from planning.management.jobs import job_numbered
from planning.run.second_needle import name_needle


class Command(WorkshopCommand):
    help = N_(
        "Say that the spool LABEL, which follows another of its thread in job JOB, is on needle NEEDLE (0: on none)."
    )
    example = "second_needle 3 S0043 7"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("job", type=int, metavar="JOB", help=_("The job's number."))
        parser.add_argument("label", metavar="LABEL")
        parser.add_argument("needle", type=int, metavar="NEEDLE")

    def handle(self, *args: Any, **options: Any) -> None:
        job = job_numbered(options["job"])
        needle = options["needle"] or None
        turn = name_needle(job, label=options["label"], needle=needle, at=timezone.now(), by=None)
        if options["format"] == "json":
            self.write_json({"job": job.pk, "label": turn.item.label, "needle": turn.needle})
        else:
            told = (
                _("{item} goes on needle {needle}.")
                if turn.needle
                else _("{item} goes on the needle of the spool before.")
            )
            self.stdout.write(told.format(item=turn.item, needle=turn.needle))
