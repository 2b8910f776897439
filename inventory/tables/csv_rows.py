"""The rows of a CSV file, whatever program wrote it: encodings, separators, quoted line breaks."""

import csv
import io
import itertools
from collections.abc import Callable, Iterator

from inventory.compute.spoken import N_, _, figure
from inventory.tables.cells import Cell, unguarded
from inventory.tables.raw import HEADING_WITHIN, FileNotRead, RawRows

_SEPARATORS = {",": N_("commas"), ";": N_("semicolons"), "\t": N_("tabs"), "|": N_("bars")}


def rows_of_csv(content: bytes, *, is_known: Callable[[str], bool], most_rows: int) -> RawRows:
    """Return the rows of a CSV file; the separator is the one that makes most headings ``is_known``.

    Where none makes any, it is the one that parts every line.
    """
    text, notes = _decoded(content)
    first, __, rest = text.partition("\n")
    # Some spreadsheets name the separator in a first line, which they do not count as a row.
    if first.lower().startswith("sep=") and len(first.strip()) == 5:
        separator, text = first[4], rest
    else:
        separator = _likeliest_separator(text, is_known=is_known)
    rows: list[tuple[int, list[Cell]]] = []
    for number, record in enumerate(_records(text, separator), start=1):
        if any(cell.strip() for cell in record):
            rows.append((number, [unguarded(cell) for cell in record]))
        if len(rows) > most_rows:
            raise FileNotRead(
                _("The file has more than {most_rows} rows. Split it and import the parts.").format(
                    most_rows=figure(most_rows)
                )
            )
    return RawRows(
        rows,
        notes=notes,
        source=_("CSV with {separator}").format(separator=_(_SEPARATORS.get(separator, separator))),
    )


def _decoded(content: bytes) -> tuple[str, list[str]]:
    notes: list[str] = []
    try:
        if content.startswith((b"\xff\xfe", b"\xfe\xff")):
            text = content.decode("utf-16")
        elif unmarked := _unmarked_utf_16(content):
            text = content.decode(unmarked)
        else:
            text = content.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        line = content.count(b"\n", 0, problem.start) + 1
        try:
            text = content.decode("cp1252")
        except UnicodeDecodeError:
            raise FileNotRead(
                _("The file's letters cannot be read. Save it as CSV in UTF-8, or as .xlsx, and try again.")
            ) from None
        notes.append(
            _(
                "The file is not UTF-8 (line {line}), so it was read as Windows-1252. Check the names that "
                "have accents."
            ).format(line=line)
        )
    if "\x00" in text:
        raise FileNotRead(
            _("This is neither a CSV file nor an .xlsx workbook. Save the table as one of them.")
        )
    return text, notes


def _unmarked_utf_16(content: bytes) -> str:
    """Return the byte order of UTF-16 without its mark, or nothing: a heading's every second byte is zero."""
    start = content[:200]
    even, odd = start[::2].count(0), start[1::2].count(0)
    if odd > len(start) // 4 and even == 0:
        return "utf-16-le"
    if even > len(start) // 4 and odd == 0:
        return "utf-16-be"
    return ""


def _likeliest_separator(text: str, *, is_known: Callable[[str], bool]) -> str:
    def known_headings(separator: str) -> int:
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
        most = 0
        try:
            for record in itertools.islice(reader, HEADING_WITHIN):
                most = max(most, sum(is_known(cell) for cell in record))
        except csv.Error:
            pass  # the reading proper names the line; here the rows before it are enough
        return most

    lines = [line for line in text[:20_000].splitlines() if line.strip()][:HEADING_WITHIN]

    def parts(separator: str) -> int:
        return min((line.count(separator) for line in lines), default=0)

    return max(_SEPARATORS, key=lambda separator: (known_headings(separator), parts(separator)))


def _records(text: str, separator: str) -> Iterator[list[str]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    try:
        yield from reader
    except csv.Error as problem:
        raise FileNotRead(
            _(
                "Line {line_num} cannot be read ({problem}). A quotation mark there is not closed, or should "
                "be doubled."
            ).format(line_num=reader.line_num, problem=problem)
        ) from None
