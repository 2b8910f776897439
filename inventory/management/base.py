"""What every command shares: errors in words on standard error with exit code 1, and the output formats."""

import json
import os
import sys
from argparse import ArgumentTypeError
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from typing import IO, Any, cast

from django.core.management.base import CommandParser
from django.utils.timezone import localdate
from django.utils.translation import gettext as _
from rich.console import Console

from inventory.compute.errors import WorkshopError
from inventory.compute.typed.days import read_day
from inventory.management.examples import WithExample, spoken_to


@contextmanager
def stray_lines_aside() -> Iterator[None]:
    """Send what a library writes to the standard output on its own meanwhile to the standard error.

    The solver behind scipy 1.17 writes a line there, past Python, where it mends the rounding of a solution; in
    the midst of JSON that would be read by a script.
    """
    sys.stdout.flush()
    kept = os.dup(1)
    os.dup2(2, 1)
    try:
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)


def day(written: str) -> date:
    """Return the day that an argument names, as ``read_day`` takes it: 2026-12-04, "4 Dec", friday."""
    try:
        return read_day(written, today=localdate())
    except WorkshopError as problem:
        raise ArgumentTypeError(str(problem)) from None


class WorkshopCommand(WithExample):
    """A command whose refusals are sentences, never tracebacks."""

    # They look at the code, not at the workshop, and load every page: the tests and ``check`` do that.
    requires_system_checks: Any = ()

    formats: tuple[str, ...] = ("text", "json")

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--format", choices=self.formats, default="text", help=_("How to answer."))

    def execute(self, *args: Any, **options: Any) -> Any:
        try:
            with spoken_to(options.get("format")):
                return super().execute(*args, **options)
        except WorkshopError as problem:
            self.stderr.write(str(problem))
            sys.exit(1)

    def write_json(self, data: object) -> None:
        self.stdout.write(json.dumps(data, indent=2, ensure_ascii=False))

    def console(self) -> Console:
        """Return a console on this command's output; colour only where a terminal shows it."""
        # Not a terminal: wide enough that nothing is cut when the page goes to a file.
        width = None if sys.stdout.isatty() else 110
        return Console(
            file=cast(IO[str], self.stdout), width=width, highlight=False, markup=False, emoji=False
        )
