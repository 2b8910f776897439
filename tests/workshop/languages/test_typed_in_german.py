"""What people type in German is understood where German is the language of the page, and nothing else changes."""

from datetime import date

import pytest
from django.utils import translation

from inventory.compute.errors import WorkshopError
from inventory.compute.lengths import AmbiguousNumber, format_length, parse_decimal, parse_length, told_length
from inventory.compute.names.fullness import fullness_of, level_called
from inventory.compute.names.plain import colour_of_name, has_colour_word, is_colour_word
from inventory.compute.spoken import figure, said_again
from inventory.compute.typed.days import read_day

SATURDAY = date(2026, 11, 28)


@pytest.fixture
def german():
    with translation.override("de"):
        yield


@pytest.mark.parametrize(
    ("typed", "day"),
    [
        ("27. Nov", date(2027, 11, 27)),
        ("27.11.2026", date(2026, 11, 27)),
        ("Fr 27. Nov 2026", date(2026, 11, 27)),
        ("Mittwoch, 2. Dez.", date(2026, 12, 2)),
        ("5. März", date(2027, 3, 5)),
        ("heute", SATURDAY),
        ("morgen", date(2026, 11, 29)),
        ("übermorgen", date(2026, 11, 30)),
        ("am Freitag", date(2026, 12, 4)),
        ("in einer Woche", date(2026, 12, 5)),
        ("in 3 Tagen", date(2026, 12, 1)),
        ("4 Dec", date(2026, 12, 4)),
        ("tomorrow", date(2026, 11, 29)),
    ],
)
def test_days_in_german(german, typed, day):
    assert read_day(typed, today=SATURDAY) == day


@pytest.mark.parametrize("typed", ["morgen", "heute", "5. März", "in 3 Tagen", "di", "Fr 27. Nov 2026"])
def test_german_days_are_no_english_ones(typed):
    with pytest.raises(WorkshopError):
        read_day(typed, today=SATURDAY)


def test_numbers_and_units_in_german(german):
    assert parse_length("2,5 m") == 2_500
    assert parse_length("1.234,5") == 1_234_500
    assert parse_length("3 Zoll") == 76
    assert parse_length("12 Meter") == 12_000
    with pytest.raises(AmbiguousNumber) as asked:
        parse_decimal("1.500")
    assert asked.value.readings == (1500, parse_decimal("1,5"))


@pytest.mark.parametrize("mm", [1, 203, 9_994, 12_345, 1_234_500, 999_999_999])
@pytest.mark.parametrize("unit", ["m", "cm", "yd", "in"])
def test_what_is_written_in_german_reads_back(german, mm, unit):
    written = format_length(mm, unit=unit, places=4)
    assert abs(parse_length(written) - mm) <= 1


def test_figures_are_written_as_the_reader_writes_them():
    with translation.override("de"):
        assert (figure(1234.5, 1), told_length(1_866_400, unit="m")) == ("1.234,5", "1.866 m")
        assert format_length(1_234_500, unit="m", grouped=False) == "1234,5 m"
    with translation.override("en-gb"):
        assert (figure(1234.5, 1), told_length(1_866_400, unit="m")) == ("1,234.5", "1,866 m")


@pytest.mark.parametrize(
    ("typed", "level"),
    [
        ("halb", "half"),
        ("Dreiviertel", "three quarters"),
        ("viertel", "quarter"),
        ("fast leer", "nearly empty"),
    ],
)
def test_fullness_in_german(german, typed, level):
    assert level_called(typed) == level
    assert fullness_of(typed) == fullness_of(level)


@pytest.mark.parametrize(
    ("typed", "name"),
    [
        ("dunkelblau", "dark blue"),
        ("hellgrün", "light green"),
        ("rot", "red"),
        ("kräftiges Rot", "strong red"),
        ("weiss", "white"),
        ("gelbgrün", "yellow green"),
    ],
)
def test_colours_in_german(german, typed, name):
    assert colour_of_name(typed) == colour_of_name(name) is not None
    assert all(is_colour_word(word) for word in typed.split())


def test_german_colours_are_words_of_german_alone():
    assert not is_colour_word("dunkelblau")
    assert colour_of_name("rot") is None
    with translation.override("de"):
        assert has_colour_word("dark greyish blue", "dunkelblau")
        assert not has_colour_word("light blue", "dunkelblau")
        assert not is_colour_word("hafen")


def test_a_kept_sentence_is_said_again(monkeypatch):
    sentence = "{some} of {all} stitches, {advice}"
    said = {sentence: "{some} von {all} Stichen, {advice}", "look": "hinsehen"}
    with translation.override("de"):
        monkeypatch.setattr("inventory.compute.spoken._", lambda text: said.get(text, text))
        text = "2 of 1,200.5 stitches, look"
        assert said_again(text, [sentence], parts=["look"]) == "2 von 1.200,5 Stichen, hinsehen"
        assert said_again("Quite another one.", [sentence]) == "Quite another one."
    assert said_again(text, [sentence], parts=["look"]) == text
