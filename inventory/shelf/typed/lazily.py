"""Texts that are made once and say a quantity in the units of whoever reads them then."""

from collections.abc import Callable
from typing import Any

from django.utils.functional import lazy
from django.utils.text import format_lazy


def told_lazily(text: Any, **quantities: Callable[[], str]) -> Any:
    """Return ``text`` with its fields filled anew whenever it is read, each by what its function returns then."""
    return format_lazy(text, **{name: lazy(told, str)() for name, told in quantities.items()})
