"""Lengths, weights and counts as people type and read them.

Stock is kept in whole millimetres, whole milligrams and whole pieces. This module is the only place where
a typed number becomes one of those, so that every page, command and file reads "12,5 m" alike.
"""

import re
from collections.abc import Mapping
from decimal import ROUND_HALF_UP, Decimal
from typing import NamedTuple

from inventory.compute.errors import WorkshopError

# International yard and pound, exact by agreement since 1959: 1 yd = 0.9144 m, 1 lb = 0.453 592 37 kg.
_MM_IN: Mapping[str, Decimal] = {
    "mm": Decimal(1),
    "cm": Decimal(10),
    "m": Decimal(1000),
    "km": Decimal(1_000_000),
    "in": Decimal("25.4"),
    "ft": Decimal("304.8"),
    "yd": Decimal("914.4"),
}
_MG_IN: Mapping[str, Decimal] = {
    "mg": Decimal(1),
    "g": Decimal(1000),
    "kg": Decimal(1_000_000),
    "oz": Decimal("28349.523125"),
    "lb": Decimal("453592.37"),
}
_SYMBOL_OF: Mapping[str, str] = {
    word: symbol
    for symbol, words in {
        "mm": "mm millimetre millimetres millimeter millimeters",
        "cm": "cm centimetre centimetres centimeter centimeters",
        "m": "m metre metres meter meters",
        "km": "km kilometre kilometres kilometer kilometers",
        "in": "in ins inch inches \" ″ ” ''",
        "ft": "ft foot feet ' ′ ’",
        "yd": "yd yds yard yards",
        "mg": "mg milligram milligrams milligramme milligrammes",
        "g": "g gr gram grams gramme grammes",
        "kg": "kg kgs kilo kilos kilogram kilograms kilogramme kilogrammes",
        "oz": "oz ounce ounces",
        "lb": "lb lbs pound pounds",
    }.items()
    for word in words.split()
}
_PLACES: Mapping[str, int] = {
    "mm": 0, "cm": 1, "m": 1, "km": 2, "in": 2, "ft": 2, "yd": 1,
    "mg": 0, "g": 1, "kg": 2, "oz": 2, "lb": 2,
}  # fmt: skip

_LONGEST_LENGTH = Decimal(1_000_000_000)  # 1,000 km in mm
_HEAVIEST_WEIGHT = Decimal(1_000_000_000)  # 1,000 kg in mg
_LARGEST_COUNT = 1_000_000
_LONGEST_TEXT = 40

_NUMBER = re.compile(
    r"(?P<whole>[0-9]{1,3}(?P<group>[., ])[0-9]{3}(?:(?P=group)[0-9]{3})*|[0-9]*)"
    r"(?:(?P<point>[.,])(?P<fraction>[0-9]+))?"
)
_LONE_SEPARATOR_THREE_DIGITS = re.compile(r"(?P<before>[0-9]*)[.,](?P<after>[0-9]{3})")
_QUANTITY = re.compile(r"(?P<number>.*?) ?(?P<unit>[^\W\d_]+\.?|''|[\"″”'′’])?")
_MINUS_SIGNS = ("-", "−", "–")


class ScaleReading(NamedTuple):
    """What a scale showed, in whole mg, and how finely it shows: ``resolution_mg`` is the step of its last figure."""

    mg: int
    resolution_mg: int


class NotANumber(WorkshopError):
    """The text holds no number, or not only one."""


class NegativeNumber(WorkshopError):
    """The number is below zero, where only zero and above make sense."""


class NotWhole(WorkshopError):
    """The number has a fraction, where only whole pieces make sense."""


class TooLarge(WorkshopError):
    """The quantity is larger than any workshop holds."""


class UnknownUnit(WorkshopError):
    """The unit is none of those that this quantity is measured in."""


class AmbiguousNumber(WorkshopError):
    """The separator may group thousands or mark the decimal; ``readings`` holds both numbers."""

    def __init__(self, *, typed: str, grouped: Decimal, decimal: Decimal) -> None:
        self.readings = (grouped, decimal)
        plain = f"{decimal.normalize():f}"
        # Typed with three decimals it would only be asked about again.
        safe = f"{plain}0" if _LONE_SEPARATOR_THREE_DIGITS.fullmatch(plain) else plain
        super().__init__(f"{typed} could be {grouped:f} or {plain}. Type {grouped:f}, or type {safe}.")


def parse_decimal(text: str) -> Decimal:
    """Return the number, zero or above, that a person typed.

    One separator is the decimal; two kinds are grouping and decimal; one kind repeated, or a space, groups
    by threes. A lone separator before exactly three digits has two readings and raises AmbiguousNumber.
    Anything else raises NotANumber, and a minus sign raises NegativeNumber.

    >>> parse_decimal("12,5"), parse_decimal("1.234,5"), parse_decimal("1,234,567")
    (Decimal('12.5'), Decimal('1234.5'), Decimal('1234567'))
    >>> parse_decimal("1,500")
    Traceback (most recent call last):
    inventory.compute.lengths.AmbiguousNumber: 1,500 could be 1500 or 1.5. Type 1500, or type 1.5.
    """
    typed = _tidy(text)
    if typed.startswith(_MINUS_SIGNS):
        raise NegativeNumber(f"{typed} is below zero. Type a number that is zero or more.")
    if lone := _LONE_SEPARATOR_THREE_DIGITS.fullmatch(typed):
        before, after = lone["before"] or "0", lone["after"]
        raise AmbiguousNumber(
            typed=typed, grouped=Decimal(int(before + after)), decimal=Decimal(f"{before}.{after}")
        )
    number = _NUMBER.fullmatch(typed)
    if number is None or (number["group"] and number["group"] == number["point"]):
        raise NotANumber(f'"{typed}" is not a number. Type it like 12 or 12.5.')
    whole = re.sub(r"[., ]", "", number["whole"])
    return Decimal(f"{whole or 0}.{number['fraction'] or 0}") if number["point"] else Decimal(whole)


def parse_count(text: str) -> int:
    """Return the number of pieces that a person typed, by the rule of ``parse_decimal``.

    >>> parse_count(" 24 "), parse_count("2 400")
    (24, 2400)
    >>> parse_count("2.5")
    Traceback (most recent call last):
    inventory.compute.lengths.NotWhole: 2.5 is not a whole number. Type how many pieces there are.
    """
    number = parse_decimal(text)
    if number > _LARGEST_COUNT:
        raise TooLarge(f"{_tidy(text)} is more than {_LARGEST_COUNT:,} pieces. Check the number.")
    if number != int(number):
        raise NotWhole(f"{_tidy(text)} is not a whole number. Type how many pieces there are.")
    return int(number)


def parse_length(text: str, *, unit: str = "m") -> int:
    """Return the length that a person typed, in whole mm; ``unit`` is meant where none is typed.

    Units in words or symbols and any case: mm, cm, m, km, in, ft, yd. More than 1,000 km raises TooLarge.

    >>> parse_length("12,5 m"), parse_length("15 yd"), parse_length("8", unit="in")
    (12500, 13716, 203)
    """
    return _parse_quantity(text, unit=unit, sizes=_MM_IN, largest=_LONGEST_LENGTH, limit="1,000 km")


def parse_weight(text: str, *, unit: str = "g") -> int:
    """Return the weight that a person typed, in whole mg; ``unit`` is meant where none is typed.

    Units in words or symbols and any case: mg, g, kg, oz, lb. More than 1,000 kg raises TooLarge.

    >>> parse_weight("152.4"), parse_weight("1,25 kg"), parse_weight("4 oz")
    (152400, 1250000, 113398)
    """
    return _parse_quantity(text, unit=unit, sizes=_MG_IN, largest=_HEAVIEST_WEIGHT, limit="1,000 kg")


def read_scale(text: str, *, unit: str = "g", resolution_mg: int | None = None) -> ScaleReading:
    """Return the weight that a person read off a scale, with the step of the last figure that was typed.

    A scale that shows 52.40 is read ten times as finely as one that shows 52.4, so every figure counts.
    ``resolution_mg`` is the scale's step where a person states it, whatever was typed. Raises as ``parse_weight``.

    >>> read_scale("52.4"), read_scale("52,40 g")
    (ScaleReading(mg=52400, resolution_mg=100), ScaleReading(mg=52400, resolution_mg=10))
    >>> read_scale("1.85", unit="oz").resolution_mg, read_scale("0.05 kg").resolution_mg
    (283, 10000)
    """
    weight_mg = parse_weight(text, unit=unit)
    if resolution_mg is None:
        number, size = _number_and_size(text, unit=unit, sizes=_MG_IN)
        step = size.scaleb(int(number.as_tuple().exponent))
        resolution_mg = max(1, int(step.to_integral_value(ROUND_HALF_UP)))
    return ScaleReading(weight_mg, resolution_mg)


def format_length(mm: int | float, *, unit: str, places: int | None = None) -> str:
    """Return a length in mm as text in ``unit``, which ``parse_length`` reads back.

    ``places`` defaults to what suits the unit. Thousands are grouped only where decimals follow: a whole
    number such as "1,500" would be asked about when typed back, and so would "1.500" with three places;
    exact metres therefore want four.

    >>> format_length(1_234_500, unit="m"), format_length(1_500_000, unit="m", places=0)
    ('1,234.5 m', '1500 m')
    >>> format_length(203, unit="in"), format_length(1_234, unit="m", places=4)
    ('7.99 in', '1.2340 m')
    """
    return _format_quantity(mm, unit=unit, sizes=_MM_IN, places=places)


def format_weight(mg: int | float, *, unit: str, places: int | None = None) -> str:
    """Return a weight in mg as text in ``unit``, written as ``format_length`` writes a length.

    >>> format_weight(152_400, unit="g"), format_weight(113_398, unit="oz")
    ('152.4 g', '4.00 oz')
    """
    return _format_quantity(mg, unit=unit, sizes=_MG_IN, places=places)


def _tidy(text: str) -> str:
    """Return ``text`` with every kind and run of spaces as one plain space, or raise NotANumber."""
    tidy = " ".join(text.split())
    if not tidy:
        raise NotANumber("Nothing was typed. Type a number like 12 or 12.5.")
    if len(tidy) > _LONGEST_TEXT:
        raise NotANumber(f'"{tidy[:_LONGEST_TEXT]}…" is too long for a number. Type it like 12 or 12.5.')
    return tidy


def _symbol(unit: str, *, sizes: Mapping[str, Decimal]) -> str:
    symbol = _SYMBOL_OF.get(unit.casefold().removesuffix("."), "")
    if symbol not in sizes:
        raise UnknownUnit(f'"{unit}" is not a unit used here. Use {", ".join(sizes)}.')
    return symbol


def _parse_quantity(
    text: str, *, unit: str, sizes: Mapping[str, Decimal], largest: Decimal, limit: str
) -> int:
    number, size = _number_and_size(text, unit=unit, sizes=sizes)
    if number * size > largest:
        raise TooLarge(f"{_tidy(text)} is more than {limit}. Check the number and its unit.")
    return int((number * size).to_integral_value(ROUND_HALF_UP))


def _number_and_size(text: str, *, unit: str, sizes: Mapping[str, Decimal]) -> tuple[Decimal, Decimal]:
    """Return the number that was typed, with its decimals as typed, and what one of its unit is."""
    typed = _tidy(text)
    quantity = _QUANTITY.fullmatch(typed)
    if quantity is None or not quantity["number"]:
        raise NotANumber(f'"{typed}" has no number in it. Type a number and a unit like 12.5 {unit}.')
    number = parse_decimal(quantity["number"])
    return number, sizes[_symbol(quantity["unit"] or unit, sizes=sizes)]


def _format_quantity(
    amount: int | float, *, unit: str, sizes: Mapping[str, Decimal], places: int | None
) -> str:
    symbol = _symbol(unit, sizes=sizes)
    exact = Decimal(str(amount))
    if not exact.is_finite():
        raise NotANumber(f"{amount} cannot be written as a quantity in {symbol}.")
    shown_places = _PLACES[symbol] if places is None else places
    # Adding zero turns a rounded "-0.0" into "0.0".
    shown = (exact / sizes[symbol]).quantize(Decimal(1).scaleb(-shown_places), ROUND_HALF_UP) + 0
    return f"{shown:,f} {symbol}" if shown_places else f"{shown:f} {symbol}"
