"""An example at the foot of what a command says of itself."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandParser, DjangoHelpFormatter
from django.utils import translation
from django.utils.translation import gettext as _

from inventory.compute.units import IMPERIAL, METRIC, read_in

CALLED = "python3 manage.py "


@contextmanager
def spoken_to(format: str | None) -> Iterator[None]:
    """Have what is answered as data speak English and metric, and the rest the language and units of the workshop."""
    if format == "json":
        with translation.override("en-gb"), read_in(METRIC):
            yield
        return
    with read_in(IMPERIAL if settings.UNITS == "imperial" else METRIC):
        yield


class _AsWritten(DjangoHelpFormatter):
    """Leaves an example as it is: broken over two lines it could not be copied."""

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        return text if CALLED in text else super()._fill_text(text, width, indent)


class WithExample(BaseCommand):
    """A command whose ``--help`` ends with an example, as it is typed: its name and what follows it."""

    example: str
    # What ``help`` leaves open, in braces.
    of_help: Mapping[str, str] = {}

    def create_parser(self, prog_name: str, subcommand: str, **options: Any) -> CommandParser:
        self.help = _(str(self.help))
        if self.of_help:
            self.help = self.help.format(**self.of_help)
        options |= {"formatter_class": _AsWritten, "epilog": f"{_('Example:')}\n  {CALLED}{self.example}"}
        return super().create_parser(prog_name, subcommand, **options)
