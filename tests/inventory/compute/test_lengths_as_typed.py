"""Lengths, weights and counts as people type them, and back."""

from decimal import Decimal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from inventory.compute.errors import WorkshopError
from inventory.compute.lengths import (
    AmbiguousNumber,
    NegativeNumber,
    NotANumber,
    NotWhole,
    TooLarge,
    TooSmall,
    UnknownUnit,
    format_length,
    format_weight,
    parse_count,
    parse_decimal,
    parse_length,
    parse_weight,
)

# International yard and pound (1959), exact: 1 yd = 914.4 mm, 1 lb = 453,592.37 mg.
MM_IN = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "km": 1e6, "in": 25.4, "ft": 304.8, "yd": 914.4}
MG_IN = {"mg": 1.0, "g": 1000.0, "kg": 1e6, "oz": 28349.523125, "lb": 453592.37}


@pytest.mark.parametrize(
    ("typed", "mm"),
    [
        ("12", 12_000),
        ("12.5 m", 12_500),
        ("12,5 m", 12_500),
        ("12,5m", 12_500),
        ("  12.5   M ", 12_500),
        ("12.5\u00a0m", 12_500),
        ("12.5\u202fm", 12_500),
        ("15 yd", 13_716),
        ("15 YARDS", 13_716),
        ("15 yds.", 13_716),
        ("30 cm", 300),
        ("30 Centimetres", 300),
        ("8 in", 203),
        ('8"', 203),
        ("8″", 203),
        ("8''", 203),
        ("8 inches", 203),
        ("250 mm", 250),
        ("250 millimeters", 250),
        ("3 ft", 914),
        ("3'", 914),
        ("3 Feet", 914),
        ("1.5 km", 1_500_000),
        ("5000 metres", 5_000_000),
        ("0", 0),
        (".5 m", 500),
        ("0,25 m", 250),
        ("1.234,5 m", 1_234_500),
        ("1,234.5 m", 1_234_500),
        ("1 234,5 m", 1_234_500),
        ("1\u202f234,5\u00a0m", 1_234_500),
        ("5 000 m", 5_000_000),
        ("1.234.567 mm", 1_234_567),
        ("1,234,567 mm", 1_234_567),
        ("1,234.567 m", 1_234_567),
        ("1.2345 m", 1_235),
        ("12.3454 m", 12_345),
        ("1000 km", 1_000_000_000),
        ("½ yd", 457),
        ("12 1/2 yd", 11_430),
        ("12½ yd", 11_430),
        ("1/2 in", 13),
        ("5 ft 6 in", 1_676),
        ("5'6\"", 1_676),
        ("5′ 6½″", 1_689),
        ("1 m 20 cm", 1_200),
        ("1m20cm", 1_200),
        ("2 km 300 m 5 cm", 2_300_050),
        ("1'500 m", 1_500_000),
        ("1’500,5 m", 1_500_500),
        ("1'234'567 mm", 1_234_567),
        ("１２．５ m", 12_500),
        ("１ ５００ ｍ", 1_500_000),
        # A 0 in front groups nothing, so that there is but one reading.
        ("0.500 m", 500),
        ("0,500", 500),
        (".250 m", 250),
        ("0.0006 m", 1),
    ],
)
def test_a_length_is_read_as_people_type_it(typed: str, mm: int) -> None:
    assert parse_length(typed) == mm


def test_a_number_without_a_unit_is_in_the_unit_of_the_field() -> None:
    assert parse_length("12", unit="yd") == 10_973
    assert parse_length("12", unit="in") == 305
    assert parse_length("12 cm", unit="in") == 120
    assert parse_weight("12", unit="oz") == 340_194


@pytest.mark.parametrize(
    ("typed", "grouped", "decimal"),
    [
        ("1.500", "1500", "1.5"),
        ("1,500", "1500", "1.5"),
        ("12,345", "12345", "12.345"),
        ("1234.567", "1234567", "1234.567"),
    ],
)
def test_a_lone_separator_before_three_digits_asks_which_number_is_meant(
    typed: str, grouped: str, decimal: str
) -> None:
    for text in (typed, f"{typed} m"):
        with pytest.raises(AmbiguousNumber) as asked:
            parse_length(text)
        assert f"{typed} could be {grouped} or {decimal}" in str(asked.value)
        assert asked.value.readings == (Decimal(grouped), Decimal(decimal))


def test_both_answers_that_the_question_offers_are_read_as_meant() -> None:
    for typed in ("1,500", "12.345", "1.001", "1.000"):
        with pytest.raises(AmbiguousNumber) as asked:
            parse_decimal(typed)
        first, second = str(asked.value).rstrip(".").split(". ")[-1].removeprefix("Type ").split(", or type ")
        assert (parse_decimal(first), parse_decimal(second)) == asked.value.readings


@pytest.mark.parametrize(
    ("typed", "error", "says"),
    [
        ("", NotANumber, "Nothing was typed"),
        (" \u00a0 ", NotANumber, "Nothing was typed"),
        ("-5 m", NegativeNumber, "below zero"),
        ("−5 m", NegativeNumber, "below zero"),
        ("nan", NotANumber, "nan"),
        ("NaN m", NotANumber, "NaN"),
        ("inf", NotANumber, "inf"),
        ("-inf", NegativeNumber, "below zero"),
        ("infinity m", NotANumber, "infinity"),
        ("m", NotANumber, "no number"),
        ("12 13 m", NotANumber, "not a number"),
        ("1e3 m", NotANumber, "not a number"),
        ("12.", NotANumber, "not a number"),
        ("1.2.3", NotANumber, "not a number"),
        ("1.234.5", NotANumber, "not a number"),
        ("12,34.5", NotANumber, "not a number"),
        ("1,234.567,8", NotANumber, "not a number"),
        ("1.234 567", NotANumber, "not a number"),
        ("5 0000 m", NotANumber, "not a number"),
        ("1_000", NotANumber, "not a number"),
        ("1/0 in", NotANumber, "divides by zero"),
        ("3 in 5 ft", NotANumber, "from large to small"),
        ("1 m 200 cm", NotANumber, "from large to small"),
        ("1.5 m 20 cm", NotANumber, "a fraction before its smaller unit"),
        ("5 ft 3", NotANumber, "not a number"),
        ("1'50 m", NotANumber, "from large to small"),
        ("0.0004 m", TooSmall, "less than anything"),
        ("²", NotANumber, "no number"),
        ("٣ m", NotANumber, "not a number"),
        ("9" * 400, NotANumber, "too long"),
        ("12 cubits", UnknownUnit, "cubits"),
        ("12 g", UnknownUnit, "Use mm, cm, m, km, in, ft, yd"),
        ("1000.1 km", TooLarge, "more than 1,000 km"),
        ("99999999999999999999999999999999999999 m", TooLarge, "more than 1,000 km"),
    ],
)
def test_what_is_no_length_is_refused_in_words(typed: str, error: type[WorkshopError], says: str) -> None:
    with pytest.raises(error) as refused:
        parse_length(typed)
    assert says in str(refused.value)


@given(st.text(max_size=60))
def test_any_text_is_a_length_a_shelf_can_hold_or_is_refused_in_words(text: str) -> None:
    try:
        mm = parse_length(text)
    except WorkshopError:
        return
    assert 0 <= mm <= 1_000_000_000


@given(
    st.from_regex(r"[0-9]{1,12}", fullmatch=True),
    st.sampled_from(".,"),
    st.from_regex(r"[0-9]{1,6}", fullmatch=True),
)
def test_one_separator_is_the_decimal_unless_three_digits_follow(
    whole: str, point: str, fraction: str
) -> None:
    typed = f"{whole}{point}{fraction}"
    if len(fraction) == 3 and not whole.startswith("0"):
        with pytest.raises(AmbiguousNumber):
            parse_decimal(typed)
    else:
        assert parse_decimal(typed) == Decimal(f"{whole}.{fraction}")


@given(
    st.integers(min_value=1000, max_value=10**15),
    st.sampled_from(list(".,\u00a0\u202f ")),
    st.sampled_from(".,"),
    st.from_regex(r"[0-9]{1,6}", fullmatch=True),
)
def test_two_kinds_of_separator_are_grouping_and_decimal(
    number: int, group: str, point: str, fraction: str
) -> None:
    assume(group != point)
    typed = f"{number:,}".replace(",", group) + point + fraction
    assert parse_decimal(typed) == Decimal(f"{number}.{fraction}")


@given(st.integers(min_value=10**6, max_value=10**15), st.sampled_from(list(".,\u00a0\u202f ")))
def test_a_repeated_separator_groups(number: int, group: str) -> None:
    assert parse_decimal(f"{number:,}".replace(",", group)) == number


@given(st.integers(min_value=0, max_value=10**9), st.sampled_from(["m", "yd", "cm", "in", "mm"]))
def test_a_length_written_in_full_reads_back_to_the_millimetre(mm: int, unit: str) -> None:
    places = {"m": 4, "yd": 4, "cm": 1, "in": 2, "mm": 0}[unit]
    assert parse_length(format_length(mm, unit=unit, places=places)) == mm


@given(
    st.integers(min_value=0, max_value=999_000_000),
    st.sampled_from(sorted(MM_IN)),
    st.sampled_from([None, 0, 1, 2, 4]),
)
def test_a_length_as_shown_reads_back_within_half_of_its_last_place(
    mm: int, unit: str, places: int | None
) -> None:
    shown = format_length(mm, unit=unit, places=places)
    decimals = len(shown.split()[0].partition(".")[2])
    half_a_place_mm = MM_IN[unit] * 10**-decimals / 2
    assert abs(parse_length(shown) - mm) <= half_a_place_mm + 0.5


@given(st.integers(min_value=0, max_value=999_000_000), st.sampled_from(sorted(MG_IN)))
def test_a_weight_as_shown_reads_back_within_half_of_its_last_place(mg: int, unit: str) -> None:
    shown = format_weight(mg, unit=unit)
    decimals = len(shown.split()[0].partition(".")[2])
    half_a_place_mg = MG_IN[unit] * 10**-decimals / 2
    assert abs(parse_weight(shown) - mg) <= half_a_place_mg + 0.5


@pytest.mark.parametrize(
    ("mm", "unit", "places", "shown"),
    [
        (1_234_500, "m", None, "1,234.5 m"),
        (1_234_567_890, "m", 2, "1,234,567.89 m"),
        (5_000_000, "m", 0, "5000 m"),
        (13_716, "yd", None, "15.0 yd"),
        (300, "cm", None, "30.0 cm"),
        (203, "in", None, "7.99 in"),
        (250, "mm", None, "250 mm"),
        (250.5, "mm", None, "251 mm"),
        (12_250, "m", None, "12.3 m"),
        (-3_200, "m", None, "-3.2 m"),
        (-40, "m", None, "0.0 m"),
        (0, "m", None, "0.0 m"),
        (1_000, "metres", None, "1.0 m"),
    ],
)
def test_a_length_is_shown_with_places_that_suit_its_unit(
    mm: float, unit: str, places: int | None, shown: str
) -> None:
    assert format_length(mm, unit=unit, places=places) == shown


def test_an_unknown_estimate_is_not_shown_as_a_length() -> None:
    for mm in (float("nan"), float("inf")):
        with pytest.raises(NotANumber, match="cannot be written"):
            format_length(mm, unit="m")


def test_a_length_is_not_shown_in_a_unit_of_weight() -> None:
    with pytest.raises(UnknownUnit, match='"kg"'):
        format_length(1_000, unit="kg")


@pytest.mark.parametrize(
    ("typed", "mg"),
    [
        ("152.4", 152_400),
        ("152,4 g", 152_400),
        ("0.15 KG", 150_000),
        ("1,25 kg", 1_250_000),
        ("4 oz", 113_398),
        ("1 lb", 453_592),
        ("2 lbs", 907_185),
        ("500 mg", 500),
        ("1 kilo", 1_000_000),
    ],
)
def test_a_weight_is_read_as_people_type_it(typed: str, mg: int) -> None:
    assert parse_weight(typed) == mg


def test_a_weight_no_scale_of_a_workshop_shows_is_refused() -> None:
    with pytest.raises(TooLarge, match="1,000 kg"):
        parse_weight("1001 kg")
    with pytest.raises(UnknownUnit, match="Use mg, g, kg, oz, lb"):
        parse_weight("12 m")


def test_a_count_is_a_whole_number_of_pieces() -> None:
    assert parse_count("24") == 24
    assert parse_count("24,0") == 24
    assert parse_count("1 000 000") == 1_000_000
    with pytest.raises(NotWhole, match=r"2\.5"):
        parse_count("2.5")
    with pytest.raises(AmbiguousNumber):
        parse_count("1,200")
    with pytest.raises(NegativeNumber):
        parse_count("-1")
    with pytest.raises(TooLarge, match="1,000,000 pieces"):
        parse_count("1000001")
