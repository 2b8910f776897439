"""The rows of an .xlsx workbook: numbers as numbers, dates as dates, formulas by their saved values.

Only ``workbook_child`` reads with this, in a process of its own; see ``workbooks``.
"""

import io
import re
import warnings
import zipfile
from collections.abc import Callable, Iterator
from datetime import date, datetime
from decimal import Decimal
from itertools import islice
from typing import Any

import openpyxl
from openpyxl.utils import column_index_from_string
from openpyxl.utils.datetime import CALENDAR_MAC_1904
from openpyxl.utils.escape import unescape

from inventory.tables import sentences
from inventory.tables.cells import Cell, Unreadable, shown, unguarded
from inventory.tables.raw import HEADING_WITHIN, FileNotRead, RawRows

MOST_COLUMNS = 100
_LAST_ROW = 1_048_576
_FORMULA = re.compile(rb"<(?:\w+:)?f[\s/>]")
_MERGED = re.compile(rb'<(?:\w+:)?mergeCell [^>]*?ref="([A-Z]{1,3})([0-9]+):([A-Z]{1,3})([0-9]+)"')


def rows_of_workbook(
    content: bytes, *, is_known: Callable[[str], bool], most_rows: int, sheet: str = ""
) -> RawRows:
    """Return the rows of the sheet of that name, or of the one on which most headings are ``is_known``."""
    try:
        with warnings.catch_warnings():
            # openpyxl warns of drawings and validations it leaves out; cells are all that is wanted here.
            warnings.simplefilter("ignore", UserWarning)
            return _rows(content, is_known=is_known, most_rows=most_rows, named=sheet)
    except FileNotRead:
        raise
    except Exception as problem:  # a damaged workbook fails in any of a dozen ways inside the reader
        raise FileNotRead(sentences.DAMAGED.format(problem=problem)) from problem


def _rows(content: bytes, *, is_known: Callable[[str], bool], most_rows: int, named: str) -> RawRows:
    values = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=True)
    notes = []
    sheets = [sheet for sheet in values.worksheets if sheet.sheet_state == "visible"]
    if not sheets:
        raise FileNotRead(sentences.NO_SHEET)
    if named and named not in [each.title for each in sheets]:
        raise FileNotRead(sentences.NO_SUCH_SHEET.format(name=named[:60]))
    asked = [each for each in sheets if each.title == named]
    sheet = asked[0] if asked else max(sheets, key=lambda each: _known_headings(each, is_known))
    if len(sheets) > 1 and not named:
        notes.append(sentences.ONE_SHEET_READ.format(name=sheet.title, count=len(sheets) - 1))
    rows: list[tuple[int, list[Cell]]] = []
    computed = 0
    xml = _part(content, sheet._worksheet_path)
    for number, (cells, sources) in enumerate(_lines_with_sources(content, sheet, xml), start=1):
        if all(source.value is None for source in sources):
            continue
        both = list(zip(cells, sources, strict=True))
        computed += sum(source.data_type == "f" and cell.value is not None for cell, source in both)
        line = [_cell(cell, source) for cell, source in both]
        if any(shown(cell).strip() for cell in line):
            rows.append((number, line))
        if len(rows) > most_rows:
            raise FileNotRead(sentences.TOO_MANY_ROWS.format(most=f"{most_rows:,}"))
    if computed:
        notes.append(sentences.FORMULAS.format(count=f"{computed:,}"))
    return RawRows(
        rows,
        notes=notes,
        source=sentences.SOURCE.format(name=sheet.title),
        # A sheet opened for reading only tells of no merges itself.
        merged=_rows_merged_across(xml),
        days_from_1904=values.epoch == CALENDAR_MAC_1904,
        sheets=tuple(each.title for each in sheets),
    )


def _lines_with_sources(
    content: bytes, sheet: Any, xml: bytes
) -> Iterator[tuple[tuple[Any, ...], tuple[Any, ...]]]:
    """Yield each line as it was saved last, and as it was typed; reading twice only where there are formulas."""
    if not _FORMULA.search(xml):
        return ((line, line) for line in _lines(sheet))
    typed = openpyxl.load_workbook(io.BytesIO(content), read_only=True)
    return zip(_lines(sheet), _lines(typed[sheet.title]), strict=True)


def _lines(sheet: Any, *, last: int = _LAST_ROW) -> Iterator[tuple[Any, ...]]:
    # What a sheet claims about its size may be wrong by a million rows; what it holds counts.
    sheet.reset_dimensions()
    return sheet.iter_rows(max_row=last, max_col=MOST_COLUMNS)


def _known_headings(sheet: Any, is_known: Callable[[str], bool]) -> int:
    lines = islice(_lines(sheet, last=HEADING_WITHIN), HEADING_WITHIN)
    return max((sum(is_known(str(cell.value or "")) for cell in line) for line in lines), default=0)


def _cell(cell: Any, source: Any) -> Cell:
    value = cell.value
    if source.data_type == "f" and value is None:
        formula = source.value if isinstance(source.value, str) else getattr(source.value, "text", "")
        return Unreadable(
            sentences.NO_VALUE,
            shown=str(formula),
        )
    if value is None:
        return ""
    if cell.data_type == "e":
        return Unreadable(sentences.SHOWS_AN_ERROR, shown=str(value))
    if isinstance(value, bool):
        return value
    if isinstance(value, int | float):
        return Decimal(repr(value))
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, date):
        return value
    if isinstance(value, str):
        # Line ends and other control characters stand in a workbook as _x000D_ and the like.
        return unguarded(unescape(value))
    return Unreadable(sentences.TIME_OF_DAY, shown=str(value))


def _part(content: bytes, path: str) -> bytes:
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        return archive.read(path.lstrip("/"))


def _rows_merged_across(xml: bytes) -> frozenset[int]:
    """Return the rows in which cells of more than one column are merged."""
    return frozenset(
        int(top)
        for left, top, right, _ in _MERGED.findall(xml)
        if column_index_from_string(left.decode()) < column_index_from_string(right.decode())
    )
