"""Form fields for cells: each turns what a file holds into a stock quantity, or says why it cannot.

A blank cell is None (text: ""): it states nothing, and above all not zero.
"""

import re
from collections.abc import Callable, Iterable, Mapping
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from inventory.compute.colour.lab import lab_from_hex
from inventory.compute.density import LinearDensity, read_area_weight, read_linear_density
from inventory.compute.errors import WorkshopError
from inventory.compute.lengths import (
    AmbiguousNumber,
    ScaleReading,
    parse_decimal,
    parse_length,
    parse_weight,
    read_scale,
)
from inventory.compute.typed.days import plausible_day, read_day
from inventory.tables.cells import Unreadable, read_list, shown

_BLANK = {"", "?", "unknown", "not known"}
# What workbooks count days from (ECMA-376-1, 18.17.4.1, from memory), by whether they count from 1904; days before
# 1 March 1900, which the older count has one too many of, are no days of a workshop.
_DAY_0 = {False: date(1899, 12, 30), True: date(1904, 1, 1)}
_DAY_COUNT = re.compile(r"[0-9]{5}")
_YES = {"yes", "y", "true", "1", "x"}
_NO = {"no", "n", "false", "0"}
_NUMBER_ALONE = re.compile(r"[-−–]?[0-9., ]*")
_MINUS = ("-", "−", "–")


class CellField(forms.Field):
    """A field whose value may be typed already, as a workbook's cells are."""

    blank: Any = None

    def __init__(self, meaning: str, *, required: bool = False, reading_only: bool = False) -> None:
        super().__init__(
            required=required,
            help_text=meaning,
            error_messages={"required": f"This cell is blank. It needs {meaning[0].lower()}{meaning[1:]}"},
        )
        self.reading_only = reading_only

    def to_python(self, value: Any) -> Any:
        if isinstance(value, Unreadable):
            raise ValidationError(value.reason)
        if value is None or (isinstance(value, str) and value.strip().casefold() in self.blanks()):
            return self.blank
        try:
            return self.read(value)
        except WorkshopError as problem:
            raise ValidationError(str(problem)) from None

    def blanks(self) -> set[str]:
        return _BLANK

    def read(self, value: Any) -> Any:
        raise NotImplementedError


class TextCell(CellField):
    blank: Any = ""

    def __init__(
        self, meaning: str, *, longest: int, required: bool = False, reading_only: bool = False
    ) -> None:
        super().__init__(meaning, required=required, reading_only=reading_only)
        self.longest = longest

    def blanks(self) -> set[str]:
        return {""}

    def read(self, value: Any) -> Any:
        if isinstance(value, date):
            raise WorkshopError(
                "This cell holds a date. If it was a code such as 3-12, the spreadsheet has turned it into one: "
                "format the column as text and type it again."
            )
        return self.read_text(shown(value).strip())

    def read_text(self, text: str) -> Any:
        return self.one(text)

    def one(self, text: str) -> str:
        if len(text) > self.longest:
            raise WorkshopError(f"{len(text)} characters are too many; {self.longest} is the most.")
        if "\x00" in text:
            raise WorkshopError("The text holds a character that cannot be stored. Type it again.")
        return text


class ListCell(TextCell):
    """Several texts in one cell, separated by semicolons and quoted as in CSV where one is in the text."""

    blank = ()

    def read_text(self, text: str) -> tuple[str, ...]:
        return tuple(self.one(part) for part in read_list(text))


class WordCell(CellField):
    """One word of a choice, by what is stored or by what people read, in any case."""

    def __init__(self, meaning: str, *, choices: Iterable[tuple[str, object]]) -> None:
        stored_and_read = [(stored, str(read)) for stored, read in choices]
        self.words: Mapping[str, str] = {
            each.casefold(): pair[0] for pair in stored_and_read for each in pair
        }
        self.stored = [stored for stored, _ in stored_and_read]
        super().__init__(f"{meaning}: {', '.join(self.stored)}.")

    def blanks(self) -> set[str]:
        return {""}

    def read(self, value: Any) -> str:
        word = " ".join(shown(value).split()).casefold()
        if word not in self.words:
            raise WorkshopError(f"This is none of the words for it: {', '.join(self.stored)}.")
        return self.words[word]


class YesNoCell(CellField):
    def read(self, value: Any) -> bool:
        word = shown(value).strip().casefold()
        if word not in _YES | _NO:
            raise WorkshopError("Write yes or no.")
        return word in _YES


class NumberCell(CellField):
    """A number from ``low`` to ``high``; a reading outside them is no reading of an ambiguous 12.345."""

    def __init__(self, meaning: str, *, low: float, high: float, low_allowed: bool = True) -> None:
        super().__init__(meaning)
        self.low, self.high, self.low_allowed = low, high, low_allowed

    def read(self, value: Any) -> Any:
        number = self.number(value)
        if not self.is_within(number):
            above = "from" if self.low_allowed else "above"
            to = "to" if self.low_allowed else "and at most"
            raise WorkshopError(f"The number must be {above} {self.low:g} {to} {self.high:g}.")
        return float(number)

    def is_within(self, number: Decimal) -> bool:
        return (self.low < number or (self.low_allowed and self.low == number)) and number <= self.high

    def number(self, value: Any) -> Decimal:
        if isinstance(value, Decimal):
            return value
        text = typed(value)
        sign = -1 if self.low < 0 and text.startswith(_MINUS) else 1
        try:
            return sign * parse_decimal(text[1:] if sign < 0 else text)
        except AmbiguousNumber as problem:
            within = [sign * each for each in problem.readings if self.is_within(sign * each)]
            if len(within) != 1:
                raise
            return within[0]


class DensityCell(NumberCell):
    """A linear density: tex as a number, or dtex, denier, Nm or Ne in words, cleaned to a LinearDensity."""

    def __init__(self, meaning: str) -> None:
        super().__init__(meaning, low=0, high=1000, low_allowed=False)

    def read(self, value: Any) -> LinearDensity:
        if isinstance(value, str) and not _NUMBER_ALONE.fullmatch(value.strip()):
            return read_linear_density(value)
        return LinearDensity(super().read(value))


class AreaWeightCell(NumberCell):
    """The weight of cloth or stabilizer: a number in g/m², or with oz/yd² behind it."""

    def __init__(self, meaning: str) -> None:
        super().__init__(meaning, low=0, high=2000, low_allowed=False)

    def read(self, value: Any) -> float:
        if isinstance(value, str) and not _NUMBER_ALONE.fullmatch(value.strip()):
            return read_area_weight(value)
        weight: float = super().read(value)
        return weight


class MoneyCell(NumberCell):
    """An amount in the workshop's currency, exact to two places."""

    def __init__(self, meaning: str) -> None:
        super().__init__(meaning, low=0, high=999_999.99)

    def number(self, value: Any) -> Decimal:
        try:
            return super().number(value)
        except AmbiguousNumber as problem:
            grouped, point = problem.readings
            raise WorkshopError(
                f"{typed(value)} could be {grouped:f} or {point:f}. Write the amount with two decimals."
            ) from None

    def read(self, value: Any) -> Decimal:
        super().read(value)
        number = self.number(value)
        if number != round(number, 2):
            raise WorkshopError("An amount of money has two decimals at most.")
        return round(number, 2)


class WholeCell(NumberCell):
    """A whole number of pieces, days or millimetres."""

    def __init__(self, meaning: str, *, low: int = 0, high: int = 1_000_000) -> None:
        super().__init__(meaning, low=low, high=high)

    def read(self, value: Any) -> int:
        super().read(value)
        number = self.number(value)
        if number != int(number):
            raise WorkshopError("This must be a whole number.")
        return int(number)


class QuantityCell(CellField):
    """A length or weight in whole mm or mg; without a unit in the cell, the column's holds."""

    def __init__(
        self, meaning: str, *, parse: Callable[..., int], unit: str, above_zero: bool = False
    ) -> None:
        super().__init__(meaning)
        self.parse, self.unit, self.above_zero = parse, unit, above_zero

    def read(self, value: Any) -> int:
        # A workbook's number has one reading only; four decimals keep it from being asked about.
        text = f"{value:.4f}" if isinstance(value, Decimal) else typed(value)
        quantity = self.parse(text, unit=self.unit)
        if self.above_zero and quantity == 0:
            raise WorkshopError("This must be above zero.")
        return quantity


def metres(meaning: str, *, above_zero: bool = False) -> QuantityCell:
    """Return a field for a length in m, whose value is in mm."""
    return QuantityCell(meaning, parse=parse_length, unit="m", above_zero=above_zero)


def grams(meaning: str, *, above_zero: bool = False) -> QuantityCell:
    """Return a field for a weight in g, whose value is in mg."""
    return QuantityCell(meaning, parse=parse_weight, unit="g", above_zero=above_zero)


class ScaleCell(CellField):
    """A weight in g as a scale showed it; its figures say how finely the scale shows."""

    # A workbook keeps the number alone: more decimals than any scale here has were worked out, not read, and are
    # taken for a kitchen scale's.
    _finest_decimals = 3
    _kitchen_scale_mg = 1000

    def read(self, value: Any) -> ScaleReading:
        if not isinstance(value, Decimal):
            shown_weight = read_scale(typed(value), unit="g")
        else:
            decimals = max(0, -int(value.normalize().as_tuple().exponent))
            step_mg = self._kitchen_scale_mg if decimals > self._finest_decimals else 10 ** (3 - decimals)
            shown_weight = read_scale(f"{value:.4f}", unit="g", resolution_mg=step_mg)
        if shown_weight.mg == 0:
            raise WorkshopError("This must be above zero.")
        return shown_weight


class SigmaCell(CellField):
    """A standard deviation: ``scale`` stock units (1000 mm, or 1 piece) in one of the column's."""

    def __init__(self, meaning: str, *, scale: int) -> None:
        super().__init__(meaning)
        self.scale = scale

    def read(self, value: Any) -> float:
        number = value if isinstance(value, Decimal) else parse_decimal(typed(value))
        if not 0 <= number * self.scale <= 1_000_000_000:
            raise WorkshopError("The uncertainty must be zero or above, and no more than any workshop holds.")
        return float(number * self.scale)


class ColourCell(CellField):
    """A screen colour, as #rrggbb in small letters."""

    def read(self, value: Any) -> str:
        text = shown(value).strip().casefold()
        text = text if text.startswith("#") else f"#{text}"
        lab_from_hex(text)
        return text


class DayCell(CellField):
    """A day. A bare number counts days as a spreadsheet does."""

    days_from_1904 = False

    def read(self, value: Any) -> date:
        if isinstance(value, date):
            return plausible_day(value)
        text = shown(value).strip()
        if isinstance(value, Decimal) or _DAY_COUNT.fullmatch(text):
            return self._counted(Decimal(text))
        return read_day(text)

    def _counted(self, number: Decimal) -> date:
        if not 20_000 <= number < 80_000:
            raise WorkshopError(f"{number} is not a day. Type it like 2026-03-02.")
        return plausible_day(_DAY_0[self.days_from_1904] + timedelta(days=int(number)))


def typed(value: Any) -> str:
    """Return a cell that should hold a number as text, or raise WorkshopError where it holds something else."""
    if isinstance(value, date):
        raise WorkshopError(
            f"This cell holds a date, {value.isoformat()}. If a number was typed, the spreadsheet has taken it "
            "for a date: format the column as a number and type it again."
        )
    if isinstance(value, bool):
        raise WorkshopError("This cell holds yes or no. Type a number.")
    return shown(value)
