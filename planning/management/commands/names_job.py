"""Keep a list of names as a job whose pieces carry nothing else."""

import sys
import uuid
from pathlib import Path
from typing import Any, Literal

from django.core.management.base import CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import N_
from inventory.management.base import WorkshopCommand, day
from planning.facts.names import by_name
from planning.jobs.jobs import JobFacts, make_names_job
from planning.models import Fabric, Hoop, Job, Machine


def _copies(written: str) -> int | Literal["most"]:
    return "most" if written == "most" else int(written)


class Command(WorkshopCommand):
    help = N_(
        "Make a job of the names in FILE, one a line, each with a kept design of its lettering: MARLA finds the "
        "design called MARLA, or the only one with that word in its name; MARLA: file-12 names it."
    )
    example = 'names_job "Name tags" names.txt --fabric "Pennant felt" --copies most'

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("what", metavar="WHAT", help=_("What the job is called."))
        parser.add_argument("file", metavar="FILE", help=_("A text file of names; - for the standard input."))
        parser.add_argument("--machine", metavar="NAME")
        parser.add_argument("--fabric", metavar="NAME")
        parser.add_argument("--hoop", metavar="NAME")
        parser.add_argument(
            "--tests", type=int, default=0, metavar="N", help=_("Test pieces; none, if not given.")
        )
        parser.add_argument("--by", type=day, metavar="DAY", help=_("When it is due."))
        parser.add_argument(
            "--copies", type=_copies, default="most", metavar="N|most",
            help=_("Names in one hooping: as many as a hoop holds, if not given."),
        )  # fmt: skip
        parser.add_argument(
            "--key", default="", help=_("A name of your own; given again, no second job is made.")
        )

    def handle(self, *args: Any, **options: Any) -> None:
        most = options["copies"] == "most"
        facts = JobFacts(
            what=options["what"],
            pieces=1,
            machine=by_name(Machine, options["machine"]) if options["machine"] else None,
            fabric=by_name(Fabric, options["fabric"]) if options["fabric"] else None,
            hoop=by_name(Hoop, options["hoop"]) if options["hoop"] else None,
            tests=options["tests"],
            needed_on=options["by"],
            copies=1 if most else options["copies"],
        )
        key = options["key"] or uuid.uuid4().hex
        made = make_names_job(
            facts,
            _lines(options["file"]),
            at=timezone.now(),
            by=None,
            key=f"names-{key}"[:80],
            as_many_as_fit=most,
        )
        job = Job.objects.get(pk=made.pk)
        names = list(job.names.select_related("design").order_by("number"))
        if options["format"] == "json":
            self.write_json(
                {
                    "job": job.pk,
                    "what": job.what,
                    "pieces": job.pieces,
                    "copies_per_hooping": job.copies,
                    "names": [
                        {"piece": each.number, "text": each.text, "design": each.design.name}
                        for each in names
                    ],
                }
            )
            return
        self.stdout.write(
            ngettext(
                "Job {pk}, {job}: {pieces} name, {copies} in a hooping.",
                "Job {pk}, {job}: {pieces} names, {copies} in a hooping.",
                job.pieces,
            ).format(pk=job.pk, job=job, pieces=job.pieces, copies=job.copies)
        )
        for each in names:
            self.stdout.write(f"  {each.number}. {each.text}: {each.design.name}")


def _lines(file: str) -> str:
    if file == "-":
        return sys.stdin.read()
    try:
        return Path(file).read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as problem:
        raise WorkshopError(
            _("{file} cannot be read as a list of names: {problem}.").format(file=file, problem=problem)
        ) from None
