"""What a cell means: lengths, numbers, days, words; and what is asked rather than guessed."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from hypothesis import example, given
from hypothesis import strategies as st

from inventory.compute.lengths import parse_decimal
from inventory.files.importing.fields import (
    CellField,
    ColourCell,
    DayCell,
    MoneyCell,
    NumberCell,
    SigmaCell,
    TextCell,
    WholeCell,
    WordCell,
    YesNoCell,
    grams,
    metres,
)
from inventory.tables.cells import guarded, read_list, unguarded, written, written_list

LENGTH, WEIGHT = metres("Length."), grams("Weight.")
TEX = NumberCell("Tex.", low=0, high=1000, low_allowed=False)
LAB = NumberCell("a*.", low=-200, high=200)
MONEY, PIECES, DAY = MoneyCell("Price."), WholeCell("Pieces."), DayCell("Day.")
CODE = TextCell("Code.", longest=20)
KNOWN = WordCell("Known", choices=[("sealed", "sealed, as sold"), ("unknown", "not known")])
YES_NO = YesNoCell("Grain.")
SIGMA, COLOUR = SigmaCell("Sigma.", scale=1000), ColourCell("Colour.")


def refusal(field: CellField, value: object) -> str:
    with pytest.raises(ValidationError) as refused:
        field.clean(value)
    return " ".join(refused.value.messages)


@pytest.mark.parametrize(
    ("field", "cell", "value"),
    [
        (LENGTH, "12,5", 12_500),
        (LENGTH, "12.5", 12_500),
        (LENGTH, "1.234,5", 1_234_500),
        (LENGTH, "1,234.5", 1_234_500),
        (LENGTH, "1 500", 1_500_000),
        (LENGTH, "500 yd", 457_200),
        (LENGTH, Decimal("1.234"), 1_234),  # a workbook's number has one reading only
        (LENGTH, Decimal("0.1") + Decimal("0.2"), 300),
        (LENGTH, "0", 0),
        (WEIGHT, "12,5", 12_500),
        (TEX, "27", 27.0),
        (TEX, "16.667", 16.667),  # 16667 tex is no thread
        (LAB, "-18,55", -18.55),
        (LAB, "−3.125", -3.125),
        (LAB, Decimal("-3.125"), -3.125),
        (MONEY, "4,20", Decimal("4.20")),
        (PIECES, "24", 24),
        (PIECES, Decimal(24), 24),
        (SIGMA, "1.5", 1500.0),
        (CODE, Decimal(1147), "1147"),
        (CODE, "  0042 ", "0042"),
        (KNOWN, "Sealed, as sold", "sealed"),
        (KNOWN, "UNKNOWN", "unknown"),
        (YES_NO, "Yes", True),
        (YES_NO, False, False),
        (COLOUR, "1F4E79", "#1f4e79"),
        (DAY, date(2026, 1, 12), date(2026, 1, 12)),
        (DAY, "2026-01-12", date(2026, 1, 12)),
        (DAY, "2026-01-12T00:00:00", date(2026, 1, 12)),
        (DAY, "12.01.2026", date(2026, 1, 12)),
        (DAY, "12/31/2026", date(2026, 12, 31)),
        (DAY, "31/12/2026", date(2026, 12, 31)),
        (DAY, "4/4/2026", date(2026, 4, 4)),
        # ISO/IEC 29500-1, 18.17.4.1: in the 1900 date system day 1 is 1 January 1900, and the year 1900 is
        # taken for a leap year, so that day 46034 is 12 January 2026.
        (DAY, Decimal(46034), date(2026, 1, 12)),
        (DAY, Decimal("46034.75"), date(2026, 1, 12)),
        (DAY, "46034", date(2026, 1, 12)),
    ],
)
def test_a_cell_is_read(field, cell, value):
    assert field.clean(cell) == value


@pytest.mark.parametrize("field", [LENGTH, WEIGHT, TEX, PIECES, MONEY, DAY, YES_NO, SIGMA])
@pytest.mark.parametrize("cell", ["", "  ", "?", "unknown", None])
def test_a_cell_that_says_nothing_is_not_zero(field, cell):
    assert field.clean(cell) is None


@pytest.mark.parametrize(
    ("field", "cell", "says"),
    [
        (LENGTH, "1.500", "1.500 could be 1500 or 1.5. Type 1500, or type 1.5."),
        (LENGTH, "1,500", "1,500 could be 1500 or 1.5."),
        (LENGTH, "-5", "below zero"),
        (LENGTH, Decimal(-5), "below zero"),
        (LENGTH, "5 kg", '"kg" is not a unit used here'),
        (LENGTH, "lots", "no number"),
        (LENGTH, date(2026, 5, 12), "This cell holds a date, 2026-05-12"),
        (LENGTH, True, "yes or no"),
        (TEX, "0", "above 0"),
        (TEX, "1001", "at most 1000"),
        (LAB, "-201", "from -200 to 200"),
        (MONEY, "4.205", "4.205 could be 4205 or 4.205. Write the amount with two decimals."),
        (MONEY, "4.2055", "two decimals at most"),
        (PIECES, "2.5", "whole number"),
        (SIGMA, "-1", "below zero"),
        (CODE, "x" * 21, "21 characters are too many; 20 is the most"),
        (CODE, date(2026, 12, 3), "a code such as 3-12"),
        (KNOWN, "perhaps", "none of the words for it: sealed, unknown"),
        (YES_NO, "perhaps", "yes or no"),
        (COLOUR, "red", "not a colour"),
        (DAY, "03/04/2026", "could be 2026-04-03 or 2026-03-04"),
        (DAY, "2026-02-30", "no such day"),
        (DAY, "31/31/2026", "no such day"),
        (DAY, "12.01.26", "Type it like 2026-03-02"),
        (DAY, "1026-01-01", "The year 1026 cannot be right"),
        (DAY, Decimal(7), "is not a day"),
        (DAY, "soon", "is not a day"),
    ],
)
def test_a_cell_is_refused_in_words(field, cell, says):
    assert says in refusal(field, cell)


def test_a_day_may_count_from_1904():
    day = DayCell("Day.")
    day.days_from_1904 = True
    # The same day is 1462 less in the 1904 date system (ISO/IEC 29500-1, 18.17.4.1).
    assert day.clean(Decimal(46034 - 1462)) == date(2026, 1, 12)


@pytest.mark.parametrize(
    "text", ["=2+3", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "＝2", "＋2", "－2", "＠x"]
)
def test_what_could_run_is_written_as_text(text):
    assert guarded(text) == f"'{text}"


@given(st.text())
@example("'=1")
@example("''-1")
@example("'tis")
def test_a_guard_is_taken_off_exactly(text):
    assert unguarded(guarded(text)) == text
    assert not guarded(text).startswith(tuple("=+-@\t\r\n＝＋－＠"))


@given(st.decimals(min_value=0, max_value=10**9, allow_nan=False, allow_infinity=False, places=6))
@example(Decimal("1.500"))
@example(Decimal("1500"))
@example(Decimal("0.125"))
def test_a_written_number_is_read_back_without_a_question(number):
    assert parse_decimal(written(number)) == number


@given(st.lists(st.text(min_size=1).map(str.strip).filter(bool)))
def test_a_list_in_a_cell_is_read_back(texts: list[Any]) -> None:
    assert read_list(written_list(texts)) == tuple(texts)
