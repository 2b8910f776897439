"""Set the chosen material aside for a job, or take that back."""

from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone

from inventory.management.base import WorkshopCommand
from inventory.models import Reservation
from planning.management.jobs import job_numbered
from planning.run.finish import drop
from planning.run.promise import pick_up, promise, take_promise_back


class Command(WorkshopCommand):
    help = "Promise a job: freeze its plan and set its spools, bobbins and stabilizer aside."
    example = "promise_job 3"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("job", type=int, metavar="JOB", help="The job's number.")
        parser.add_argument(
            "--shown",
            metavar="LETTERS",
            help="Promise only the plan that plan_job showed with these letters.",
        )
        parser.add_argument("--key", default="", help="A name of your own; given again, it is promised once.")
        instead = parser.add_mutually_exclusive_group()
        instead.add_argument("--although-short", action="store_true", help="Set aside what there is.")
        instead.add_argument("--take-back", action="store_true", help="Make it a draft again.")
        instead.add_argument("--drop", action="store_true", help="It will not be stitched.")
        instead.add_argument("--pick-up", action="store_true", help="Make a dropped job a draft again.")

    def handle(self, *args: Any, **options: Any) -> None:
        job = job_numbered(options["job"])
        at = timezone.now()
        if options["take_back"]:
            take_promise_back(job, at=at)
        elif options["drop"]:
            drop(job, at=at)
        elif options["pick_up"]:
            pick_up(job, at=at)
        else:
            promise(
                job,
                at=at,
                by=None,
                although_short=options["although_short"],
                shown=options["shown"],
                key=options["key"],
            )
        held = list(
            Reservation.objects.filter(holder=job.holder).select_related("item").order_by("item__label")
        )
        if options["format"] == "json":
            self.write_json(
                {
                    "job": job.pk,
                    "state": job.state,
                    "set_aside": [{"label": each.item.label, "quantity": each.quantity} for each in held],
                }
            )
            return
        self.stdout.write(f"{job} is {job.get_state_display()}.")
        for each in held:
            amount = f"{each.quantity / 1000:,.1f} m" if each.item.is_measured else f"{each.quantity:,}"
            self.stdout.write(f"  {each.item.label}: {amount} set aside")
