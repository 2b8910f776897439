"""The database that a storm rages in, kept as it is and put back in milliseconds, and what stands in it.

To be imported where Django is set up. Everything here is for a database that nobody else uses now.
"""

import shutil
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.db import connection, transaction

from inventory.schema.tables import Model
from tests.own_database import address_of, on_a_server
from workshop.backup.rows import all_models

Rows = dict[str, list[tuple[Any, ...]]]
# Written by whoever looks, and of no concern to a workshop.
PASSING = {"django_session", "workshop_requestcount"}
GONE_WITHIN_S = 20.0
_onlookers: list[Any] = []


def keep(name: str) -> None:
    """Keep the database under ``name``, to be put back later."""
    connection.close()
    _look_away()
    if connection.vendor == "sqlite":
        shutil.copyfile(_file(), _kept(name))
        return
    _alone()
    on_a_server(
        f'DROP DATABASE IF EXISTS "{_kept_there(name)}" WITH (FORCE)',
        f'CREATE DATABASE "{_kept_there(name)}" TEMPLATE "{_named()}"',
    )


def put_back(name: str) -> None:
    """Make the database what was kept under ``name``."""
    connection.close()
    _look_away()
    if connection.vendor == "sqlite":
        for ending in ("", "-wal", "-shm", "-journal"):
            _file().with_name(_file().name + ending).unlink(missing_ok=True)
        shutil.copyfile(_kept(name), _file())
        _file().chmod(0o600)
        return
    on_a_server(
        f'DROP DATABASE IF EXISTS "{_named()}" WITH (FORCE)',
        f'CREATE DATABASE "{_named()}" TEMPLATE "{_kept_there(name)}"',
    )


def put_rows_back(wanted: Rows, there: Rows, *, name: str) -> None:
    """Make the database what was kept under ``name``, which has the rows ``wanted``, quicker where only rows differ."""
    if connection.vendor == "sqlite":
        put_back(name)
        return
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")  # no trigger, no key stands in the way
        changed = [table for table, rows in wanted.items() if rows != there[table]]
        for table in changed:
            cursor.execute(f'DELETE FROM "{table}"')
        for table in changed:
            if wanted[table]:
                places = ", ".join(["%s"] * len(wanted[table][0]))
                cursor.executemany(f'INSERT INTO "{table}" VALUES ({places})', wanted[table])


def forget(name: str) -> None:
    """Throw away what was kept under ``name``."""
    _look_away()
    if connection.vendor == "sqlite":
        _kept(name).unlink(missing_ok=True)
    else:
        on_a_server(f'DROP DATABASE IF EXISTS "{_kept_there(name)}" WITH (FORCE)')


def settle() -> None:
    """Wait until a server has noticed the death of whoever it worked for: what was sent may still be carried out."""
    if connection.vendor == "postgresql":
        _alone()


def rows(like: "Known | None" = None) -> Rows:
    """Return every row of every table, in the order of their first columns.

    What is as in ``like`` is not asked for again: a server tells in one answer which tables those are.
    """
    tables = [table for table in map(_table, all_models()) if table not in PASSING]
    same = _tables_with(like.marks) if like and like.marks else set()
    with connection.cursor() as cursor:
        return {
            table: like.rows[table] if like and table in same else _rows(cursor, table) for table in tables
        }


@dataclass(frozen=True)
class Known:
    """The rows of a database, and on a server the mark of each table, by which it is known again."""

    rows: Rows
    marks: Mapping[str, str]


def known() -> Known:
    """Return what stands in the database now."""
    return Known(rows(), marks() if connection.vendor == "postgresql" else {})


def marks() -> dict[str, str]:
    """Return for each table of a server a sum over all that stands in it."""
    each = " UNION ALL ".join(
        f"SELECT '{table}', md5(coalesce(string_agg(t::text, '\n' ORDER BY t::text), '')) FROM \"{table}\" t"
        for table in map(_table, all_models())
        if table not in PASSING
    )
    return dict(_onlooker().execute(each, prepare=True).fetchall())


def _tables_with(those: Mapping[str, str]) -> set[str]:
    return {table for table, mark in marks().items() if those[table] == mark}


def _rows(cursor: Any, table: str) -> list[tuple[Any, ...]]:
    cursor.execute(f"SELECT * FROM {connection.ops.quote_name(table)}")
    return sorted(cursor.fetchall(), key=repr)


def _table(model: Model) -> str:
    return str(model._meta.db_table)


def numbers_given_out() -> dict[str, int]:
    """Return where PostgreSQL's counters stand, which no transaction takes back."""
    if connection.vendor != "postgresql":
        return {}
    with connection.cursor() as cursor:
        cursor.execute("SELECT sequencename, coalesce(last_value, 0) FROM pg_sequences")
        return dict(cursor.fetchall())


def give_out_again(numbers: dict[str, int]) -> None:
    """Set the counters back, so that the same act makes the same numbers."""
    if not numbers:
        return
    with connection.cursor() as cursor:
        each = [f"setval('\"{name}\"', {max(last, 1)}, {bool(last)})" for name, last in numbers.items()]
        cursor.execute(f"SELECT {', '.join(each)}")


def quick_look() -> list[str]:
    """Return what is wrong with the file of the database itself."""
    if connection.vendor != "sqlite":
        return []
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA quick_check(1)")
        (answer,) = cursor.fetchone()
    return [] if answer == "ok" else [f"the file is damaged: {answer}"]


def _onlooker() -> Any:
    """Return a line of its own that stays open from death to death, so that what is asked again is planned once."""
    import psycopg  # only where the storm rages on PostgreSQL

    if not _onlookers:
        _onlookers.append(psycopg.connect(address_of(_named()), autocommit=True))
    return _onlookers[0]


def _look_away() -> None:
    while _onlookers:
        _onlookers.pop().close()


def _alone() -> None:
    until = time.monotonic() + GONE_WITHIN_S
    ours = [line.info.backend_pid for line in (connection.connection, *_onlookers) if line]
    while on_a_server(
        f"SELECT 1 FROM pg_stat_activity WHERE datname = '{_named()}' AND pid <> ALL (ARRAY{[0, *ours]})"
    ):
        assert time.monotonic() < until, "somebody else is at the database"
        time.sleep(0.005)


def _file() -> Path:
    return Path(str(connection.settings_dict["NAME"]))


def _kept(name: str) -> Path:
    return _file().with_name(f"kept-{name}")


def _named() -> str:
    return str(connection.settings_dict["NAME"])


def _kept_there(name: str) -> str:
    return f"{_named()[:40]}_{name}"
