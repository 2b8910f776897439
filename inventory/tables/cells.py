"""What one cell of a file holds, and how text is written so that no spreadsheet runs it as a formula."""

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

# A spreadsheet reads a cell that begins with one of these as a formula or command; the last four are the wide
# forms of East Asian typing. The apostrophe in front is what spreadsheets themselves use for "this is text".
_FORMULA_START = r"[=+\-@\t\r\n＝＋－＠]"
_RUNS_OR_LOOKS_GUARDED = re.compile(rf"'*{_FORMULA_START}")
_ASKED_ABOUT = re.compile(r"-?[0-9]*\.[0-9]{3}")


@dataclass(frozen=True)
class Unreadable:
    """A cell that shows something, but no value: ``reason`` says why, ``shown`` what the file shows."""

    reason: str
    shown: str = ""


Cell = str | Decimal | date | bool | Unreadable


def shown(cell: Cell) -> str:
    """Return a cell as text, as a person sees it and as a file can carry it.

    >>> shown(Decimal("12.50")), shown(date(2026, 3, 2)), shown(True)
    ('12.5', '2026-03-02', 'yes')
    """
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, Decimal):
        return written(cell)
    if isinstance(cell, date):
        return cell.isoformat()
    return cell.shown if isinstance(cell, Unreadable) else cell


def written(number: Decimal | int) -> str:
    """Return a number as text with a decimal point, which is read back as the same number without a question.

    Three decimals would be asked about (1.500: is it 1500?), so a fourth is written.

    >>> written(Decimal("1500")), written(Decimal("12.50")), written(Decimal("1.234")), written(Decimal("-0"))
    ('1500', '12.5', '1.2340', '0')
    """
    exact = Decimal(number)
    text = f"{exact:f}"
    if "." in text:
        text = text.rstrip("0").removesuffix(".")
    if text in {"-0", ""}:
        return "0"
    return f"{text}0" if _ASKED_ABOUT.fullmatch(text) else text


def guarded(text: str) -> str:
    """Return ``text`` with an apostrophe before it where a spreadsheet might run it.

    Text that looks guarded already gets one more, so that ``unguarded`` always restores the exact text.

    >>> guarded("=2+3"), guarded("'=2+3"), guarded("harbour red")
    ("'=2+3", "''=2+3", 'harbour red')
    """
    return f"'{text}" if _RUNS_OR_LOOKS_GUARDED.match(text) else text


def unguarded(text: str) -> str:
    """Return the text that ``guarded`` was given.

    >>> unguarded("'=2+3"), unguarded("''=2+3"), unguarded("'tis blue")
    ('=2+3', "'=2+3", "'tis blue")
    """
    return text[1:] if text.startswith("'") and _RUNS_OR_LOOKS_GUARDED.match(text) else text


def written_list(texts: Sequence[str]) -> str:
    """Return several texts as one cell, separated by semicolons and quoted as in CSV where need be.

    >>> written_list(["1147", "old; new"])
    '1147;"old; new"'
    """
    line = io.StringIO(newline="")
    csv.writer(line, delimiter=";").writerow(texts)
    return line.getvalue().removesuffix("\r\n")


def read_list(text: str) -> tuple[str, ...]:
    """Return the texts in one cell, without the empty ones.

    >>> read_list('1147; "old; new";')
    ('1147', 'old; new')
    """
    parts = next(csv.reader(io.StringIO(text, newline=""), delimiter=";", skipinitialspace=True), [])
    return tuple(part.strip() for part in parts if part.strip())
