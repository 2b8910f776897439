"""Finish a job: spools weighed back or believed, bobbins and minutes told."""

from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.compute.lengths import read_scale
from inventory.compute.spoken import N_
from inventory.compute.units import told_thread
from inventory.management.acts import add_scale_step, scale_step_mg
from inventory.management.base import WorkshopCommand
from planning.management.jobs import job_numbered
from planning.run.finish import Ending, WeighedBack, finish


class Command(WorkshopCommand):
    help = N_("Finish a running job and report planned against actual.")
    example = "finish_job 3 --weighed S0042=31.5g --bobbins 3.5 --keep-bobbin --minutes 95"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("job", type=int, metavar="JOB", help=_("The job's number."))
        parser.add_argument(
            "--weighed", action="append", default=[], metavar="LABEL=WEIGHT",
            help=_("A spool with its core, such as S0042=31.5g. Repeatable; others are believed as estimated."),
        )  # fmt: skip
        add_scale_step(parser)
        parser.add_argument("--bobbins", type=float, metavar="N", help=_("Bobbins used, such as 3.5."))
        parser.add_argument("--keep-bobbin", action="store_true", help=_("Keep the rest of the last bobbin."))
        parser.add_argument("--minutes", type=float, metavar="MIN", help=_("Minutes at the machine."))
        parser.add_argument(
            "--as-it-is", action="store_true", help=_("The pieces left will not be stitched.")
        )
        parser.add_argument("--sure", action="store_true", help=_("A spool fuller than full is right."))

    def handle(self, *args: Any, **options: Any) -> None:
        job = job_numbered(options["job"])
        ending = Ending(
            weighed=tuple(
                _weighed(written, resolution_mg=scale_step_mg(options), sure=options["sure"])
                for written in options["weighed"]
            ),
            bobbins=options["bobbins"],
            keep_bobbin=options["keep_bobbin"],
            machine_min=options["minutes"],
            although_unfinished=options["as_it_is"],
        )
        report = finish(job, ending, at=timezone.now(), by=None)
        if options["format"] == "json":
            self.write_json({"job": job.pk, "state": job.state} | report.facts)
            return
        facts = report.facts
        self.stdout.write(
            _("{job} is finished: {good} of {ordered} good.").format(
                job=job, good=facts["pieces"]["good"], ordered=facts["pieces"]["ordered"]
            )
        )
        for row in facts["threads"]:
            self.stdout.write(
                _("  {thread}: planned {planned}, used {used}").format(
                    thread=row["thread"],
                    planned=told_thread(row["planned_mm"]),
                    used=told_thread(row["used_mm"]),
                )
            )
        if facts["bobbins"]["kept"]:
            self.stdout.write(
                _("  The rest of the last bobbin is part bobbin {label}.").format(
                    label=facts["bobbins"]["kept"]
                )
            )
        material = facts["material"]
        self.stdout.write(
            _("  Material: planned {currency} {planned}, used {used}").format(
                currency=material["currency"], planned=material["planned"], used=material["used"]
            )
        )


def _weighed(written: str, *, resolution_mg: int | None, sure: bool) -> WeighedBack:
    label, equals, weight = written.partition("=")
    if not equals:
        raise WorkshopError(
            _('"{written}" names no weight. Write LABEL=WEIGHT, such as S0042=31.5g.').format(written=written)
        )
    return WeighedBack(label.strip(), read_scale(weight, resolution_mg=resolution_mg), sure=sure)
