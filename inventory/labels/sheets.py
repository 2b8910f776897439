"""Labels for the things on the shelf, as a PDF: a code to scan, the same in large letters, and what it is."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING
from urllib.parse import quote, urlsplit

import segno
from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.compute.later import later
from inventory.compute.spoken import figure
from inventory.compute.units import told_sides
from inventory.labels.printable import ENCODING, not_printable, printable, set_letters
from inventory.models import StockItem
from inventory.shelf.reads import described

if TYPE_CHECKING:
    from fpdf import FPDF
else:
    FPDF = later("fpdf", "FPDF")

_QUIET_MODULES = 4  # the white edge that ISO/IEC 18004 asks for around a code
_PT_IN_MM = 25.4 / 72
_LARGEST_CODE_PT, _LARGEST_TEXT_PT, _SMALLEST_TEXT_PT = 22.0, 9.0, 5.0
_LINE_HEIGHT = 1.18
_DOT = " · "  # stands between the parts of what a thing is
MOST_LABELS = 2_000


class NoSuchSheet(WorkshopError):
    """There are no label sheets of the size that was asked for."""


class NothingToPrint(WorkshopError):
    """No labels were asked for, or more than fit into one file."""


@dataclass(frozen=True)
class Sheet:
    """Labels of one size on a page, spread evenly about its middle: sizes and the gaps between labels in mm."""

    paper: str
    page_mm: tuple[float, float]
    label_mm: tuple[float, float]
    columns: int = 1
    rows: int = 1
    gap_mm: tuple[float, float] = (0.0, 0.0)

    @property
    def count(self) -> int:
        return self.columns * self.rows

    @property
    def name(self) -> str:
        """What it is called, with the size of a label in the reader's units."""
        size = told_sides(*(round(side, 1) for side in self.label_mm))
        if self.count == 1:
            return _("Roll, {size}, one at a time").format(size=size)
        return _("{paper}, {size}, {count} a sheet").format(paper=self.paper, size=size, count=self.count)

    def corner_mm(self, position: int) -> tuple[float, float]:
        """Return the left upper corner of label number ``position``, counted from 0 by rows, in mm.

        >>> [round(edge, 2) for edge in SHEETS["a4-63.5x38.1"].corner_mm(4)]
        [73.25, 53.25]
        """
        row, column = divmod(position, self.columns)
        edges = []
        for place, many, page, label, gap in zip(
            (column, row), (self.columns, self.rows), self.page_mm, self.label_mm, self.gap_mm, strict=True
        ):
            margin = (page - many * label - (many - 1) * gap) / 2
            edges.append(margin + place * (label + gap))
        return edges[0], edges[1]


_A4, _LETTER = (210.0, 297.0), (215.9, 279.4)

# Sizes in common use, no source. Every sheet is spread about the middle of its page.
SHEETS: Mapping[str, Sheet] = MappingProxyType(
    {
        "a4-63.5x38.1": Sheet("A4", _A4, (63.5, 38.1), 3, 7, (2.54, 0.0)),
        "a4-70x37": Sheet("A4", _A4, (70.0, 37.0), 3, 8),
        "a4-38.1x21.2": Sheet("A4", _A4, (38.1, 21.2), 5, 13, (2.54, 0.0)),
        "letter-66.7x25.4": Sheet("Letter", _LETTER, (66.675, 25.4), 3, 10, (3.175, 0.0)),
        "letter-101.6x50.8": Sheet("Letter", _LETTER, (101.6, 50.8), 2, 5, (4.7625, 0.0)),
        "roll-50x25": Sheet("", (50.0, 25.0), (50.0, 25.0)),
        "roll-62x29": Sheet("", (62.0, 29.0), (62.0, 29.0)),
    }
)


def lost_letters(items: Iterable[StockItem]) -> dict[str, str]:
    """Return by label code the letters of ``items`` that no label can print, in whose stead a question mark stands."""
    lost = {each.code: not_printable((each.code, *each.lines)) for each in _labels(list(items))}
    return {code: letters for code, letters in lost.items() if letters}


def label_sheet(items: Iterable[StockItem], *, sheet: str, base_url: str, skip: int = 0) -> bytes:
    """Return a PDF with a label for each of ``items``, in their order, on the sheet of that name in SHEETS.

    ``base_url`` is where the workshop's pages are; each label's code leads to its thing there. The first ``skip``
    labels of the first sheet are left blank, because they are used up. Raises NoSuchSheet, NothingToPrint.
    """
    paper = _paper(sheet, skip=skip)
    labels = _labels(list(items))
    pdf = FPDF(unit="mm", format=paper.page_mm)
    pdf.core_fonts_encoding = ENCODING
    pdf.set_title(str(_("Labels")))
    pdf.set_auto_page_break(False)
    pdf.set_margin(0)
    pdf.c_margin = 0
    for number, label in enumerate(labels, start=skip):
        if number == skip or number % paper.count == 0:
            pdf.add_page()
        _draw(pdf, label, address=address_of(label.code, base_url=base_url), at=paper.corner_mm(number % paper.count),
              size=paper.label_mm)  # fmt: skip
    return bytes(pdf.output())


def address_of(code: str, *, base_url: str) -> str:
    """Return the address that a label's QR code holds.

    In capitals, which a QR code packs closer: host names know no case, nor does the page behind /S/. A workshop
    that lives in a folder of its site keeps that as it is written.

    >>> address_of("S0042", base_url="https://thread.example")
    'HTTPS://THREAD.EXAMPLE/S/S0042'
    """
    parts = urlsplit(base_url.strip())
    if parts.scheme not in ("http", "https") or not parts.hostname:
        raise WorkshopError(
            _('"{base_url}" is no address of a site. Write it like https://thread.example.').format(
                base_url=base_url
            )
        )
    folder = parts.path.rstrip("/")
    page = quote(code.upper() if code.isascii() else code, safe="")
    return f"{parts.scheme.upper()}://{parts.netloc.upper()}{folder}/{'s' if folder else 'S'}/{page}"


@cache
def qr_modules(address: str) -> tuple[tuple[bool, ...], ...]:
    """Return the rows of the QR code of ``address``, True where dark, without the white edge.

    Level M: a seventh of it may be scuffed, and more where the size has room for it.
    """
    return tuple(tuple(bool(module) for module in row) for row in segno.make_qr(address, error="m").matrix)


@dataclass(frozen=True)
class _Label:
    code: str
    lines: tuple[str, ...]


def _paper(name: str, *, skip: int) -> Sheet:
    if name not in SHEETS:
        raise NoSuchSheet(
            _('There are no label sheets "{name}". There are: {names}.').format(
                name=name, names=", ".join(SHEETS)
            )
        )
    paper = SHEETS[name]
    if not 0 <= skip < paper.count:
        raise NoSuchSheet(
            _("{skip} used labels do not fit a sheet of {count}. Give 0 to {most}.").format(
                skip=skip, count=paper.count, most=paper.count - 1
            )
        )
    return paper


def _labels(items: Sequence[StockItem]) -> list[_Label]:
    if not items:
        raise NothingToPrint(_("There is nothing to label. Choose things, or a place that has some."))
    if len(items) > MOST_LABELS:
        raise NothingToPrint(
            _("{count} labels are too many for one file. Print {most} at a time.").format(
                count=figure(len(items)), most=figure(MOST_LABELS)
            )
        )
    by_kind: dict[str, list[int]] = {}
    for item in items:
        by_kind.setdefault(item.kind, []).append(item.pk)
    told = {each.item.pk: each for kind, pks in by_kind.items() for each in described(pks, kind=kind)}
    return [_Label(item.label, (told[item.pk].name, told[item.pk].detail)) for item in items]


def _draw(
    pdf: FPDF, label: _Label, *, address: str, at: tuple[float, float], size: tuple[float, float]
) -> None:
    width, height = size
    edge = max(1.5, height * 0.06)
    across = min(height - 2 * edge, width * 0.42)
    left, top = at[0] + edge, at[1] + (height - across) / 2
    _draw_qr(pdf, address, left=left, top=top, across=across)
    x = left + across + 1.0
    room = at[0] + width - edge - x
    y = at[1] + edge
    y += _draw_code(pdf, printable(label.code), x=x, y=y, room=room, tallest=(height - 2 * edge) * 0.38)
    _draw_lines(pdf, label.lines, x=x, y=y, room=room, bottom=at[1] + height - edge)


def _draw_qr(pdf: FPDF, address: str, *, left: float, top: float, across: float) -> None:
    rows = qr_modules(address)
    module = across / (len(rows) + 2 * _QUIET_MODULES)
    pdf.set_fill_color(0)
    for row, modules in enumerate(rows):
        column = 0
        while column < len(modules):
            run = 0
            while column + run < len(modules) and modules[column + run]:
                run += 1
            if run:
                x, y = left + (column + _QUIET_MODULES) * module, top + (row + _QUIET_MODULES) * module
                pdf.rect(x, y, run * module, module, style="F")
            column += run + 1


def _draw_code(pdf: FPDF, code: str, *, x: float, y: float, room: float, tallest: float) -> float:
    """Draw the label code as large as it fits, whole whatever its length, and return the height it took in mm."""
    set_letters(pdf, code, size_pt=_LARGEST_CODE_PT, bold=True)

    def size_pt(lines: Sequence[str]) -> float:
        widest = max(pdf.get_string_width(line) for line in lines)
        return min(_LARGEST_CODE_PT, tallest / len(lines) / _PT_IN_MM, _LARGEST_CODE_PT * room / widest)

    # A long one may be larger in two lines, broken after a hyphen.
    breaks = [place for place, letter in enumerate(code[:-1], start=1) if letter == "-"]
    lines = max([[code], *([code[:place], code[place:]] for place in breaks)], key=size_pt)
    size = size_pt(lines)
    pdf.set_font_size(size)
    line_mm = size * _PT_IN_MM * _LINE_HEIGHT
    for number, text in enumerate(lines):
        pdf.set_xy(x, y + number * line_mm)
        pdf.cell(room, line_mm, text)
    return line_mm * len(lines)


def _draw_lines(pdf: FPDF, texts: Sequence[str], *, x: float, y: float, room: float, bottom: float) -> None:
    size_pt = _LARGEST_TEXT_PT
    # A name of which no letter can be printed is left off: the code says what it is.
    words = [text for text in map(printable, texts) if any(letter.isalnum() for letter in text)]
    while True:
        line = size_pt * _PT_IN_MM * _LINE_HEIGHT
        lines = [part for text in words for part in _wrapped(pdf, text, room=room, size_pt=size_pt)]
        fits = int((bottom - y) / line + 1e-6)
        if len(lines) <= fits or size_pt <= _SMALLEST_TEXT_PT:
            break
        size_pt -= 0.5
    if len(lines) > fits:
        lines = [*lines[: max(0, fits - 1)], *(f"{each}…" for each in lines[max(0, fits - 1) : fits])]
    for number, text in enumerate(lines):
        set_letters(pdf, text, size_pt=size_pt)
        pdf.set_xy(x, y + number * line)
        pdf.cell(room, line, text)


def _wrapped(pdf: FPDF, text: str, *, room: float, size_pt: float) -> list[str]:
    """Return ``text`` in lines that fit, broken at its middle dots, else between words, else inside one."""
    set_letters(pdf, text, size_pt=size_pt)
    lines: list[str] = []
    for part in text.split(_DOT):
        if lines and pdf.get_string_width(f"{lines[-1]}{_DOT}{part}") <= room:
            lines[-1] += f"{_DOT}{part}"
        else:
            lines += _between_words(pdf, part, room=room)
    return lines


def _between_words(pdf: FPDF, text: str, *, room: float) -> list[str]:
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".strip()
        if pdf.get_string_width(longer) <= room:
            lines[-1] = longer
            continue
        if lines[-1]:
            lines.append("")
        for letter in word:
            if lines[-1] and pdf.get_string_width(lines[-1] + letter) > room:
                lines.append("")
            lines[-1] += letter
    return [line for line in lines if line]
