"""Rows on their way from a file to the shelf, and what is wrong with them."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from inventory.compute.spoken import _
from inventory.files.importing.forms import RowForm
from inventory.tables.cells import Cell, shown
from inventory.tables.problems import CellProblem
from inventory.tables.tables import Table, TableRow

Progress = Callable[[int, int], None]
_STEP = 100


@dataclass
class Row:
    """One row of the file with its cleaned values; whoever finds a fault in it calls ``refuse``.

    ``news`` are the records it makes, ``changes`` what it edits, in words. A row that ``landed_before`` with
    this very file says nothing new.
    """

    number: int
    cells: Mapping[str, Cell]
    values: Mapping[str, Any] = field(default_factory=dict)
    problems: list[CellProblem] = field(default_factory=list)
    news: list[str] = field(default_factory=list)
    changes: list[str] = field(default_factory=list)
    landed_before: bool = False
    label: str = ""

    def __getitem__(self, column: str) -> Any:
        return self.values.get(column)

    def states(self, *columns: str) -> bool:
        """Return whether any of ``columns`` holds something."""
        return any(self[column] not in (None, "", ()) for column in columns)

    def refuse(self, column: str, reason: str) -> None:
        value = shown(self.cells.get(column, ""))
        self.problems.append(CellProblem(self.number, column, value[:200], reason))

    def refused(self, *columns: str) -> bool:
        """Return whether a fault has been found in any of ``columns``."""
        return any(problem.column in columns for problem in self.problems)

    @property
    def is_bad(self) -> bool:
        return bool(self.problems)


def cleaned_rows(table: Table, *, form: type[RowForm], progress: Progress) -> list[Row]:
    """Return every row of ``table`` with its values cleaned, and a problem for every bad cell."""
    checker = form(data={})
    if table.days_from_1904:
        checker.count_days_from_1904()
    rows = []
    for done, each in enumerate(table.rows, start=1):
        rows.append(_checked(each, checker))
        if done % _STEP == 0 or done == len(table.rows):
            progress(done, len(table.rows))
    return rows


def _checked(each: TableRow, checker: RowForm) -> Row:
    row = Row(each.number, each.cells)
    row.values = checker.cleaned_row(dict(each.cells))
    for column, errors in checker.errors.as_data().items():
        for error in errors:
            row.refuse(column, " ".join(error.messages))
    if each.beyond:
        row.problems.append(
            CellProblem(
                each.number,
                "",
                " | ".join(each.beyond)[:200],
                _(
                    "The row has more cells than there are headings. In a CSV file, a number or name that contains "
                    "the separator needs quotation marks."
                ),
            )
        )
    return row
