"""What a person finds on the shelf, typed in one line, set right by the act that suits it."""

import pytest

from inventory import ledger
from inventory.compute.lengths import AmbiguousNumber, NotWhole, ScaleReading, UnknownUnit
from inventory.compute.units import IMPERIAL
from inventory.models import StockItem
from inventory.shelf.counts import Found, NotAFinding, count_item, found_as_typed, note_found
from tests.factories import NOW, a_key, a_roll, a_spool, some_bobbins

pytestmark = pytest.mark.django_db


def act(**particulars):
    return {"key": a_key(), "at": NOW, "by": None} | particulars


def held(item):
    return StockItem.objects.get(pk=item.pk)


@pytest.mark.parametrize(
    ("typed", "found"),
    [
        ("350 m", Found(quantity=350_000)),
        ("350", Found(quantity=350_000)),
        ("12,5 m", Found(quantity=12_500)),
        ("25.5 g", Found(gross=ScaleReading(25_500, resolution_mg=100))),
        ("Three  Quarters", Found(level="three quarters")),
        ("?", Found()),
        ("0", Found(quantity=0)),
    ],
)
def test_what_is_typed_for_a_spool_says_how_it_is_known(typed, found):
    assert found_as_typed(typed, item=a_spool()) == found


def test_a_number_alone_is_in_the_persons_own_unit():
    assert found_as_typed("10", item=a_spool(), units=IMPERIAL) == Found(quantity=9_144)


def test_bobbins_are_counted_and_a_roll_is_measured():
    assert found_as_typed("18", item=some_bobbins()) == Found(quantity=18)
    assert found_as_typed("850 cm", item=a_roll()) == Found(quantity=8_500)


def test_what_has_two_readings_is_asked_about():
    with pytest.raises(AmbiguousNumber):
        found_as_typed("1.500", item=a_spool())
    with pytest.raises(NotWhole):
        found_as_typed("2.5", item=some_bobbins())
    with pytest.raises(UnknownUnit):
        found_as_typed("85 g", item=a_roll())


def test_a_finding_says_one_thing():
    with pytest.raises(NotAFinding):
        Found(quantity=5, level="half")


@pytest.mark.parametrize(
    ("found", "on_hand", "known"),
    [
        (Found(quantity=350_000), 350_000, "counted"),
        (Found(gross=ScaleReading(25_500, resolution_mg=100)), 500_000, "weighed"),
        (Found(level="half"), 500_000, "judged"),
        (Found(), 1_000_000, "unknown"),
    ],
)
def test_a_finding_is_set_right_by_the_act_that_suits_it(found, on_hand, known):
    spool = a_spool()
    note_found(spool, found, **act())
    assert (held(spool).on_hand, held(spool).known) == (on_hand, known)


def test_what_is_counted_is_certain_and_what_is_measured_nearly_so():
    batch, roll = some_bobbins(count=20), a_roll(metres=10)
    count_item(batch, quantity=18, **act())
    count_item(roll, quantity=8_000, **act())
    assert (held(batch).on_hand, held(batch).sigma) == (18, 0.0)
    assert (held(roll).on_hand, held(roll).sigma) == (8_000, 160.0)
    assert ledger.ledger_problems() == []
