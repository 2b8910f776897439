"""Answer whether there is enough for a kept job."""

import sys
from typing import Any

from django.core.management.base import CommandParser
from django.utils.translation import gettext as _

from inventory.compute.spoken import N_
from inventory.management.base import WorkshopCommand
from planning.jobs.jobs import plan_of
from planning.management.jobs import job_numbered
from planning.plan.ask import verdict_exit_code
from planning.plan.data import plan_as_data
from planning.plan.terminal import print_plan
from planning.run.promise import shown_of


class Command(WorkshopCommand):
    help = N_(
        "Plan the job with this number against the shelf. Exits 0 for enough, 3 for tight or short, 4 for unknown."
    )
    example = "plan_job 3"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument(
            "job", type=int, metavar="JOB", help=_("The job's number, as its page's address has it.")
        )

    def handle(self, *args: Any, **options: Any) -> None:
        job = job_numbered(options["job"])
        answer = plan_of(job)
        if options["format"] == "json":
            self.write_json(
                {"job": job.pk, "what": job.what, "shown": shown_of(answer)} | plan_as_data(answer)
            )
        else:
            print_plan(self.console(), answer)
            self.stdout.write(
                _("To promise just this: promise_job {pk} --shown {shown_of}").format(
                    pk=job.pk, shown_of=shown_of(answer)
                )
            )
        sys.exit(verdict_exit_code(answer.verdict))
