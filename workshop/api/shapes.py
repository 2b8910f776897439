"""What all that is sent and answered is made of: quantities with their unit in the name, days, money as text, pages."""

import re
from collections.abc import Callable, Iterable, Sequence
from datetime import date
from typing import Annotated, Any, Generic, Protocol, TypeVar
from urllib.parse import urlencode

from django.http import HttpRequest
from ninja import Schema
from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema

# What any column of the workshop can hold, and no sum of such overflows one: a million kilometres, a thousand tonnes.
MOST = 10**12
MOST_NUMBER = 2**31 - 1
MOST_ROWS, USUAL_ROWS = 200, 50


class Asked(Schema):
    """A body that is sent: nothing in it that is not known, no number as text."""

    model_config = ConfigDict(extra="forbid")


def _iso_day(value: Any) -> Any:
    if isinstance(value, date) or (
        isinstance(value, str) and re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", value)
    ):
        return value
    raise ValueError("write a day like 2026-03-09")


def _plain(value: Any) -> Any:
    """Refuse what no text of the workshop holds: a zero byte, half of a letter."""
    if isinstance(value, str) and ("\0" in value or (not value.isprintable() and _has_surrogate(value))):
        raise ValueError("holds a sign that no text has")
    return value


def _has_surrogate(value: str) -> bool:
    return any("\ud800" <= sign <= "\udfff" for sign in value)


# A pattern in words of JSON Schema, so that a reader of the description knows what is refused.
_NO_ODD_SIGNS = r"^[^\x00]*$"

Number = Annotated[int, Field(ge=1, le=MOST_NUMBER)]
Whole = Annotated[int, Field(strict=True, ge=0, le=MOST)]
Some = Annotated[int, Field(strict=True, ge=1, le=MOST)]
Few = Annotated[int, Field(strict=True, ge=1, le=1000)]
Id = Annotated[int, Field(strict=True, ge=1, le=MOST_NUMBER)]
Yes = Annotated[bool, Field(strict=True)]
Words = Annotated[str, BeforeValidator(_plain), Field(strict=True, max_length=120, pattern=_NO_ODD_SIGNS)]
Name = Annotated[
    str, BeforeValidator(_plain), Field(strict=True, min_length=1, max_length=120, pattern=_NO_ODD_SIGNS)
]
Text = Annotated[str, BeforeValidator(_plain), Field(strict=True, max_length=500, pattern=_NO_ODD_SIGNS)]
Day = Annotated[date, BeforeValidator(_iso_day), WithJsonSchema({"type": "string", "format": "date"})]
Money = Annotated[str, Field(strict=True, pattern=r"^[0-9]{1,7}(\.[0-9]{1,2})?$", examples=["4.20"])]


class PageAsked(Asked):
    """Which part of a list."""

    limit: int = Field(USUAL_ROWS, ge=1, le=MOST_ROWS, description="So many rows at most.")
    offset: int = Field(0, ge=0, le=10**6, description="So many rows are passed over.")


Row = TypeVar("Row")
Found = TypeVar("Found", covariant=True)


class RowPage(Schema, Generic[Row]):
    """A part of a list; ``next`` is the address of the next one, null at the end."""

    count: int = Field(description="Rows in all.")
    next: str | None
    rows: list[Row]


class Countable(Protocol[Found]):
    """What a page is cut from: a queryset, a list, or a search of the shelf."""

    def __getitem__(self, part: slice, /) -> Iterable[Found]: ...


def page_of(
    request: HttpRequest, found: Countable[Found], asked: PageAsked, *, count: int, row: Callable[[Any], Any]
) -> dict[str, Any]:
    """Return the part of ``found`` that is asked for, each made a row, with where the next part is."""
    rows = [row(each) for each in found[asked.offset : asked.offset + asked.limit]]
    following = asked.offset + asked.limit
    more = [(name, value) for name, values in request.GET.lists() if name != "offset" for value in values]
    address = f"{request.path}?{urlencode([*more, ('offset', following)])}"
    return {"count": count, "next": address if following < count else None, "rows": rows}


def in_its_unit(name: str, quantity: float | None, *, is_measured: bool) -> dict[str, Any]:
    """Return a quantity under the name of its unit, and null under that of the other.

    >>> in_its_unit("free", 12, is_measured=False)
    {'free_mm': None, 'free_pieces': 12}
    """
    return {
        f"{name}_mm": quantity if is_measured else None,
        f"{name}_pieces": None if is_measured else quantity,
    }


def shown(model: type[BaseModel], rows: Sequence[Any]) -> list[BaseModel]:
    """Return rows as ``model`` shows them."""
    return [model.model_validate(each) for each in rows]
