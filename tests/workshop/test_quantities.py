"""Quantities read as people write them, in either system of units."""

import datetime
import doctest
from decimal import Decimal

import pytest
from django.conf import LazySettings
from django.template import Context, Template

from inventory.compute.spoken import NO_BREAK
from inventory.compute.units import IMPERIAL, METRIC, Units
from workshop.templatetags import quantities


def written(template: str, **values: object) -> str:
    """Return what a page says; that no line breaks within a quantity is a test of its own."""
    return Template(template).render(Context(values)).replace(NO_BREAK, " ")


def test_the_examples_in_the_filters_are_true() -> None:
    outcome = doctest.testmod(quantities)
    assert outcome.attempted >= 10
    assert outcome.failed == 0


@pytest.mark.parametrize(
    ("units", "text"),
    [
        (METRIC, "1,234.5 m and 1,234.5; 38.1 cm and 38.1; 113.4 g"),
        (IMPERIAL, "1,350.1 yd and 1,350.1; 15.00 in and 15.00; 4.00 oz"),
    ],
)
def test_a_quantity_is_written_in_the_persons_units_with_and_without_the_unit(
    units: Units, text: str
) -> None:
    # 1 yd = 0.9144 m, 1 in = 25.4 mm, 1 oz = 28.349523125 g: international yard and pound agreement, 1959.
    assert text == written(
        "{{ mm|thread_length:units }} and {{ mm|length_number:units }}; "
        "{{ side|size:units }} and {{ side|size_number:units }}; "
        "{{ mg|weight:units }}",
        units=units,
        mm=1_234_500,
        side=381,
        mg=113_398,
    )


def test_the_head_of_a_column_says_the_unit_and_keeps_its_word_at_hand() -> None:
    assert written("{{ units.length|unit_label }}", units=METRIC) == '<abbr title="metres">m</abbr>'
    assert written("{{ units.size|unit_label }}", units=IMPERIAL) == '<abbr title="inches">in</abbr>'


@pytest.mark.parametrize(
    "filter_", ["thread_length:units", "length_number:units", "size:units", "weight:units", "percent", "money:'EUR'",
                "minutes", "day"]
)  # fmt: skip
def test_what_is_not_known_is_a_dash(filter_: str) -> None:
    assert written("{{ value|" + filter_ + " }}", value=None, units=METRIC) == "–"


@pytest.mark.parametrize(
    ("share", "text"),
    [
        (0.0, "0 %"), (0.004, "under 1 %"), (0.5, "50 %"), (0.9499, "95 %"),
        (0.99, "99 %"), (0.9961, "over 99 %"), (1.0, "100 %"),
    ],
)  # fmt: skip
def test_a_share_never_claims_a_certainty_it_has_not(share: float, text: str) -> None:
    assert written("{{ share|percent }}", share=share) == text


@pytest.mark.parametrize(
    ("amount", "text"),
    [(Decimal("31.4"), "EUR 31.40"), (Decimal("1234567.891"), "EUR 1,234,567.89"), (Decimal(0), "EUR 0.00")],
)
def test_money_has_two_places_and_its_currency(amount: Decimal, text: str) -> None:
    assert written("{{ amount|money:'EUR' }}", amount=amount) == text


@pytest.mark.parametrize(
    ("duration", "text"),
    [(59.4, "59 min"), (59.6, "1 h"), (60, "1 h"), (61, "1 h 1 min"), (1505, "25 h 5 min")],
)
def test_a_duration_is_in_hours_and_minutes(duration: float, text: str) -> None:
    assert written("{{ duration|minutes }}", duration=duration) == text


def test_a_moment_is_the_day_it_falls_on_at_the_workshop(settings: LazySettings) -> None:
    late = datetime.datetime(2026, 11, 27, 23, 30, tzinfo=datetime.UTC)
    assert written("{{ moment|day }}", moment=late) == "Fri 27 Nov 2026"
    settings.TIME_ZONE = "Europe/Helsinki"
    assert written("{{ moment|day }}", moment=late) == "Sat 28 Nov 2026"
