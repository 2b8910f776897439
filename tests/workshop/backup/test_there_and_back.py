"""From SQLite to PostgreSQL and back to SQLite: the two files are equal, row by row and value by value.

They are compared by the database library itself, not by the program that moved them.
"""

import json
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from django.db import connection

from tests.own_database import own_database, run_in
from workshop.backup.moving import FILLED_BY_THEMSELVES

pytestmark = [
    pytest.mark.thorough,
    pytest.mark.database,
    pytest.mark.skipif(connection.vendor != "postgresql", reason="moves to PostgreSQL and back"),
]
# One thing of every kind, a job in every state, and acts that leave records of other kinds.
FILL = """
import django; django.setup()
from tests.workshop.storms.acts import ACTS, HOW, open_the_workshop
open_the_workshop()
for name in (
    "take a promise back", "finish with fabric and spray", "cut", "swap", "draft orders", "learn", "retire many",
    "weigh by a program", "find in a stocktake", "make two shades one", "land a list",
):
    HOW["key"] = f"act: {name}"
    ACTS[name]()
"""


def test_from_sqlite_to_a_server_and_back_nothing_is_another(tmp_path: Path, django_db_setup: None) -> None:
    places = [tmp_path / "first", tmp_path / "second"]
    for each in (*places, tmp_path / "server"):
        each.mkdir()
    with own_database(tmp_path / "server", empty=True) as server:
        there = server["DATABASE_URL"]
        first, second = (
            {
                **server,
                "DJANGO_SETTINGS_MODULE": "workshop.settings",
                "ENOUGH_THREAD_DATA": str(place),
                "DATABASE_URL": f"sqlite:///{place / 'all.sqlite3'}",
            }
            for place in places
        )
        run_in(first, "manage.py", "migrate", "--skip-checks", "--verbosity", "0")
        run_in(first, "-c", FILL)
        on_the_server = {**first, "DATABASE_URL": there}
        out = json.loads(run_in(first, "manage.py", "move_database", there, "--format", "json"))
        back = json.loads(
            run_in(on_the_server, "manage.py", "move_database", second["DATABASE_URL"], "--format", "json")
        )
        for environment in (on_the_server, second):
            assert "sound" in run_in(environment, "manage.py", "check_ledger")
    assert back["rows"] == out["rows"] > 500
    before, after = (everything(place / "all.sqlite3") for place in places)
    assert before.keys() == after.keys()
    assert {table: rows for table, rows in before.items() if rows != after[table]} == {}
    assert sum(len(rows) > 0 for rows in before.values()) > 50


def everything(path: Path) -> dict[str, list[dict[str, Any]]]:
    """Return all rows of all tables by their columns, and the highest numbers that were given out."""
    with closing(sqlite3.connect(path)) as database:
        tables = [
            name
            for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
            if name not in FILLED_BY_THEMSELVES
        ]
        return {table: _rows(database.execute(f'SELECT * FROM "{table}"')) for table in tables}


def _rows(found: sqlite3.Cursor) -> list[dict[str, Any]]:
    names = [column[0] for column in found.description]
    return sorted((dict(zip(names, map(_value, row), strict=True)) for row in found), key=repr)


def _value(value: Any) -> Any:
    """Return JSON as what it says: a server keeps its keys in another order."""
    if isinstance(value, str) and value[:1] in ("{", "["):
        return json.loads(value)
    return value
