"""What was read once holds until somebody commits, and nothing is kept inside a transaction."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from django.db import connection, transaction
from django.utils.translation import get_language, override

from inventory.models import Place
from inventory.schema import unchanged
from inventory.schema.unchanged import MOST_KEPT, Watcher, version_now, while_unchanged
from tests.own_database import own_database, run_in

# Acts of each kind, each in a process that has a connection of its own; it says what was read before and after.
LOOKS = """
import django
django.setup()
from django.db import connection, transaction
from inventory.models import Place
from inventory.schema.unchanged import version_now, while_unchanged

def names():
    return while_unchanged("names", lambda: sorted(Place.objects.values_list("name", flat=True)))

connection.ensure_connection()  # the first one of all changes how the file is written
assert version_now() is not None
first = names()
assert names() is first  # nothing was read again
Place.objects.create(name="by this connection")
assert names() == ["by this connection"], names()
with transaction.atomic():
    Place.objects.create(name="taken back")
    assert version_now() is None
    assert len(names()) == 2
    transaction.set_rollback(True)
assert names() == ["by this connection"], names()
connection.close()  # as at the end of a request
again = names()
assert names() is again
with transaction.atomic():
    Place.objects.filter(name="by this connection").update(name="changed in a transaction")
assert names() == ["changed in a transaction"], names()
Place.objects.all().delete()
assert names() == []
print("as it is")
"""


@pytest.mark.django_db
def test_what_is_read_holds_until_it_is_changed_from_anywhere(tmp_path: Path) -> None:
    with own_database(tmp_path) as environment:
        assert run_in(environment, "-c", LOOKS).strip() == "as it is"


@pytest.mark.django_db
def test_inside_a_transaction_everything_is_read_again() -> None:
    with transaction.atomic():
        assert version_now() is None
        read: list[int] = []
        for _ in range(2):
            while_unchanged("places", lambda: read.append(Place.objects.count()))
        assert len(read) == 2


def test_a_watcher_sees_commits_of_others_and_nothing_else(tmp_path: Path) -> None:
    path = tmp_path / "some.sqlite3"
    with closing(sqlite3.connect(path, isolation_level=None)) as one:
        one.execute("PRAGMA journal_mode=WAL")
        one.execute("CREATE TABLE t (x)")
        watcher = Watcher(path)
        before = watcher.version()
        one.execute("SELECT * FROM t").fetchall()
        assert watcher.version() == before
        one.execute("BEGIN")
        one.execute("INSERT INTO t VALUES (1)")
        assert watcher.version() == before  # nobody else sees it yet
        one.execute("ROLLBACK")
        assert watcher.version() == before
        one.execute("INSERT INTO t VALUES (1)")
        assert watcher.version() != before
    assert watcher.is_of_now
    path.rename(tmp_path / "before")
    sqlite3.connect(path).close()
    path.touch()
    assert not watcher.is_of_now  # another file lies there: one that was put back
    watcher.close()


def test_only_so_much_is_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(unchanged, "version_now", lambda: "one and the same")
    monkeypatch.setattr(unchanged, "_kept", unchanged._Kept())
    for number in range(3 * MOST_KEPT):
        assert while_unchanged(number, lambda number=number: number) == number
    assert len(unchanged._kept.answers) == MOST_KEPT


def test_what_was_read_holds_for_its_language_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(unchanged, "version_now", lambda: "one and the same")
    monkeypatch.setattr(unchanged, "_kept", unchanged._Kept())
    for language in ("en-gb", "de", "en-gb", "de"):
        with override(language):
            assert while_unchanged("left out", get_language) == language
    assert len(unchanged._kept.answers) == 2


LETS_GO = """
import os
import django
django.setup()
from django.db import connection
from inventory.models import Place
from inventory.schema.unchanged import let_go, while_unchanged

def opened():
    links = [f"/proc/self/fd/{each}" for each in os.listdir("/proc/self/fd")]
    return [os.readlink(each) for each in links if os.path.exists(each) and ".sqlite3" in os.readlink(each)]

Place.objects.create(name="wall")
assert while_unchanged("places", Place.objects.count) == 1
connection.close()
there = str(connection.settings_dict["NAME"])
assert opened() and os.path.getsize(there + "-wal")
let_go()
assert opened() == [], opened()
assert while_unchanged("places", Place.objects.count) == 1
let_go()
connection.close()
print(os.path.exists(there + "-wal"))
"""


@pytest.mark.skipif(not Path("/proc/self/fd").is_dir(), reason="looks into what the process has open")
@pytest.mark.skipif(connection.vendor != "sqlite", reason="the file of a SQLite database")
@pytest.mark.django_db
def test_nothing_stays_open_once_it_was_let_go_and_the_log_is_brought_home(tmp_path: Path) -> None:
    with own_database(tmp_path) as environment:
        assert run_in(environment, "-c", LETS_GO).strip() == "False"
