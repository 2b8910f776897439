"""Workbooks, which anybody may have made: looked over first, then read by a process with limits of its own.

A small file can claim millions of texts, cells or styles, each of which costs the reader far more than a byte. So
they are counted on the way through the unpacker, which is quick, before anything is built of them.
"""

import io
import json
import re
import zipfile
import zlib
from collections.abc import Collection
from dataclasses import asdict, dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from inventory.compute.spoken import N_, _, figure, said_again
from inventory.processes.children import ask_once
from inventory.tables.cells import Cell, Unreadable
from inventory.tables.raw import FileNotRead, RawRows
from inventory.tables.sentences import OF_WORKBOOKS

MOST_UNPACKED_BYTES = 150_000_000
MOST_PARTS = 500
# A list of 20,000 rows with ten texts of its own in each; and with thirty columns.
MOST_TEXTS, MOST_CELLS, MOST_ROW_MARKS, MOST_OTHER_MARKS = 200_000, 600_000, 250_000, 400_000
CHILD = "inventory.tables.workbook_child"
WALL_SECONDS = 90.0
CHUNK = 1024 * 1024
_DECLARES = re.compile(rb"<!(?:DOCTYPE|ENTITY)", re.IGNORECASE)


@dataclass(frozen=True)
class ChildLimits:
    """What the reading process may use."""

    memory_bytes: int = 1_500_000_000
    cpu_seconds: int = 45


def rows_of_workbook(
    content: bytes,
    *,
    known: Collection[str],
    most_rows: int,
    limits: ChildLimits | None = None,
    sheet: str = "",
) -> RawRows:
    """Return the rows of the sheet of that name, or where most headings have the letters of one that is ``known``."""
    refuse_what_is_no_workbook(content)
    order = asdict(limits or ChildLimits()) | {"known": sorted(known), "most_rows": most_rows, "sheet": sheet}
    answer = ask_once(CHILD, content, order, wall_seconds=WALL_SECONDS)
    if answer.status is None or answer.status < 0:
        raise FileNotRead(
            _(
                "The workbook takes far more work to read than a list of stock. Copy the table alone into a "
                "new one."
            )
        )
    if answer.status:
        raise FileNotRead(
            _("The workbook was not read: the reading program failed ({problem}).").format(
                problem=answer.last_words
            )
        )
    read = json.loads(answer.output)
    if "refused" in read:
        raise FileNotRead(said_again(read["refused"], OF_WORKBOOKS))
    return RawRows(
        [(number, [cell_from(each) for each in cells]) for number, cells in read["rows"]],
        notes=[said_again(each, OF_WORKBOOKS) for each in read["notes"]],
        source=said_again(read["source"], OF_WORKBOOKS),
        merged=frozenset(read["merged"]),
        days_from_1904=read["days_from_1904"],
        sheets=tuple(read["sheets"]),
    )


def cell_to(cell: Cell) -> Any:
    """Return a cell as JSON holds it.

    >>> cell_to(Decimal("1.50")), cell_to("red"), cell_to(True), cell_to(date(2026, 3, 2))
    (['number', '1.50'], 'red', True, ['day', '2026-03-02'])
    """
    if isinstance(cell, str | bool):
        return cell
    if isinstance(cell, Decimal):
        return ["number", str(cell)]
    if isinstance(cell, date):
        return ["day", cell.isoformat()]
    return ["unreadable", cell.reason, cell.shown]


def cell_from(held: Any) -> Cell:
    """Return the cell that ``cell_to`` was given.

    >>> cell_from(cell_to(Unreadable("no value", "=A1")))
    Unreadable(reason='no value', shown='=A1')
    """
    if isinstance(held, str | bool):
        return held
    kind, *values = held
    if kind == "number":
        return Decimal(values[0])
    return date.fromisoformat(values[0]) if kind == "day" else _unreadable(*values)


def _unreadable(reason: str, shown: str) -> Unreadable:
    return Unreadable(said_again(reason, OF_WORKBOOKS), shown)


def refuse_what_is_no_workbook(content: bytes) -> None:
    """Raise FileNotRead for what is no workbook, or more of one than a list of stock needs."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            parts = archive.infolist()
            names = {part.filename for part in parts}
    except zipfile.BadZipFile:
        raise FileNotRead(
            _("The workbook is damaged. Open it, save it again as .xlsx, and try once more.")
        ) from None
    if "xl/workbook.xml" not in {name.lower() for name in names}:
        raise FileNotRead(_("This is not an .xlsx workbook. Save the table as .xlsx or as CSV."))
    if any(part.flag_bits & 1 for part in parts):
        raise FileNotRead(_("The workbook is locked with a password. Save it without one."))
    # The unpacker stops at the size that a part declares, so the declared sizes are a true limit.
    unpacked = sum(part.file_size for part in parts)
    if len(parts) > MOST_PARTS or unpacked > MOST_UNPACKED_BYTES:
        raise FileNotRead(
            _(
                "The workbook unpacks to {unpacked} MB in {count} parts, which is more than a list of stock "
                "needs. Copy the table alone into a new workbook."
            ).format(unpacked=figure(unpacked / 1e6), count=len(parts))
        )
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            for part in parts:
                if part.filename.endswith((".xml", ".rels")):
                    _count_marks(archive, part)
    except FileNotRead:
        raise
    except (zipfile.BadZipFile, EOFError, NotImplementedError, OSError, ValueError, zlib.error):
        raise FileNotRead(
            _("The workbook is damaged. Open it, save it again as .xlsx, and try once more.")
        ) from None


def _count_marks(archive: zipfile.ZipFile, part: zipfile.ZipInfo) -> None:
    """Refuse a part that says too many things, in one pass that builds nothing."""
    name = part.filename.lower()
    if "sharedstrings" in name:
        what, mark, most = N_("texts"), rb"<(?:\w+:)?si[\s/>]", MOST_TEXTS
    elif "/worksheets/" in name:
        what, mark, most = N_("cells"), rb"<(?:\w+:)?c[\s/>]", MOST_CELLS
    else:
        what, mark, most = N_("formats and names"), rb"<", MOST_OTHER_MARKS
    wanted, rows = re.compile(mark), re.compile(rb"<(?:\w+:)?row[\s/>]")
    found = row_marks = 0
    before = b""
    with archive.open(part) as file:
        while chunk := file.read(CHUNK):
            # A mark may lie across two chunks: what follows the last one's end is looked at again with the next.
            text = before + chunk
            whole, before = _up_to_the_last_mark(text)
            if _DECLARES.search(whole):
                raise FileNotRead(
                    _("The workbook declares entities, which no table needs. Save it again as .xlsx.")
                )
            found += len(wanted.findall(whole))
            row_marks += len(rows.findall(whole)) if what == "cells" else 0
            if found > most or row_marks > MOST_ROW_MARKS:
                raise FileNotRead(
                    _(
                        "The workbook holds more than {most} {what}, which is more than a list of stock needs. Copy "
                        "the table alone into a new workbook."
                    ).format(most=figure(most), what=_(what))
                )


def _up_to_the_last_mark(text: bytes) -> tuple[bytes, bytes]:
    """Return the text before its last ``<``, and from there on where that is short enough to be cut in two."""
    at = text.rfind(b"<")
    return (text[:at], text[at:]) if at >= 0 and len(text) - at < 100 else (text, b"")
