"""Stitches are counted until the needle is due, and a needle changed leaves its pack."""

import pytest

from inventory.ledger import KeyUsedForAnother, NotEnough
from inventory.models import StockItem
from inventory.shelf.receipts import receive_needles
from planning.facts.needles import needle_changed, needle_due, note_stitches
from planning.models import Machine, NeedleNote
from tests.factories import NOW, a_delivery, a_key, a_spool

pytestmark = pytest.mark.django_db


def act(**particulars):
    return {"key": a_key(), "at": NOW, "by": None} | particulars


def a_machine(**particulars):
    return Machine.objects.create(name="harbour single", **particulars)


def needles(count=10):
    return receive_needles(system="130/705", size=75, count=count, delivery=a_delivery())


def left_in(pack):
    return StockItem.objects.get(pk=pack.pk).on_hand


def test_stitches_add_up():
    machine = a_machine()
    note_stitches(machine, stitches=12_000, **act())
    note_stitches(machine, stitches=8_500, **act())
    assert needle_due(machine).stitches == 20_500


def test_a_needle_is_due_when_its_life_is_over():
    machine = a_machine(needle_life_stitches=10_000)
    assert not note_stitches(machine, stitches=9_999, **act()).due
    due = note_stitches(machine, stitches=1, **act())
    assert (due.due, due.stitches_left) == (True, 0)


def test_a_needle_lives_about_eight_hours_of_stitching_unless_said_otherwise():
    machine = a_machine()
    hours = machine.needle_life_stitches / (machine.times.stitches_per_minute * machine.times.efficiency) / 60
    # Common practice, no source.
    assert hours == pytest.approx(8, rel=0.1)


def test_a_changed_needle_is_new_and_leaves_its_pack():
    machine, pack = a_machine(), needles()
    note_stitches(machine, stitches=12_000, **act())
    due = needle_changed(machine, pack=pack, **act())
    assert (due.stitches, left_in(pack)) == (0, 9)
    assert NeedleNote.objects.get(stitches=None).lasted_stitches == 12_000
    assert pack.entries.get(reason="use").reference == "needle of harbour single"


def test_a_needle_may_come_from_elsewhere():
    machine = a_machine()
    note_stitches(machine, stitches=12_000, **act())
    assert needle_changed(machine, **act()).stitches == 0


def test_the_same_note_sent_twice_counts_once():
    machine, pack = a_machine(), needles()
    stitched, changed = act(stitches=12_000), act(pack=pack, count=2)
    note_stitches(machine, **stitched)
    assert note_stitches(machine, **stitched).stitches == 12_000
    needle_changed(machine, **changed)
    note_stitches(machine, stitches=500, **act())
    assert needle_changed(machine, **changed).stitches == 500
    assert left_in(pack) == 8


def test_a_key_belongs_to_one_note():
    machine = a_machine()
    request = act()
    note_stitches(machine, stitches=12_000, **request)
    with pytest.raises(KeyUsedForAnother):
        note_stitches(machine, stitches=13_000, **request)
    with pytest.raises(KeyUsedForAnother):
        needle_changed(machine, **request)
    assert needle_due(machine).stitches == 12_000


def test_an_empty_pack_changes_no_needle():
    machine, pack = a_machine(), needles(count=1)
    note_stitches(machine, stitches=12_000, **act())
    with pytest.raises(NotEnough):
        needle_changed(machine, pack=pack, count=2, **act())
    assert (needle_due(machine).stitches, left_in(pack)) == (12_000, 1)


def test_a_needle_is_not_taken_from_a_spool():
    machine, spool = a_machine(), a_spool()
    with pytest.raises(ValueError, match=f"{spool.label} is no pack of needles"):
        needle_changed(machine, pack=spool, **act())


def test_fewer_than_no_stitches_are_refused():
    with pytest.raises(ValueError, match="below zero"):
        note_stitches(a_machine(), stitches=-1, **act())
