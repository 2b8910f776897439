"""Make the same job again with another number of pieces."""

from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.compute.spoken import N_
from inventory.management.base import WorkshopCommand, day
from planning.management.jobs import job_numbered
from planning.run.promise import same_again


class Command(WorkshopCommand):
    help = N_("Make a new draft that is stitched as this job was.")
    example = "repeat_job 3 --pieces 12"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("job", type=int, metavar="JOB", help=_("The job's number."))
        parser.add_argument("--pieces", type=int, metavar="N", help=_("Left out: as many as before."))
        parser.add_argument("--by", type=day, metavar="DAY", help=_("When it is due."))
        parser.add_argument(
            "--key", default="", help=_("A name of your own; given again, nothing is made twice.")
        )

    def handle(self, *args: Any, **options: Any) -> None:
        job = job_numbered(options["job"])
        pieces = job.pieces if options["pieces"] is None else options["pieces"]
        made = same_again(
            job, pieces=pieces, needed_on=options["by"], at=timezone.now(), by=None, key=options["key"]
        )
        if options["format"] == "json":
            self.write_json({"job": made.pk, "repeats": job.pk, "pieces": made.pieces, "state": made.state})
        else:
            self.stdout.write(
                ngettext(
                    "Job {number} is a draft of {pieces} piece, stitched as job {before} was.",
                    "Job {number} is a draft of {pieces} pieces, stitched as job {before} was.",
                    made.pieces,
                ).format(number=made.pk, pieces=made.pieces, before=job.pk)
            )
