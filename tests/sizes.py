"""How much of a long search the full checks look at, and how much is left to whoever asks for all of it."""

from collections.abc import Iterable
from typing import Any

import pytest


def searched(parts: Iterable[Any], *, first: int = 2) -> list[Any]:
    """Return the parts of a long search as parameters: the ``first`` are thorough, the others exhaustive.

    >>> [each.marks[0].name for each in searched(range(3))]
    ['thorough', 'thorough', 'exhaustive']
    """
    return [
        pytest.param(part, marks=pytest.mark.thorough if number < first else pytest.mark.exhaustive)
        for number, part in enumerate(parts)
    ]
