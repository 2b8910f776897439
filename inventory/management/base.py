"""What every command shares: errors in words on standard error with exit code 1, and the output formats."""

import json
import sys
from typing import IO, Any, cast

from django.core.management.base import BaseCommand, CommandParser
from rich.console import Console

from inventory.compute.errors import WorkshopError


class WorkshopCommand(BaseCommand):
    """A command whose refusals are sentences, never tracebacks."""

    formats: tuple[str, ...] = ("text", "json")

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--format", choices=self.formats, default="text", help="How to answer.")

    def execute(self, *args: Any, **options: Any) -> Any:
        try:
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
