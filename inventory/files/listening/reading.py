"""A person's list as it stands in a file or in what was pasted: headings, rows, and the sheets it may stand on."""

import hashlib
from dataclasses import dataclass

from inventory.compute.spoken import _
from inventory.files.listening.meanings import KNOWN_LETTERS, guess_meanings
from inventory.tables.cells import shown
from inventory.tables.raw import HEADING_WITHIN, FileNotRead, RawRows, letters_of
from inventory.tables.tables import raw_rows

MOST_ROWS = 2_000
MOST_COLUMNS = 40
SAMPLE_ROWS = 200


@dataclass(frozen=True)
class KeptList:
    """A list as it was kept: the text of every cell, by rows of equal length, each with its number in the file.

    ``shape`` knows lists with these headings again; ``guessed`` is what each column seems to mean.
    """

    headings: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    guessed: tuple[str, ...]
    shape: str
    sheet: str
    sheets: tuple[str, ...]
    sha256: str
    notes: tuple[str, ...]

    def samples(self, column: int) -> list[str]:
        """Return the first three things that stand in a column, each once."""
        texts = dict.fromkeys(cells[column] for _, cells in self.rows if cells[column])
        return list(texts)[:3]


def read_kept_list(content: bytes, *, sheet: str = "") -> KeptList:
    """Return the list in ``content``: CSV, text pasted from a spreadsheet, or a sheet of an .xlsx workbook.

    A first line that has no heading among it is taken for a thread. Raises FileNotRead.
    """
    raw = raw_rows(content, known=KNOWN_LETTERS, most_rows=MOST_ROWS, sheet=sheet)
    at = _heading_row(raw)
    below = [(number, cells) for number, cells in raw.rows[at + 1 :] if number not in raw.merged]
    written = [shown(cell).strip() for cell in raw.rows[at][1]] if at >= 0 else []
    lines = [written, *([shown(cell).strip() for cell in cells] for _, cells in below)]
    # A sheet may hand on a hundred columns of which the last ninety hold nothing.
    width = max((column + 1 for line in lines for column, text in enumerate(line) if text), default=0)
    if width > MOST_COLUMNS:
        raise FileNotRead(
            _("The list has {width} columns, and {most} is the most. Leave some out.").format(
                width=width, most=MOST_COLUMNS
            )
        )
    headings = tuple(written[:width] + [""] * (width - len(written)))
    rows = tuple(
        (number, tuple(_in_one_line(shown(cell)) for cell in cells[:width]) + ("",) * (width - len(cells)))
        for number, cells in below
        if any(shown(cell).strip() for cell in cells)
    )
    if not rows:
        raise FileNotRead(_("There is nothing in the list but its headings."))
    columns = [[cells[column] for _, cells in rows[:SAMPLE_ROWS]] for column in range(width)]
    shape = "|".join(letters_of(heading) for heading in headings)
    return KeptList(
        headings=headings,
        rows=rows,
        guessed=tuple(guess_meanings(headings, columns)),
        shape=hashlib.sha256(shape.encode()).hexdigest()[:32],
        sheet=sheet,
        sheets=raw.sheets,
        sha256=hashlib.sha256(content).hexdigest(),
        notes=tuple(raw.notes),
    )


def _heading_row(raw: RawRows) -> int:
    """Return which row has most headings that people use, or -1 where the list begins with a thread."""

    columns = [[shown(cell).strip() for cell in cells] for _, cells in raw.rows]

    def known(index: int) -> int:
        return sum(
            # What stands there twice is no heading: a list that begins with a full spool has more of them.
            sum(column < len(line) and line[column] == text for line in columns) == 1
            for column, text in enumerate(columns[index])
            if _is_heading(text)
        )

    best = max(range(min(len(raw.rows), HEADING_WITHIN)), key=known)
    return best if known(best) else -1


def _is_heading(text: str) -> bool:
    words = text.split("(")[0].split("[")[0]
    return letters_of(text) in KNOWN_LETTERS or letters_of(words) in KNOWN_LETTERS


def _in_one_line(text: str) -> str:
    return " ".join(text.split())[:200]
