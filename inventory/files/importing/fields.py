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
from django.utils.functional import lazy

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
from inventory.compute.spoken import _, as_written_here, language, plainly
from inventory.compute.typed.days import plausible_day, read_day
from inventory.tables.cells import Unreadable, read_list, shown

Meaning = Any  # a text, or one that is said where it is read
lazy_text = lazy(lambda say: say(), str)

_BLANK = {"", "?", "unknown", "not known", "unbekannt"}
# What workbooks count days from (ECMA-376-1, 18.17.4.1, from memory), by whether they count from 1904; days before
# 1 March 1900, which the older count has one too many of, are no days of a workshop.
_DAY_0 = {False: date(1899, 12, 30), True: date(1904, 1, 1)}
_DAY_COUNT = re.compile(r"[0-9]{5}")
_YES = {"yes", "y", "true", "1", "x", "ja", "j", "wahr"}
_NO = {"no", "n", "false", "0", "nein", "falsch"}
_NUMBER_ALONE = re.compile(r"[-−–]?[0-9., ]*")
_MINUS = ("-", "−", "–")


def _blank_cell(meaning: Meaning) -> str:
    # In English what a column means goes on in the sentence with a small letter.
    goes_on = f"{meaning[0].lower()}{meaning[1:]}" if language() == "en" else meaning
    return _("This cell is blank. It needs {meaning}").format(meaning=goes_on)


class CellField(forms.Field):
    """A field whose value may be typed already, as a workbook's cells are."""

    blank: Any = None

    def __init__(self, meaning: Meaning, *, required: bool = False, reading_only: bool = False) -> None:
        super().__init__(
            required=required,
            help_text=meaning,
            error_messages={"required": lazy_text(lambda: _blank_cell(str(meaning)))},
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
        self, meaning: Meaning, *, longest: int, required: bool = False, reading_only: bool = False
    ) -> None:
        super().__init__(meaning, required=required, reading_only=reading_only)
        self.longest = longest

    def blanks(self) -> set[str]:
        return {""}

    def read(self, value: Any) -> Any:
        if isinstance(value, date):
            raise WorkshopError(
                _(
                    "This cell holds a date. If it was a code such as 3-12, the spreadsheet has turned it into "
                    "one: format the column as text and type it again."
                )
            )
        return self.read_text(shown(value).strip())

    def read_text(self, text: str) -> Any:
        return self.one(text)

    def one(self, text: str) -> str:
        if len(text) > self.longest:
            raise WorkshopError(
                _("{count} characters are too many; {longest} is the most.").format(
                    count=len(text), longest=self.longest
                )
            )
        if "\x00" in text:
            raise WorkshopError(_("The text holds a character that cannot be stored. Type it again."))
        return text


class ListCell(TextCell):
    """Several texts in one cell, separated by semicolons and quoted as in CSV where one is in the text."""

    blank = ()

    def read_text(self, text: str) -> tuple[str, ...]:
        return tuple(self.one(part) for part in read_list(text))


class WordCell(CellField):
    """One word of a choice, by what is stored or by what people read, in any case."""

    def __init__(self, meaning: Meaning, *, choices: Iterable[tuple[str, object]]) -> None:
        stored_and_read = list(choices)
        self.read_as = stored_and_read
        self.stored = [stored for stored, __ in stored_and_read]
        self.by_language: dict[str, Mapping[str, str]] = {}
        super().__init__(lazy_text(lambda: f"{meaning}: {', '.join(self.stored)}."))

    @property
    def words(self) -> Mapping[str, str]:
        """What is stored, by what may be written for it: that itself, and what the reader calls it."""
        speaks = language()
        if speaks not in self.by_language:
            self.by_language[speaks] = {
                each.casefold(): stored for stored, read in self.read_as for each in (stored, str(read))
            }
        return self.by_language[speaks]

    def blanks(self) -> set[str]:
        return {""}

    def read(self, value: Any) -> str:
        word = " ".join(shown(value).split()).casefold()
        if word not in self.words:
            raise WorkshopError(
                _("This is none of the words for it: {names}.").format(names=", ".join(self.stored))
            )
        return self.words[word]


class YesNoCell(CellField):
    def read(self, value: Any) -> bool:
        word = shown(value).strip().casefold()
        if word not in _YES | _NO:
            raise WorkshopError(_("Write yes or no."))
        return word in _YES


class NumberCell(CellField):
    """A number from ``low`` to ``high``; a reading outside them is no reading of an ambiguous 12.345."""

    def __init__(self, meaning: Meaning, *, low: float, high: float, low_allowed: bool = True) -> None:
        super().__init__(meaning)
        self.low, self.high, self.low_allowed = low, high, low_allowed

    def read(self, value: Any) -> Any:
        number = self.number(value)
        if not self.is_within(number):
            told = (
                _("The number must be from {low} to {high}.")
                if self.low_allowed
                else _("The number must be above {low} and at most {high}.")
            )
            raise WorkshopError(told.format(low=plainly(self.low), high=plainly(self.high)))
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

    def __init__(self, meaning: Meaning) -> None:
        super().__init__(meaning, low=0, high=1000, low_allowed=False)

    def read(self, value: Any) -> LinearDensity:
        if isinstance(value, str) and not _NUMBER_ALONE.fullmatch(value.strip()):
            return read_linear_density(value)
        return LinearDensity(super().read(value))


class AreaWeightCell(NumberCell):
    """The weight of cloth or stabilizer: a number in g/m², or with oz/yd² behind it."""

    def __init__(self, meaning: Meaning) -> None:
        super().__init__(meaning, low=0, high=2000, low_allowed=False)

    def read(self, value: Any) -> float:
        if isinstance(value, str) and not _NUMBER_ALONE.fullmatch(value.strip()):
            return read_area_weight(value)
        weight: float = super().read(value)
        return weight


class MoneyCell(NumberCell):
    """An amount in the workshop's currency, exact to two places."""

    def __init__(self, meaning: Meaning) -> None:
        super().__init__(meaning, low=0, high=999_999.99)

    def number(self, value: Any) -> Decimal:
        try:
            return super().number(value)
        except AmbiguousNumber as problem:
            grouped, point = problem.readings
            raise WorkshopError(
                _("{typed} could be {grouped} or {point}. Write the amount with two decimals.").format(
                    typed=typed(value),
                    grouped=as_written_here(f"{grouped:f}"),
                    point=as_written_here(f"{point:f}"),
                )
            ) from None

    def read(self, value: Any) -> Decimal:
        super().read(value)
        number = self.number(value)
        if number != round(number, 2):
            raise WorkshopError(_("An amount of money has two decimals at most."))
        return round(number, 2)


class WholeCell(NumberCell):
    """A whole number of pieces, days or millimetres."""

    def __init__(self, meaning: Meaning, *, low: int = 0, high: int = 1_000_000) -> None:
        super().__init__(meaning, low=low, high=high)

    def read(self, value: Any) -> int:
        super().read(value)
        number = self.number(value)
        if number != int(number):
            raise WorkshopError(_("This must be a whole number."))
        return int(number)


class QuantityCell(CellField):
    """A length or weight in whole mm or mg; without a unit in the cell, the column's holds."""

    def __init__(
        self, meaning: Meaning, *, parse: Callable[..., int], unit: str, above_zero: bool = False
    ) -> None:
        super().__init__(meaning)
        self.parse, self.unit, self.above_zero = parse, unit, above_zero

    def read(self, value: Any) -> int:
        # A workbook's number has one reading only; four decimals keep it from being asked about.
        text = f"{value:.4f}" if isinstance(value, Decimal) else typed(value)
        quantity = self.parse(text, unit=self.unit)
        if self.above_zero and quantity == 0:
            raise WorkshopError(_("This must be above zero."))
        return quantity


def metres(meaning: Meaning, *, above_zero: bool = False) -> QuantityCell:
    """Return a field for a length in m, whose value is in mm."""
    return QuantityCell(meaning, parse=parse_length, unit="m", above_zero=above_zero)


def grams(meaning: Meaning, *, above_zero: bool = False) -> QuantityCell:
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
            raise WorkshopError(_("This must be above zero."))
        return shown_weight


class SigmaCell(CellField):
    """A standard deviation: ``scale`` stock units (1000 mm, or 1 piece) in one of the column's."""

    def __init__(self, meaning: Meaning, *, scale: int) -> None:
        super().__init__(meaning)
        self.scale = scale

    def read(self, value: Any) -> float:
        number = value if isinstance(value, Decimal) else parse_decimal(typed(value))
        if not 0 <= number * self.scale <= 1_000_000_000:
            raise WorkshopError(
                _("The uncertainty must be zero or above, and no more than any workshop holds.")
            )
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
            raise WorkshopError(_("{number} is not a day. Type it like 2026-03-02.").format(number=number))
        return plausible_day(_DAY_0[self.days_from_1904] + timedelta(days=int(number)))


def typed(value: Any) -> str:
    """Return a cell that should hold a number as text, or raise WorkshopError where it holds something else."""
    if isinstance(value, date):
        raise WorkshopError(
            _(
                "This cell holds a date, {value}. If a number was typed, the spreadsheet has taken it for a "
                "date: format the column as a number and type it again."
            ).format(value=value.isoformat())
        )
    if isinstance(value, bool):
        raise WorkshopError(_("This cell holds yes or no. Type a number."))
    return shown(value)
