"""Set the chosen material aside for a job, or take that back."""

from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.compute.spoken import N_, figure
from inventory.compute.units import told_thread
from inventory.management.base import WorkshopCommand
from inventory.models import Reservation
from planning.management.jobs import job_numbered
from planning.run.finish import drop
from planning.run.promise import pick_up, promise, take_promise_back


class Command(WorkshopCommand):
    help = N_("Promise a job: freeze its plan and set its spools, bobbins and stabilizer aside.")
    example = "promise_job 3"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("job", type=int, metavar="JOB", help=_("The job's number."))
        parser.add_argument(
            "--shown",
            metavar="LETTERS",
            help=_("Promise only the plan that plan_job showed with these letters."),
        )
        parser.add_argument(
            "--key", default="", help=_("A name of your own; given again, it is promised once.")
        )
        instead = parser.add_mutually_exclusive_group()
        instead.add_argument("--although-short", action="store_true", help=_("Set aside what there is."))
        instead.add_argument("--take-back", action="store_true", help=_("Make it a draft again."))
        instead.add_argument("--drop", action="store_true", help=_("It will not be stitched."))
        instead.add_argument("--pick-up", action="store_true", help=_("Make a dropped job a draft again."))

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
        self.stdout.write(
            _("{job} is {get_state_display}.").format(job=job, get_state_display=job.get_state_display())
        )
        for each in held:
            amount = told_thread(each.quantity) if each.item.is_measured else figure(each.quantity)
            self.stdout.write(_("  {label}: {amount} set aside").format(label=each.item.label, amount=amount))
