"""Note what happened at the machine: pieces done, spoiled, threads that broke, spools swapped."""

from typing import Any
from uuid import uuid4

from django.core.management.base import CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.compute.lengths import read_scale
from inventory.compute.spoken import N_
from inventory.management.base import WorkshopCommand
from planning.management.jobs import job_numbered
from planning.models import Job, RunEvent
from planning.run.again import note_told
from planning.run.standing import run_of
from planning.run.ticks import Happening, begin, take_back

KINDS = ("piece", "spoiled", "break", "restitch", "spool", "bobbin", "tension", "needle", "stop", "test")


class Command(WorkshopCommand):
    help = N_("Note what happened in a run. The first tick of a promised job begins it.")
    example = "tick_job 3 spool --thread 2 --label S0043 --left nothing"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("job", type=int, metavar="JOB", help=_("The job's number."))
        parser.add_argument(
            "what", nargs="?", choices=KINDS, default="piece", help=_("Left out: a piece is done.")
        )
        parser.add_argument(
            "--times", type=int, default=1, metavar="N", help=_("So many pieces, one after the other.")
        )
        parser.add_argument(
            "--thread", type=int, metavar="ORDER", help=_("Which thread, by its threading order.")
        )
        parser.add_argument("--label", default="", metavar="CODE", help=_("The spool that is on now."))
        parser.add_argument(
            "--instead-of",
            default="",
            metavar="CODE",
            help=_("The spool that comes off; another is refused."),
        )
        parser.add_argument("--share", type=float, default=1.0, help=_("The part that was stitched again."))
        parser.add_argument(
            "--block",
            type=int,
            metavar="N",
            help=_("Stitched again from the beginning of this block, --share of it."),
        )
        parser.add_argument(
            "--stitches", default="", metavar="FROM-TO",
            help=_("Or stitched again from this stitch to that, as the machine counts them: 1200-1850."),
        )  # fmt: skip
        parser.add_argument(
            "--design", type=int, default=1, metavar="N", help=_("Of which design of the piece.")
        )
        parser.add_argument("--ran-out", action="store_true", help=_("The spool before is empty."))
        parser.add_argument(
            "--left", choices=("nothing", "little"), default="", help=_("What is left on the spool before.")
        )
        parser.add_argument(
            "--weighs", default="", metavar="WEIGHT", help=_("Or what it weighs, with its core.")
        )
        parser.add_argument(
            "--showing", choices=RunEvent.Showing.values, default="",
            help=_("After a change of tension: how much bobbin thread shows on the back."),
        )  # fmt: skip
        parser.add_argument(
            "--verdict", choices=RunEvent.TestVerdict.values, default="",
            help=_("What a test says: go on, or change something."),
        )  # fmt: skip
        parser.add_argument(
            "--note", default="", help=_("Why it was stopped, or what is changed after a test.")
        )
        parser.add_argument("--take-back", action="store_true", help=_("Take the last thing noted back."))
        parser.add_argument(
            "--key", default="", help=_("A name of your own; given again, nothing counts twice.")
        )

    def handle(self, *args: Any, **options: Any) -> None:
        job = job_numbered(options["job"])
        at = timezone.now()
        if options["times"] < 1:
            raise WorkshopError(_("{times} times is never; give 1 or more.").format(times=options["times"]))
        if job.state == Job.State.PROMISED:
            begin(job, at=at)
        key = options["key"] or uuid4().hex[:24]
        if options["take_back"]:
            last = RunEvent.objects.filter(job=job).standing().order_by("-id").first()
            if last is None:
                raise WorkshopError(_("Nothing was noted yet, so there is nothing to take back."))
            take_back(last, key=key, at=at, by=None)
        else:
            noted, stitches = 0, _span(options["stitches"])
            for number in range(options["times"]):
                is_tick = options["what"] in ("piece", "spoiled")
                if is_tick and job.state == Job.State.RUNNING and not run_of(job).left:
                    break
                happening = Happening(
                    kind=options["what"],
                    key=f"{key}-{number}" if options["times"] > 1 else key,
                    thread=options["thread"],
                    label=options["label"],
                    share=options["share"],
                    ran_out=options["ran_out"],
                    left="weighed" if options["weighs"] else options["left"],
                    gross=read_scale(options["weighs"]) if options["weighs"] else None,
                    # Whoever types a command twice means it; the same key still counts once.
                    again=True,
                    showing=options["showing"],
                    test_verdict=options["verdict"],
                    note=options["note"],
                    instead_of=options["instead_of"],
                    design=options["design"],
                    block=options["block"],
                    from_stitch=stitches[0] if stitches else None,
                    to_stitch=stitches[1] if stitches else None,
                )
                note_told(job, happening, at=at, by=None)
                noted += 1
            if not noted:
                raise WorkshopError(_("Every piece is done: there is nothing left to tick. Finish the job."))
            if noted < options["times"]:
                self.stderr.write(
                    _(
                        "{noted} ticked; after that every piece was done, so that {left} of {times} were not."
                    ).format(noted=noted, left=options["times"] - noted, times=options["times"])
                )
        self._answer(job, options)

    def _answer(self, job: Job, options: dict[str, Any]) -> None:
        run = run_of(job)
        if options["format"] == "json":
            self.write_json(
                {
                    "job": job.pk,
                    "state": job.state,
                    "good": run.good,
                    "spoiled": run.spoiled,
                    "left": len(run.left),
                    "next": run.called(run.left[0]) if run.left else None,
                }
            )
            return
        self.stdout.write(
            _("{good} of {pieces} good, {spoiled} spoiled.").format(
                good=run.good, pieces=run.promise.pieces, spoiled=run.spoiled
            )
        )
        self.stdout.write(
            _("Next: {called}.").format(called=run.called(run.left[0]))
            if run.left
            else _("Every piece is done: finish_job.")
        )


def _span(written: str) -> tuple[int, int] | None:
    """Return the two stitch numbers of a text such as ``1200-1850``; None for none."""
    if not written.strip():
        return None
    start, dash, stop = written.replace(" ", "").partition("-")
    if not (dash and start.isdecimal() and stop.isdecimal()):
        raise WorkshopError(
            _('"{written}" names no stitches. Write two numbers, such as 1200-1850.').format(written=written)
        )
    return int(start), int(stop)
