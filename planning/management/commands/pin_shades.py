"""Pin shades to the blocks of a kept job, leave shades out, and take that back."""

from typing import Any

from django.core.management.base import CommandParser
from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import N_
from inventory.management.base import WorkshopCommand
from planning.jobs.pinning import ShadeChanges, change_pins, pin_all
from planning.models import Job


class Command(WorkshopCommand):
    help = N_("Change which shades the job with this number holds on to, and tell which it holds on to then.")
    example = "pin_shades 3 --pin 2=R170"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("job", type=int, metavar="JOB")
        for flag, metavar, words in (
            ("--pin", "BLOCK=CODE", _("The shade that the colour of this block is to have. Repeatable.")),
            ("--unpin", "BLOCK", _("A block whose shade is to be chosen again. Repeatable.")),
            ("--exclude", "CODE", _("A shade that is not to be used. Repeatable.")),
            ("--use-again", "CODE", _("A shade that is no longer left out. Repeatable.")),
        ):
            parser.add_argument(flag, action="append", default=[], metavar=metavar, help=words)
        parser.add_argument(
            "--all",
            action="store_true",
            help=_("Pin every shade as the plan has it now, once the rest is done."),
        )

    def handle(self, *args: Any, **options: Any) -> None:
        job = Job.objects.with_everything().filter(pk=options["job"]).first()
        if job is None:
            raise WorkshopError(_("There is no job {number}.").format(number=options["job"]))
        changes = ShadeChanges(options["pin"], options["unpin"], options["exclude"], options["use_again"])
        change_pins(job, changes)
        if options["all"]:
            pin_all(job)
        pinned = [
            {"design": each.design.name, "block": each.block, "shade": str(each.shade)}
            for each in job.pinned_shades.select_related("design", "shade__range")
        ]
        left_out = [str(each) for each in job.left_out_shades.select_related("shade__range")]
        if options["format"] == "json":
            self.write_json({"job": job.pk, "pinned": pinned, "left_out": left_out})
            return
        for row in pinned:
            self.stdout.write(
                _("{design}, block {block}: {shade}").format(
                    design=row["design"], block=row["block"], shade=row["shade"]
                )
            )
        for name in left_out:
            self.stdout.write(_("left out: {name}").format(name=name))
        if not pinned and not left_out:
            self.stdout.write(
                _("{job} holds on to no shade; they are chosen anew for every plan.").format(job=job)
            )
