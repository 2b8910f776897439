"""Which letters a PDF of the workshop can print, and in which of its two fonts.

What Windows-1252 has, all of Western Europe, is set in the font that every reader has. Anything else is set in a font
that goes with the file, which has Greek, Cyrillic, Hebrew, Arabic and more; letters that it lacks are told, not lost.
"""

import unicodedata
from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fpdf import FPDF

ENCODING = "cp1252"
BUILT_IN, WIDE = "Helvetica", "wide"
_WIDE_FILE = Path(__file__).parent / "fonts" / "DejaVuSans.ttf"
_NOT_PRINTABLE = "?"
# Marks, joiners and the like say how the letters beside them are drawn; alone they print nothing.
_UNSEEN = ("Mn", "Me", "Cf")
_JOINERS = "\u200c\u200d"  # of Arabic letters


def printable(text: str) -> str:
    """Return ``text`` as a PDF prints it: each run of letters that it cannot print is one question mark.

    >>> printable("Écume"), printable("Шторм"), printable("חוט אדום"), printable("赤い糸 7")
    ('Écume', 'Шторм', 'חוט אדום', '? 7')
    """
    letters: list[str] = []
    for letter in _composed(text):
        if has_letter(letter):
            letters.append(letter)
        elif unicodedata.category(letter) not in _UNSEEN and letters[-1:] != [_NOT_PRINTABLE]:
            letters.append(_NOT_PRINTABLE)
    # Where a letter that is unseen fell away, an accent may have come to stand at another.
    return " ".join(unicodedata.normalize("NFC", "".join(letters)).split())


def not_printable(texts: Iterable[str]) -> str:
    """Return the letters of all ``texts`` that cannot be printed, each once, in the order in which they come.

    >>> not_printable(["赤い糸", "Écume", "い 7"])
    '赤い糸'
    """
    letters = dict.fromkeys(letter for text in texts for letter in _composed(text))
    return "".join(
        each for each in letters if not has_letter(each) and unicodedata.category(each) not in _UNSEEN
    )


def has_letter(letter: str) -> bool:
    """Return whether one of the two fonts has a letter."""
    return _is_built_in(letter) or (
        (letter.isprintable() or letter in _JOINERS) and ord(letter) in _wide_letters()
    )


def set_letters(pdf: "FPDF", text: str, *, size_pt: float, bold: bool = False) -> None:
    """Choose the font that has the letters of ``text``; the one that goes with the file has no bold."""
    if _is_built_in(text):
        pdf.set_text_shaping(False)
        pdf.set_font(BUILT_IN, "B" if bold else "", size_pt)
        return
    if WIDE not in pdf.fonts:
        pdf.add_font(WIDE, fname=_WIDE_FILE)
    # Joins the letters of Arabic, puts marks on theirs, and lays what is written from the right.
    pdf.set_text_shaping(True)
    pdf.set_font(WIDE, "", size_pt)


def _composed(text: str) -> str:
    """Return ``text`` with letters and their accents as one, and every kind of space as a space."""
    composed = unicodedata.normalize("NFC", text)
    return "".join(" " if letter.isspace() else letter for letter in composed)


def _is_built_in(text: str) -> bool:
    try:
        encoded = text.encode(ENCODING)
    except UnicodeEncodeError:
        return False
    return all(byte >= 0x20 and byte != 0x7F for byte in encoded)


@cache
def _wide_letters() -> frozenset[int]:
    from fontTools.ttLib import TTFont

    with TTFont(_WIDE_FILE) as font:
        return frozenset(font.getBestCmap())
