"""Pages of the handbook by the words that somebody types: all of them, whole or begun, in any order."""

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass

from workshop.handbook.pages import HandbookPage

# So much of a page is shown around what was found.
SHOWN_BEFORE, SHOWN = 40, 160
# Words that say nothing about what is looked for.
SMALL = frozenset(
    {
        *(
            "a",
            "an",
            "the",
            "to",
            "of",
            "in",
            "on",
            "is",
            "it",
            "my",
            "do",
            "i",
            "how",
            "what",
            "when",
            "where",
        ),
        *(
            "with",
            "for",
            "and",
            "or",
            "can",
            "der",
            "die",
            "das",
            "ein",
            "eine",
            "einen",
            "ich",
            "wie",
            "was",
            "wo",
        ),
        *("wann", "mit", "fur", "und", "oder", "kann", "man", "ist", "im", "am"),
    }
)


@dataclass(frozen=True)
class FoundPage:
    """A page that has the words, and a line around the first of them."""

    page: HandbookPage
    line: str
    fit: int


def search(pages: Iterable[HandbookPage], asked: str) -> list[FoundPage]:
    """Return the pages that hold every word of ``asked``, those with the words in their title first."""
    words = [word for word in folded(asked).split() if word not in SMALL] or folded(asked).split()
    if not words:
        return []
    found = []
    for page in pages:
        title, text = folded(page.title), words_of(page)
        if not all(_at(text, word) >= 0 for word in words):
            continue
        in_title = sum(_at(title, word) >= 0 for word in words)
        often = sum(len(re.findall(rf"\b{re.escape(word)}", text)) for word in words)
        found.append(FoundPage(page, _around(page.plain, words), 1000 * in_title + often))
    return sorted(found, key=lambda each: -each.fit)


def words_of(page: HandbookPage) -> str:
    """Return all that a page is found by: its title, what it says, its commands."""
    return folded(f"{page.title} {page.plain} {' '.join(page.examples)}")


def folded(text: str) -> str:
    """Return text for comparing: small letters without accents, words apart.

    >>> folded("Geräte,  Größe")
    'gerate grosse'
    """
    apart = unicodedata.normalize("NFKD", text.casefold())
    bare = "".join(sign for sign in apart if not unicodedata.combining(sign))
    return " ".join(re.sub(r"[^\w.]+", " ", bare).split())


def _at(text: str, word: str) -> int:
    found = re.search(rf"\b{re.escape(word)}", text)
    return found.start() if found else -1


def _around(plain: str, words: list[str]) -> str:
    """Return a line of a page around the first of the words, cut between words."""
    shown = [place for word in words if (place := _at(plain.casefold(), word)) >= 0]
    begin = max(0, min(shown, default=0) - SHOWN_BEFORE)
    begin = plain.find(" ", begin) + 1 if begin else 0
    if len(plain) - begin <= SHOWN:
        return f"{'… ' if begin else ''}{plain[begin:]}"
    return f"{'… ' if begin else ''}{plain[begin : begin + SHOWN].rsplit(' ', 1)[0]} …"
