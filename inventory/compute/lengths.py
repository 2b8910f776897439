"""Lengths, weights and counts as people type and read them.

Stock is kept in whole millimetres, whole milligrams and whole pieces. This module is the only place where
a typed number becomes one of those, so that every page, command and file reads "12,5 m" alike.
"""

import re
import unicodedata
from collections.abc import Mapping
from decimal import ROUND_HALF_UP, Decimal
from typing import NamedTuple

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _, as_written_here, figure

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
        "mm": "mm millimetre millimetres millimeter millimeters millimetern",
        "cm": "cm centimetre centimetres centimeter centimeters zentimeter zentimetern",
        "m": "m metre metres meter meters metern",
        "km": "km kilometre kilometres kilometer kilometers kilometern",
        "in": "in ins inch inches zoll \" ″ ” ''",
        "ft": "ft foot feet fuß ' ′ ’",
        "yd": "yd yds yard yards",
        "mg": "mg milligram milligrams milligramme milligrammes milligramm",
        "g": "g gr gram grams gramme grammes gramm",
        "kg": "kg kgs kilo kilos kilogram kilograms kilogramme kilogrammes kilogramm",
        "oz": "oz ounce ounces unze unzen",
        "lb": "lb lbs pound pounds",
    }.items()
    for word in words.casefold().split()
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
    r"(?P<whole>[1-9][0-9]{0,2}(?P<group>[., ])[0-9]{3}(?:(?P=group)[0-9]{3})*|[0-9]*)"
    r"(?:(?P<point>[.,])(?P<fraction>[0-9]+))?"
)
# Groups never begin with 0, so that 0.500 and 0,500 have one reading.
_LONE_SEPARATOR_THREE_DIGITS = re.compile(r"(?P<before>[1-9][0-9]*)[.,](?P<after>[0-9]{3})")
_QUANTITY = re.compile(r"(?P<number>.*?) ?(?P<unit>[^\W\d_]+\.?|''|[\"″”'′’])?")
# One part of "5 ft 6 in" or "1 m 20 cm".
_PART = re.compile(
    r"(?P<number>[0-9][0-9.,/ ]*?) ?(?P<unit>[^\W\d_]+\.?|''|[\"″”'′’])(?: |,|(?=[0-9])|$)[ ]*"
)
_FRACTION = re.compile(r"(?:(?P<whole>[0-9]+)(?: | ?\+ ?))?(?P<over>[0-9]+) ?/ ?(?P<under>[0-9]+)")
# The apostrophe groups by threes: 1'500, as in Switzerland. A foot sign ends a number; this one stands in it.
_APOSTROPHE_GROUPS = re.compile(r"(?<![0-9.,'’])([0-9]{1,3})((?:['’][0-9]{3})+)(?![0-9'’])")
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


class TooSmall(WorkshopError):
    """The quantity is above zero, but less than the smallest unit that is kept."""


class AmbiguousNumber(WorkshopError):
    """The separator may group thousands or mark the decimal; ``readings`` holds both numbers."""

    def __init__(self, *, typed: str, grouped: Decimal, decimal: Decimal) -> None:
        self.readings = (grouped, decimal)
        plain = f"{decimal.normalize():f}"
        # Typed with three decimals it would only be asked about again.
        safe = f"{plain}0" if _LONE_SEPARATOR_THREE_DIGITS.fullmatch(plain) else plain
        super().__init__(
            _("{typed} could be {grouped} or {decimal}. Type {grouped}, or type {safe}.").format(
                typed=typed,
                grouped=f"{grouped:f}",
                decimal=as_written_here(plain),
                safe=as_written_here(safe),
            )
        )


def parse_decimal(text: str) -> Decimal:
    """Return the number, zero or above, that a person typed.

    One separator is the decimal; two kinds are grouping and decimal; one kind repeated, or a space, groups
    by threes, and so does an apostrophe. A lone separator before exactly three digits has two readings and raises
    AmbiguousNumber, unless a 0 or nothing stands before it. Fractions are read as people write them: ½, 12 1/2.
    Anything else raises NotANumber, and a minus sign raises NegativeNumber.

    >>> parse_decimal("12,5"), parse_decimal("1.234,5"), parse_decimal("1,234,567")
    (Decimal('12.5'), Decimal('1234.5'), Decimal('1234567'))
    >>> parse_decimal("12 1/2"), parse_decimal("0,500"), parse_decimal("1'500")
    (Decimal('12.5'), Decimal('0.500'), Decimal('1500'))
    >>> parse_decimal("1,500")
    Traceback (most recent call last):
    inventory.compute.lengths.AmbiguousNumber: 1,500 could be 1500 or 1.5. Type 1500, or type 1.5.
    """
    typed = _tidy(text)
    if typed.startswith(_MINUS_SIGNS):
        raise NegativeNumber(
            _("{typed} is below zero. Type a number that is zero or more.").format(typed=typed)
        )
    if fraction := _FRACTION.fullmatch(typed):
        if int(fraction["under"]) == 0:
            raise NotANumber(_("{typed} divides by zero. Type it like 1/2.").format(typed=typed))
        return int(fraction["whole"] or 0) + Decimal(int(fraction["over"])) / Decimal(int(fraction["under"]))
    if lone := _LONE_SEPARATOR_THREE_DIGITS.fullmatch(typed):
        before, after = lone["before"], lone["after"]
        raise AmbiguousNumber(
            typed=typed, grouped=Decimal(int(before + after)), decimal=Decimal(f"{before}.{after}")
        )
    number = _NUMBER.fullmatch(typed)
    if number is None or (number["group"] and number["group"] == number["point"]):
        raise NotANumber(_('"{typed}" is not a number. Type it like 12 or 12.5.').format(typed=typed))
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
        raise TooLarge(
            _("{text} is more than {most} pieces. Check the number.").format(
                text=_tidy(text), most=figure(_LARGEST_COUNT)
            )
        )
    if number != int(number):
        raise NotWhole(
            _("{text} is not a whole number. Type how many pieces there are.").format(text=_tidy(text))
        )
    return int(number)


def parse_length(text: str, *, unit: str = "m") -> int:
    """Return the length that a person typed, in whole mm; ``unit`` is meant where none is typed.

    Units in words or symbols and any case: mm, cm, m, km, in, ft, yd; several of them add up, the larger first. More
    than 1,000 km raises TooLarge, and more than nothing but less than half a mm TooSmall.

    >>> parse_length("12,5 m"), parse_length("15 yd"), parse_length("8", unit="in")
    (12500, 13716, 203)
    >>> parse_length("½ yd"), parse_length("5 ft 6 in"), parse_length("1 m 20 cm"), parse_length("1'500 m")
    (457, 1676, 1200, 1500000)
    """
    return _parse_quantity(text, unit=unit, sizes=_MM_IN, largest=_LONGEST_LENGTH)


def exact_length(text: str, *, unit: str) -> Decimal:
    """Return the length that a person typed in mm, by the rules of ``parse_length`` but not rounded.

    >>> exact_length("0.04", unit="in"), exact_length("1/2 cm", unit="mm")
    (Decimal('1.016'), Decimal('5.0'))
    """
    return _exact(text, unit=unit, sizes=_MM_IN, largest=_LONGEST_LENGTH)


def exact_weight(text: str, *, unit: str) -> Decimal:
    """Return the weight that a person typed in mg, by the rules of ``parse_weight`` but not rounded."""
    return _exact(text, unit=unit, sizes=_MG_IN, largest=_HEAVIEST_WEIGHT)


def parse_weight(text: str, *, unit: str = "g") -> int:
    """Return the weight that a person typed, in whole mg; ``unit`` is meant where none is typed.

    Units in words or symbols and any case: mg, g, kg, oz, lb. More than 1,000 kg raises TooLarge.

    >>> parse_weight("152.4"), parse_weight("1,25 kg"), parse_weight("4 oz")
    (152400, 1250000, 113398)
    """
    return _parse_quantity(text, unit=unit, sizes=_MG_IN, largest=_HEAVIEST_WEIGHT)


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


def format_length(mm: int | float, *, unit: str, places: int | None = None, grouped: bool = True) -> str:
    """Return a length in mm as text in ``unit`` as the reader writes it, which ``parse_length`` reads back.

    ``places`` defaults to what suits the unit. Thousands are ``grouped`` only where decimals follow: a whole
    number such as "1,500" would be asked about when typed back, and so would "1.500" with three places;
    exact metres therefore want four.

    >>> format_length(1_234_500, unit="m"), format_length(1_500_000, unit="m", places=0)
    ('1,234.5 m', '1500 m')
    >>> format_length(203, unit="in"), format_length(1_234, unit="m", places=4)
    ('7.99 in', '1.2340 m')
    """
    return _format_quantity(mm, unit=unit, sizes=_MM_IN, places=places, grouped=grouped)


def told_length(mm: int | float, *, unit: str) -> str:
    """Return a length as it stands in a sentence, to be read and not typed: whole units from ten on.

    >>> told_length(1_866_400, unit="m"), told_length(4_230, unit="m"), told_length(30_000, unit="yd")
    ('1,866 m', '4.2 m', '33 yd')
    """
    symbol = _symbol(unit, sizes=_MM_IN)
    number = float(_rounded(Decimal(str(mm)) / _MM_IN[symbol], 1))
    return format_length(mm, unit=unit, places=1) if abs(number) < 10 else f"{figure(number)} {unit}"


def format_weight(mg: int | float, *, unit: str, places: int | None = None, grouped: bool = True) -> str:
    """Return a weight in mg as text in ``unit``, written as ``format_length`` writes a length.

    >>> format_weight(152_400, unit="g"), format_weight(113_398, unit="oz")
    ('152.4 g', '4.00 oz')
    """
    return _format_quantity(mg, unit=unit, sizes=_MG_IN, places=places, grouped=grouped)


def _tidy(text: str) -> str:
    """Return ``text`` with one plain space for every run of them, plain digits and fractions, or raise NotANumber."""
    plain = "".join(_plain_sign(each) for each in text)
    tidy = " ".join(plain.replace("⁄", "/").split())
    tidy = _APOSTROPHE_GROUPS.sub(lambda found: re.sub(r"['’]", "", found[0]), tidy)
    if not tidy:
        raise NotANumber(_("Nothing was typed. Type a number like 12 or 12.5."))
    if len(tidy) > _LONGEST_TEXT:
        raise NotANumber(
            _('"{tidy}…" is too long for a number. Type it like 12 or 12.5.').format(
                tidy=tidy[:_LONGEST_TEXT]
            )
        )
    return tidy


def _plain_sign(sign: str) -> str:
    """Return a full-width sign or a vulgar fraction in plain signs; signs of units stay as they are."""
    if "\uff00" <= sign <= "\uff5e":
        return unicodedata.normalize("NFKC", sign)
    # A vulgar fraction is written with a fraction slash, and stands apart from the whole before it.
    plain = unicodedata.normalize("NFKC", sign) if unicodedata.category(sign) == "No" else sign
    return f" {plain} " if "⁄" in plain else sign


def _symbol(unit: str, *, sizes: Mapping[str, Decimal]) -> str:
    symbol = _SYMBOL_OF.get(unit.casefold().removesuffix("."), "")
    if symbol not in sizes:
        raise UnknownUnit(
            _('"{unit}" is not a unit used here. Use {names}.').format(unit=unit, names=", ".join(sizes))
        )
    return symbol


def _parse_quantity(text: str, *, unit: str, sizes: Mapping[str, Decimal], largest: Decimal) -> int:
    amount = _exact(text, unit=unit, sizes=sizes, largest=largest)
    whole = int(amount.to_integral_value(ROUND_HALF_UP))
    if amount > 0 and not whole:
        raise TooSmall(
            _("{typed} is less than anything that is kept here. Check the number and its unit.").format(
                typed=_tidy(text)
            )
        )
    return whole


def _exact(text: str, *, unit: str, sizes: Mapping[str, Decimal], largest: Decimal) -> Decimal:
    number, size = _number_and_size(text, unit=unit, sizes=sizes)
    amount = number * size
    if amount > largest:
        raise TooLarge(
            _("{typed} is more than {limit}. Check the number and its unit.").format(
                typed=_tidy(text), limit=_limit(largest, size, sizes)
            )
        )
    return amount


def _limit(largest: Decimal, size: Decimal, sizes: Mapping[str, Decimal]) -> str:
    """Return the most that is taken, in the system of units that was typed."""
    alike = (each for each in sizes if _is_metric(sizes[each]) == _is_metric(size))
    symbol = max(alike, key=sizes.__getitem__)
    return f"{figure(largest / sizes[symbol])} {symbol}"


def _is_metric(size: Decimal) -> bool:
    return size.normalize().as_tuple().digits == (1,)


def _number_and_size(text: str, *, unit: str, sizes: Mapping[str, Decimal]) -> tuple[Decimal, Decimal]:
    """Return the number that was typed, with its decimals as typed, and what one of its unit is."""
    typed = _tidy(text)
    if parts := _parts(typed):
        return _added_up(typed, parts, sizes=sizes)
    quantity = _QUANTITY.fullmatch(typed)
    if quantity is None or not quantity["number"]:
        raise NotANumber(
            _('"{typed}" has no number in it. Type a number and a unit like 12.5 {unit}.').format(
                typed=typed, unit=unit
            )
        )
    number = parse_decimal(quantity["number"])
    return number, sizes[_symbol(quantity["unit"] or unit, sizes=sizes)]


def _parts(typed: str) -> list[tuple[str, str]]:
    """Return number and unit of each of several parts, such as 5 ft 6 in; nothing where there is but one."""
    found, at = [], 0
    while at < len(typed):
        part = _PART.match(typed, at)
        if part is None or part["unit"].casefold().removesuffix(".") not in _SYMBOL_OF:
            return []
        found.append((part["number"], part["unit"]))
        at = part.end()
    return found if len(found) > 1 else []


def _added_up(
    typed: str, parts: list[tuple[str, str]], *, sizes: Mapping[str, Decimal]
) -> tuple[Decimal, Decimal]:
    """Return all parts in the unit of the last one, with its decimals as typed, and what one of that unit is."""
    total, size, number = Decimal(0), Decimal("Infinity"), Decimal(0)
    for text, unit in parts:
        before, size, number = size, sizes[_symbol(unit, sizes=sizes)], parse_decimal(text)
        example = "1 m 20 cm" if _is_metric(size) else "5 ft 6 in"
        if size >= before or number * size >= before:
            raise NotANumber(
                _('"{typed}" does not go from large to small. Type it like {example}.').format(
                    typed=typed, example=example
                )
            )
        if total and total % before:
            raise NotANumber(
                _('"{typed}" has a fraction before its smaller unit. Type it like {example}.').format(
                    typed=typed, example=example
                )
            )
        total += number * size
    return ((total - number * size) / size).to_integral_value() + number, size


def _format_quantity(
    amount: int | float, *, unit: str, sizes: Mapping[str, Decimal], places: int | None, grouped: bool
) -> str:
    symbol = _symbol(unit, sizes=sizes)
    exact = Decimal(str(amount))
    if not exact.is_finite():
        raise NotANumber(
            _("{amount} cannot be written as a quantity in {symbol}.").format(amount=amount, symbol=symbol)
        )
    shown_places = _PLACES[symbol] if places is None else places
    shown = _rounded(exact / sizes[symbol], shown_places)
    return f"{as_written_here(f'{shown:,f}' if shown_places and grouped else f'{shown:f}')} {symbol}"


def _rounded(number: Decimal, places: int) -> Decimal:
    # Adding zero turns a rounded "-0.0" into "0.0".
    return number.quantize(Decimal(1).scaleb(-places), ROUND_HALF_UP) + 0
