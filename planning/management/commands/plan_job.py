"""Answer whether there is enough for a kept job."""

import sys
from typing import Any

from django.core.management.base import CommandParser

from inventory.compute.errors import WorkshopError
from inventory.management.base import WorkshopCommand
from planning.answers import plan_as_data
from planning.jobs import plan_of
from planning.models import Job
from planning.plan import verdict_exit_code
from planning.terminal import print_plan


class Command(WorkshopCommand):
    help = "Plan the job with this number against the shelf. Exits 0 for enough, 3 for tight or short, 4 for unknown."

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument(
            "job", type=int, metavar="JOB", help="The job's number, as its page's address has it."
        )

    def handle(self, *args: Any, **options: Any) -> None:
        job = Job.objects.with_everything().filter(pk=options["job"]).first()
        if job is None:
            known = (
                ", ".join(f"{each.pk} ({each})" for each in Job.objects.order_by("-pk")[:10]) or "none yet"
            )
            raise WorkshopError(f"There is no job {options['job']}. Known: {known}.")
        answer = plan_of(job)
        if options["format"] == "json":
            self.write_json({"job": job.pk, "what": job.what} | plan_as_data(answer))
        else:
            print_plan(self.console(), answer)
        sys.exit(verdict_exit_code(answer.verdict))
