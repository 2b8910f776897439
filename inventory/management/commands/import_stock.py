"""Import stock or catalogue from a CSV file or an .xlsx workbook."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import N_, figure
from inventory.files import importing
from inventory.files.importing import KINDS, NothingLanded, Preview
from inventory.management.base import WorkshopCommand

# A page of bad cells is enough on a terminal; --failed and --format json have them all.
_MOST_SHOWN = 40


class Command(WorkshopCommand):
    help = N_(
        "Import FILE (CSV or .xlsx) of KIND: all of it or, where a row is bad, nothing. Exits 0 "
        "where the file landed (or would, with --dry-run), 1 where nothing did."
    )
    example = "import_stock spools spools.csv --dry-run"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("kind", metavar="KIND", choices=list(KINDS), help=", ".join(KINDS))
        parser.add_argument("file", metavar="FILE", type=Path)
        parser.add_argument("--dry-run", action="store_true", help=_("Only say what would happen."))
        parser.add_argument(
            "--skip-bad", action="store_true", help=_("Import the good rows and leave the bad ones out.")
        )
        parser.add_argument(
            "--failed", metavar="FILE", type=Path, help=_("Write the bad rows, with reasons, as CSV.")
        )

    def handle(self, *args: Any, **options: Any) -> None:
        kind, skip_bad = options["kind"], options["skip_bad"]
        content = _content(options["file"])
        landed = True
        try:
            with _bar(self.stderr) as progress:
                if options["dry_run"]:
                    preview = importing.preview_import(content, kind=kind, progress=progress)
                    landed = bool(preview.outcomes) and (skip_bad or not preview.failed)
                else:
                    preview = importing.apply_import(
                        content,
                        kind=kind,
                        at=timezone.now(),
                        by=None,
                        skip_bad=skip_bad,
                        reference=f"import of {options['file'].name}"[:120],
                        progress=progress,
                    )
        except NothingLanded as refusal:
            preview, landed = refusal.preview, False
            self.stderr.write(str(refusal))
        if options["failed"] and preview.failed:
            options["failed"].write_bytes(importing.failed_rows_csv(preview))
        if options["format"] == "json":
            self.write_json(_as_data(preview, landed=landed and not options["dry_run"]))
        else:
            self._tell(preview, dry_run=options["dry_run"], failed=options["failed"])
        if not landed:
            sys.exit(1)

    def _tell(self, preview: Preview, *, dry_run: bool, failed: Path | None) -> None:
        said = _("{source}. Would be: {what}.") if dry_run else "{source}. {what}."
        self.stdout.write(said.format(source=preview.source, what=preview.in_words))
        for note in preview.notes:
            self.stdout.write(note)
        for problem in preview.problems[:_MOST_SHOWN]:
            self.stdout.write(str(problem))
        if len(preview.problems) > _MOST_SHOWN:
            self.stdout.write(
                _("And {number} more; --failed FILE writes all of them.").format(
                    number=figure(len(preview.problems) - _MOST_SHOWN)
                )
            )
        if preview.failed and failed:
            self.stdout.write(
                _("The bad rows are in {failed}. Correct them there and import that file.").format(
                    failed=failed
                )
            )


def _content(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as problem:
        raise WorkshopError(
            _("{path} cannot be read: {problem}.").format(path=path, problem=problem.strerror)
        ) from None


@contextmanager
def _bar(stream: Any) -> Iterator[importing.Progress]:
    """Yield the callback that moves a bar on a terminal, and does nothing elsewhere."""
    console = Console(file=stream, force_terminal=None if stream.isatty() else False)
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    # The command's standard error paints all that goes through it red; a bar is no error.
    paint, stream.style_func = stream.style_func, None
    try:
        with Progress(*columns, console=console, transient=True, disable=not stream.isatty()) as bar:
            task = bar.add_task("rows", total=None)

            def progress(done: int, total: int) -> None:
                bar.update(task, completed=done, total=total)

            yield progress
    finally:
        stream.style_func = paint


def _as_data(preview: Preview, *, landed: bool) -> dict[str, Any]:
    return {
        "kind": preview.kind,
        "sha256": preview.sha256,
        "landed": landed,
        "new": preview.new,
        "changed": preview.changed,
        "unchanged": preview.unchanged,
        "failed": len(preview.failed),
        "notes": list(preview.notes),
        "problems": [
            {"row": each.row, "column": each.column, "value": each.value, "reason": each.reason}
            for each in preview.problems
        ],
    }
