"""What a person should know of a stitch file, in two grades."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import zip_longest
from typing import Literal, cast

from inventory.compute.spoken import N_, said_again
from planning.compute.stitches.file_sentences import PARTS, SENTENCES

# "look": something may be missing, look before you sew. "info": for your information.
Grade = Literal["look", "info"]
GRADE_IN_WORDS: dict[Grade, str] = {"look": N_("look before you sew"), "info": N_("for your information")}


@dataclass(frozen=True)
class FileWarning:
    """One warning of a file, with its grade: ``kept`` in one language, ``text`` in that of who reads it."""

    grade: Grade
    kept: str

    @property
    def text(self) -> str:
        return said_again(self.kept, SENTENCES, parts=PARTS)

    @property
    def is_grave(self) -> bool:
        return self.grade == "look"


def look(text: str) -> FileWarning:
    """Return a warning of the first grade: something may be missing, look before you sew."""
    return FileWarning("look", text)


def info(text: str) -> FileWarning:
    """Return a warning of the second grade: for your information."""
    return FileWarning("info", text)


def looks(texts: Iterable[str]) -> Iterable[FileWarning]:
    """Yield each text as a warning of the first grade."""
    return map(look, texts)


def graded(texts: Sequence[str], grades: Sequence[str]) -> tuple[FileWarning, ...]:
    """Return texts with their grades, the gravest first; a text kept before there were grades is of the first.

    >>> [each.grade for each in graded(["one", "two", "three"], ["info", "look"])]
    ['look', 'look', 'info']
    """
    found = [
        FileWarning(cast(Grade, grade), text)
        for text, grade in zip_longest(texts, grades[: len(texts)], fillvalue="look")
    ]
    return tuple(sorted(found, key=lambda each: not each.is_grave))
