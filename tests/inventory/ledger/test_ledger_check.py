"""Every invariant of the ledger that somebody breaks behind its back is named."""

from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from django.db import connection

from inventory import ledger
from inventory.ledger.check import GUARDS, ledger_problems
from inventory.models import Entry, StockItem
from tests.factories import NOW, a_key, a_spool

pytestmark = pytest.mark.django_db


def act(**particulars):
    return {"key": a_key(), "at": NOW, "by": None} | particulars


@contextmanager
def unguarded(*names: str) -> Iterator[None]:
    """Carry out something that the constraints of these names on entries would refuse, then undo it all."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            # The table is not altered while foreign keys of this transaction wait to be checked.
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
            cursor.execute("ALTER TABLE inventory_entry DISABLE TRIGGER inventory_entry_for_good")
            for name in names:
                cursor.execute(f"ALTER TABLE inventory_entry DROP CONSTRAINT {name}")
        else:
            # SQLite keeps unique constraints inside the table, so that it is copied without them.
            cursor.execute("ALTER TABLE inventory_entry RENAME TO kept_entry")
            cursor.execute("CREATE TABLE inventory_entry AS SELECT * FROM kept_entry")
        yield


def test_a_sound_ledger_has_no_problems():
    spool = a_spool()
    ledger.use(spool, quantity=1000, **act())
    ledger.set_aside(spool, quantity=1000, holder="job 1", **act())
    assert ledger_problems() == []


def test_a_quantity_moved_behind_the_ledgers_back_is_named():
    spool = a_spool()
    StockItem.objects.filter(pk=spool.pk).update(on_hand=999_999)
    (problem,) = ledger_problems()
    assert problem.invariant == "on hand is the sum of entries"
    assert (problem.concerns, problem.found) == (spool.label, "999999 on hand, 1000000 entered")


def test_an_item_that_came_from_nowhere_is_named():
    item = StockItem.objects.create(label="GHOST", kind="spool", on_hand=5)
    (problem,) = ledger_problems()
    assert (problem.concerns, problem.found) == (item.label, "5 on hand, 0 entered")


def test_a_reservation_moved_behind_the_ledgers_back_is_named():
    spool = a_spool()
    StockItem.objects.filter(pk=spool.pk).update(reserved=10)
    (problem,) = ledger_problems()
    assert problem.invariant == "reserved is the sum of reservations"
    assert problem.concerns == spool.label


def test_what_left_the_shelf_with_something_on_it_is_named():
    spool = a_spool()
    StockItem.objects.filter(pk=spool.pk).update(retired_at=NOW)
    (problem,) = ledger_problems()
    assert problem.invariant == "what left the shelf holds nothing"
    assert problem.concerns == spool.label


def test_a_reversal_that_is_not_the_opposite_is_named():
    spool = a_spool()
    entry = ledger.use(spool, quantity=1000, **act())
    wrong = Entry.objects.create(
        item_id=spool.pk, quantity=999, reason="reverse", at=NOW, key=a_key(), reverses=entry
    )
    StockItem.objects.filter(pk=spool.pk).update(on_hand=999_999)
    (problem,) = ledger_problems()
    assert problem.invariant == "a reversal is the opposite of its entry"
    assert problem.concerns == str(wrong.pk)


def test_a_key_used_twice_is_named():
    spool = a_spool()
    ledger.use(spool, quantity=1000, **act(key="sent-twice"))
    with unguarded("key_used_once"):
        _copy_entry(key="sent-twice")
        StockItem.objects.filter(pk=spool.pk).update(on_hand=998_000)
        named = [problem for problem in ledger_problems() if problem.invariant == "a key is used once"]
    assert [(problem.concerns, problem.found) for problem in named] == [
        ("sent-twice", "line 0 is there 2 times")
    ]


def test_an_entry_reversed_twice_is_named():
    spool = a_spool()
    entry = ledger.use(spool, quantity=1000, **act())
    ledger.reverse(entry, **act(key="back"))
    with unguarded("inventory_entry_reverses_id_key"):
        _copy_entry(key="back", new_key="back again")
        StockItem.objects.filter(pk=spool.pk).update(on_hand=1_001_000)
        invariant = "an entry is reversed at most once"
        named = [problem for problem in ledger_problems() if problem.invariant == invariant]
    assert [(problem.concerns, problem.found) for problem in named] == [(str(entry.pk), "2 times")]


def test_a_dropped_trigger_is_named():
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("DROP TRIGGER inventory_entry_for_good ON inventory_entry")
            dropped = "inventory_entry_for_good"
        else:
            cursor.execute("DROP TRIGGER inventory_entry_no_delete")
            dropped = "inventory_entry_no_delete"
    (problem,) = ledger_problems()
    assert problem.invariant == "no entry is ever changed or deleted"
    assert problem.concerns == dropped


@pytest.mark.skipif(connection.vendor != "postgresql", reason="only PostgreSQL can switch a trigger off")
def test_a_trigger_switched_off_is_named():
    with connection.cursor() as cursor:
        cursor.execute("ALTER TABLE inventory_entry DISABLE TRIGGER inventory_entry_for_good")
    (problem,) = ledger_problems()
    assert problem.concerns == "inventory_entry_for_good"


def test_the_triggers_looked_for_are_those_the_migration_makes():
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal"
            if connection.vendor == "postgresql"
            else "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        )
        there = {name for (name,) in cursor.fetchall()}
    assert set(GUARDS[connection.vendor]) == there


def _copy_entry(*, key: str, new_key: str | None = None) -> None:
    columns = "item_id, quantity, reason, at, by_id, reference, line, reverses_id, sigma_before, known_before"
    with connection.cursor() as cursor:
        cursor.execute("SELECT MAX(id) + 1 FROM inventory_entry")
        (number,) = cursor.fetchone()
        cursor.execute(
            f"INSERT INTO inventory_entry (id, key, {columns}) SELECT %s, %s, {columns} "
            "FROM inventory_entry WHERE key = %s",
            [number, new_key or key, key],
        )
