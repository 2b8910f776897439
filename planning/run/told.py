"""A sentence that is kept: as it is written, and with what is needed to say it to a reader of another language."""

from collections.abc import Iterable, Mapping
from typing import Any

from inventory.compute.spoken import _
from planning.plan.words import layer_said


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


def not_booked_said(facts: Mapping[str, Any]) -> list[str]:
    """Return what a report says was not booked in the reader's language; older reports have it as it was written."""
    parts = facts.get("not_booked_parts")
    if parts is None:
        return list(facts["not_booked"])
    return [_said(text, values) if values is not None else text for text, values in parts]


def _said(text: str, values: Mapping[str, str]) -> str:
    told = {name: layer_said(value) if name == "layer" else value for name, value in values.items()}
    return _(text).format(**told)
