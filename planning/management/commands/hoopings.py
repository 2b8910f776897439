"""Tell which pieces of a job share a hooping, and write one stitch file for each."""

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser
from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import N_
from inventory.management.base import WorkshopCommand
from planning.jobs.hoopings import hooping_files, hoopings_of
from planning.management.jobs import job_numbered
from planning.stitch_files.writing import WRITTEN


class Command(WorkshopCommand):
    help = N_(
        "List the hoopings of a job, each with its pieces in order; write a stitch file for each into a folder."
    )
    example = "hoopings 3 --write tags --as pes"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("job", type=int, metavar="JOB", help=_("The job's number."))
        parser.add_argument(
            "--write", default="", metavar="FOLDER", help=_("Write the files there; none is replaced.")
        )
        parser.add_argument(
            "--as", dest="extension", choices=tuple(WRITTEN), default="pes", help=_("Their format.")
        )

    def handle(self, *args: Any, **options: Any) -> None:
        job = job_numbered(options["job"])
        hoopings = hoopings_of(job)
        written = _write(job, options) if options["write"] else [""] * len(hoopings)
        if options["format"] == "json":
            self.write_json(
                {
                    "job": job.pk,
                    "hoopings": [
                        {
                            "hooping": each.number,
                            "hoop": each.hoop,
                            "file": file,
                            "pieces": [
                                {
                                    "position": piece.position,
                                    "called": piece.called,
                                    "text": piece.text,
                                    "x_mm": round(piece.at_mm[0], 1),
                                    "y_mm": round(piece.at_mm[1], 1),
                                }
                                for piece in each.pieces
                            ],
                        }
                        for each, file in zip(hoopings, written, strict=True)
                    ],
                }
            )
            return
        for each, file in zip(hoopings, written, strict=True):
            pieces = ", ".join(piece.text or piece.called for piece in each.pieces)
            self.stdout.write(f"{each.number}. {each.hoop}: {pieces}{f' ({file})' if file else ''}")


def _write(job: Any, options: dict[str, Any]) -> list[str]:
    """Write the files and return where they are. Raises WorkshopError rather than replace one."""
    folder = Path(options["write"])
    files = hooping_files(job, extension=options["extension"])
    there = [name for name, _ in files if (folder / name).exists()]
    if there:
        raise WorkshopError(
            _("{file} is there already. Choose another folder, or take it away first.").format(
                file=folder / there[0]
            )
        )
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in files:
            (folder / name).write_bytes(content)
    except OSError as problem:
        raise WorkshopError(
            _("Nothing could be written into {folder}: {problem}.").format(folder=folder, problem=problem)
        ) from None
    return [str(folder / name) for name, _ in files]
