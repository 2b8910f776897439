"""A file as a table of one kind: its headings understood, its rows as cells by column name."""

import difflib
import hashlib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from inventory.compute.later import later
from inventory.compute.spoken import _, figure, listed
from inventory.tables.cells import Cell, shown
from inventory.tables.csv_rows import rows_of_csv
from inventory.tables.raw import HEADING_WITHIN, FileNotRead, RawRows, letters_of
from inventory.tables.workbooks import rows_of_workbook

if TYPE_CHECKING:
    from openpyxl.utils import get_column_letter
else:
    get_column_letter = later("openpyxl.utils", "get_column_letter")

MOST_BYTES = 10_000_000
MOST_ROWS = 20_000  # an act of the ledger numbers its lines to 32,767 at most
_OLD_WORKBOOK = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
# Added to the rows that failed, so that they can be corrected and imported again as they are.
REASON_COLUMN = "reason"


@dataclass(frozen=True)
class TableRow:
    """One row: its number in the file, its cells by column name, and what stands beyond the headings."""

    number: int
    cells: Mapping[str, Cell]
    beyond: tuple[str, ...] = ()


@dataclass(frozen=True)
class Table:
    """What a file holds. ``sha256`` knows the file again; ``notes`` are what a person should hear of it."""

    columns: tuple[str, ...]
    rows: tuple[TableRow, ...]
    sha256: str
    source: str
    notes: tuple[str, ...] = ()
    days_from_1904: bool = False


def read_table(content: bytes, *, columns: Sequence[str], essential: Sequence[tuple[str, ...]] = ()) -> Table:
    """Return the table in ``content``, CSV or .xlsx, whose headings are among ``columns``.

    Of each tuple of ``essential`` at least one must be a heading. Raises FileNotRead.
    """
    by_letters = {letters_of(name): name for name in [*columns, REASON_COLUMN]}
    raw = raw_rows(content, known=by_letters.keys(), most_rows=MOST_ROWS)
    position, headings = _headings(raw, by_letters)
    names = [by_letters.get(letters_of(shown(cell))) for cell in headings]
    _refuse_headings(names, essential=essential, columns=columns)
    notes = [*raw.notes, *_notes_on_headings(headings, names, columns)]
    if position:
        notes.append(
            _("The headings stand in row {row}; what is above them was left out.").format(
                row=raw.rows[position][0]
            )
        )
    rows = []
    for number, cells in raw.rows[position + 1 :]:
        if number in raw.merged:
            notes.append(
                _("Row {number} has cells merged across columns, so it is a title and was left out.").format(
                    number=number
                )
            )
            continue
        row = _row(number, cells, names)
        if row.beyond or any(shown(cell).strip() for cell in row.cells.values()):
            rows.append(row)
    if not rows:
        raise FileNotRead(_("There is nothing under the headings."))
    return Table(
        columns=tuple(name for name in names if name and name != REASON_COLUMN),
        rows=tuple(rows),
        sha256=hashlib.sha256(content).hexdigest(),
        source=raw.source,
        notes=tuple(notes),
        days_from_1904=raw.days_from_1904,
    )


def raw_rows(content: bytes, *, known: Collection[str], most_rows: int, sheet: str = "") -> RawRows:
    """Return the rows of a CSV file or a workbook, of the named sheet or that with most headings ``known``.

    Headings are known by their letters. Raises FileNotRead.
    """
    if len(content) > MOST_BYTES:
        raise FileNotRead(
            _("The file has {size} MB, and {most} MB is the most. Split it and import the parts.").format(
                size=figure(len(content) / 1e6, 1), most=figure(MOST_BYTES / 1e6)
            )
        )
    if content.startswith(_OLD_WORKBOOK):
        raise FileNotRead(
            _("This is an old .xls workbook, or one locked with a password. Save it as .xlsx or CSV.")
        )
    if content.startswith(b"PK"):
        raw = rows_of_workbook(content, known=known, most_rows=most_rows, sheet=sheet)
    else:
        raw = rows_of_csv(content, is_known=lambda heading: letters_of(heading) in known, most_rows=most_rows)
    if not raw.rows:
        raise FileNotRead(_("The file is empty."))
    return raw


def _headings(raw: RawRows, by_letters: Mapping[str, str]) -> tuple[int, list[Cell]]:
    """Return the position and the cells of the row that has most known headings; the first of equals."""

    def known(cells: Sequence[Cell]) -> int:
        return sum(letters_of(shown(cell)) in by_letters for cell in cells)

    top = raw.rows[:HEADING_WITHIN]
    position = max(range(len(top)), key=lambda index: known(top[index][1]))
    return position, top[position][1]


def _refuse_headings(
    names: Sequence[str | None], *, essential: Sequence[tuple[str, ...]], columns: Sequence[str]
) -> None:
    found = [name for name in names if name]
    if not found:
        raise FileNotRead(
            _(
                "No row has the headings of this template. They are: {names}. Export the empty template and "
                "copy the list into it."
            ).format(names=", ".join(columns))
        )
    for name in found:
        if found.count(name) > 1:
            where = [get_column_letter(index + 1) for index, each in enumerate(names) if each == name]
            raise FileNotRead(
                _("Columns {names} are both {name}. Take one out.").format(names=listed(where), name=name)
            )
    for choice in essential:
        if not set(choice) & set(found):
            raise FileNotRead(
                _("The file has no column {names}, which is needed.").format(names=_(" or ").join(choice))
            )


def _notes_on_headings(
    headings: Sequence[Cell], names: Sequence[str | None], columns: Sequence[str]
) -> list[str]:
    missing = [name for name in columns if name not in names]
    notes = []
    for cell, name in zip(headings, names, strict=True):
        heading = shown(cell).strip()
        if name is not None or not heading:
            continue
        near = difflib.get_close_matches(heading.casefold(), missing, n=1)
        told = (
            _('The column "{heading}" is not known and was left out. Is it {name}?')
            if near
            else _('The column "{heading}" is not known and was left out.')
        )
        notes.append(told.format(heading=heading[:60], name="".join(near)))
    return notes


def _row(number: int, cells: Sequence[Cell], names: Sequence[str | None]) -> TableRow:
    by_name = {name: cell for name, cell in zip(names, cells, strict=False) if name and name != REASON_COLUMN}
    beyond = tuple(shown(cell) for cell in cells[len(names) :] if shown(cell).strip())
    return TableRow(number, by_name, beyond)
