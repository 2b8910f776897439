"""A sentence that is kept: as it is written, and with what is needed to say it to a reader of another language."""

from collections.abc import Iterable, Mapping
from typing import Any

from inventory.compute.spoken import N_, _, said_again
from planning.plan.words import layer_said

NO_SPOOL_KNOWN = N_("no spool is known for {threads}")
ANOTHER_SHADE = N_("another shade: {shade}")
NOTHING_TAKEN = N_("{label} has left the shelf, so that nothing was taken of it")
NOT_PUT_RIGHT = N_("{label} has left the shelf, so that nothing of it was put right")
LACKS = N_("{label} lacks {metres} m for what it now stands for")
# What the program notes of an event; a person's own words are none of them.
_NOTED = (NO_SPOOL_KNOWN, ANOTHER_SHADE, NOTHING_TAKEN, NOT_PUT_RIGHT, LACKS)


class Told(str):
    """A sentence as data have it; ``text`` and ``values`` are what it is made of."""

    text: str
    values: dict[str, str]

    def __new__(cls, text: str, **values: object) -> "Told":
        """Return ``text``, marked where it is written, with its ``values``."""
        told = super().__new__(cls, text.format(**values))
        told.text, told.values = text, {name: str(value) for name, value in values.items()}
        return told


def kept_parts(sentences: Iterable[str]) -> list[list[Any]]:
    """Return of each sentence what it is made of, as JSON keeps it; one that a person wrote stays whole."""
    return [[each.text, each.values] if isinstance(each, Told) else [str(each), None] for each in sentences]


def said(sentence: str) -> str:
    """Return a sentence in the reader's language.

    >>> said(Told("{label} has left the shelf", label="S0001"))
    'S0001 has left the shelf'
    """
    return _said(sentence.text, sentence.values) if isinstance(sentence, Told) else sentence


def note_said(note: str) -> str:
    """Return the note of an event in the reader's language, as far as the program wrote it.

    >>> note_said("no spool is known for Forty 147 red; the hoop slipped")
    'no spool is known for Forty 147 red; the hoop slipped'
    """
    return "; ".join(said_again(each, _NOTED) for each in note.split("; "))


def not_booked_said(facts: Mapping[str, Any]) -> list[str]:
    """Return what a report says was not booked in the reader's language.

    Older reports have it as it was written, the oldest do not have it at all.
    """
    parts = facts.get("not_booked_parts")
    if parts is None:
        return [note_said(each) for each in facts.get("not_booked", [])]
    return [_said(text, values) if values is not None else note_said(text) for text, values in parts]


def _said(text: str, values: Mapping[str, str]) -> str:
    told = {name: layer_said(value) if name == "layer" else value for name, value in values.items()}
    return _(text).format(**told)
