"""What every reader of files hands on, and how it refuses."""

import re
from dataclasses import dataclass, field

from inventory.compute.errors import WorkshopError
from inventory.tables.cells import Cell

# Above the headings there may be a title and some words about the list, but no more rows than this.
HEADING_WITHIN = 20


class FileNotRead(WorkshopError):
    """The file is not a table that can be imported; the text says what to do about it."""


@dataclass(frozen=True)
class RawRows:
    """The rows of a file that are not blank, each with its number as a spreadsheet counts.

    ``sheets`` are the sheets of a workbook that can be seen, the one read among them.
    ``merged`` are the rows in which cells of several columns are merged; days that are bare numbers count from
    1900, or ``days_from_1904``.
    """

    rows: list[tuple[int, list[Cell]]]
    notes: list[str] = field(default_factory=list)
    source: str = ""
    merged: frozenset[int] = frozenset()
    days_from_1904: bool = False
    sheets: tuple[str, ...] = ()


def letters_of(heading: str) -> str:
    """Return what counts of a heading: ``Length (m)`` and ``length_m`` are the same."""
    return re.sub(r"[\W_]+", "", heading.casefold())
