"""Bring a folder of stitch files into the library."""

import os
import sys
import time
from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from inventory.compute.spoken import N_
from inventory.management.base import WorkshopCommand
from planning.library.importing import import_folder
from planning.models import ImportedFile, ImportRun
from planning.plan.ask import chosen_machine


class Command(WorkshopCommand):
    help = N_(
        "Bring every stitch file of a folder and its subfolders into the library. Files that are known are "
        "skipped, and a run that was stopped goes on when it is started again. Exits 0 if every stitch file is "
        "in the library afterwards, 1 if one was refused or for an error."
    )
    example = 'import_designs designs --machine "Single needle by the window"'

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("folder", metavar="FOLDER", type=Path)
        parser.add_argument("--machine", metavar="NAME", help=_("Whose rule for trims holds."))
        parser.add_argument(
            "--processes",
            type=int,
            choices=range(1, 33),
            default=min(os.cpu_count() or 1, 8),
            metavar="N",
            help=_("Files read at a time, 1 to 32 (default: %(default)s, as this computer can do)."),
        )

    def handle(self, *args: Any, **options: Any) -> None:
        machine = chosen_machine(options["machine"])
        began = time.monotonic()
        # Beside the answer: what goes to a file or a pipe holds the answer alone.
        console = Console(stderr=True)
        columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
        with Progress(*columns, console=console, disable=not console.is_terminal, transient=True) as progress:
            bar = progress.add_task("Looking", total=None)

            def tell(run: ImportRun) -> None:
                progress.update(bar, description="Importing", total=run.found, completed=run.done)

            try:
                run = import_folder(
                    options["folder"],
                    trim_at_jumps=machine.trim_at_jumps,
                    clock=timezone.now,
                    processes=options["processes"],
                    tell=tell,
                )
            except KeyboardInterrupt:
                progress.stop()
                self.stderr.write(_("Stopped. What was kept stays; the same command goes on with the rest."))
                sys.exit(1)
        refused = list(run.files.filter(outcome=ImportedFile.Outcome.REFUSED))
        if options["format"] == "json":
            self.write_json(
                {
                    "run": run.pk,
                    "found": run.found,
                    "kept": run.kept,
                    "known": run.known,
                    "refused": [{"file": file.shown, "reason": file.reason} for file in refused],
                    "other_files": run.passed_over,
                    "seconds": round(time.monotonic() - began, 2),
                }
            )
        else:
            self._say(run, refused)
        if refused:
            sys.exit(1)

    def _say(self, run: ImportRun, refused: list[ImportedFile]) -> None:
        self.stdout.write(
            ngettext(
                "{found} stitch file: {kept} kept, {known} known already, {refused} refused. {others} other files "
                "were left alone.",
                "{found} stitch files: {kept} kept, {known} known already, {refused} refused. {others} other files "
                "were left alone.",
                run.found,
            ).format(
                found=run.found, kept=run.kept, known=run.known, refused=run.refused, others=run.passed_over
            )
        )
        for file in refused:
            self.stderr.write(f"{file.reason} ({file.where})" if file.where else file.reason)
