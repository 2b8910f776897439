"""A database of its own for tests that need processes, crashes or a clock: fresh, with the site's own settings."""

import lzma
import os
import sqlite3
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager, nullcontext
from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import quote

from django.db import connection
from django.db.backends.base.base import BaseDatabaseWrapper

HOUSE = Path(__file__).resolve().parent.parent

DATABASE_FILE = "enough-thread.sqlite3"  # as the site names it

_migrated = sqlite3.connect(":memory:", check_same_thread=False)


def keep_as_migrated(tests_database: BaseDatabaseWrapper) -> None:
    """Keep a copy of ``tests_database``, migrated and with nothing in it yet, in place of migrating again.

    SQLite only: PostgreSQL copies no database that somebody is connected to.
    """
    if tests_database.vendor == "sqlite":
        with tests_database.cursor():  # connects
            tests_database.connection.backup(_migrated)


@contextmanager
def own_database(
    folder: Path, *, filled_from: str | None = None, migrated: bool = True, empty: bool = False
) -> Iterator[Mapping[str, str]]:
    """Give the environment of processes that share a new, migrated database, of the kind the tests run on.

    SQLite: a file in ``folder``. PostgreSQL: a database beside the tests' own, dropped at the end.
    ``filled_from`` names the database of an earlier commit in ``fixtures/upgrades`` to begin with; without
    ``migrated`` it is as that commit left it. ``empty`` has no tables at all.
    """
    if connection.vendor != "postgresql" and empty:
        yield _environment(folder)
        return
    if connection.vendor != "postgresql":
        yield _own_earlier_file(folder, filled_from, migrated) if filled_from else own_file(folder)
        return
    environment = _environment(folder)
    name = f"enough_own_{os.getpid()}_{folder.name}".replace("-", "_").lower()[:60]
    _on_the_server(f'CREATE DATABASE "{name}"')
    try:
        environment["DATABASE_URL"] = address_of(name)
        if filled_from:
            _on_the_server(_earlier(filled_from), database=name)
        if migrated and not empty:
            _migrate(environment)
        yield environment
    finally:
        _on_the_server(f'DROP DATABASE "{name}" WITH (FORCE)')


def own_file(folder: Path) -> dict[str, str]:
    """Return the environment of processes that share a new, migrated SQLite file in ``folder``.

    A copy of the tests' own database where there is one of that kind, which is quicker than migrating.
    """
    environment = _environment(folder)
    if _migrated.execute("SELECT 1 FROM sqlite_master").fetchone() is None:
        _migrate(environment)
        return environment
    folder.mkdir(parents=True, exist_ok=True)
    with closing(sqlite3.connect(folder / DATABASE_FILE)) as file:
        _migrated.backup(file)
    (folder / DATABASE_FILE).chmod(0o600)  # as the site makes it; what lies beside it takes after it
    return environment


def _own_earlier_file(folder: Path, commit: str, migrated: bool) -> dict[str, str]:
    with closing(sqlite3.connect(folder / DATABASE_FILE)) as earlier:
        earlier.executescript(_earlier(commit))
    (folder / DATABASE_FILE).chmod(0o600)
    environment = _environment(folder)
    if migrated:
        _migrate(environment)
    return environment


def _environment(folder: Path) -> dict[str, str]:
    kept = {name: value for name, value in os.environ.items() if name != "DATABASE_URL"}
    return kept | {"ENOUGH_THREAD_DATA": str(folder)}


def _migrate(environment: Mapping[str, str]) -> None:
    run_in(environment, "manage.py", "migrate", "--skip-checks", "--verbosity", "0")


def address_of(name: str) -> str:
    server = {key: quote(str(value or ""), safe="") for key, value in connection.settings_dict.items()}
    person = f"{server['USER']}:{server['PASSWORD']}" if server["PASSWORD"] else server["USER"]
    return f"postgres://{person}@{server['HOST'] or 'localhost'}:{server['PORT'] or 5432}/{name}"


def _earlier(commit: str) -> str:
    path = HOUSE / "fixtures" / "upgrades" / f"{commit}.{connection.vendor}.sql.xz"
    return lzma.decompress(path.read_bytes()).decode()


def on_a_server(*statements: str, beside: str = "") -> list[tuple[Any, ...]]:
    """Carry out what no transaction may hold, on the server of the site's own database or of the one ``beside``.

    Returns what the last statement found. The line stays open: whoever kills again and again asks again and again.
    """
    server = _server(f"{beside.rpartition('/')[0]}/postgres" if beside else address_of("postgres"))
    for statement in statements:
        cursor = server.execute(statement)
    return cursor.fetchall() if cursor.description else []


@cache
def _server(address: str) -> Any:
    import psycopg

    return psycopg.connect(address, autocommit=True)


def _on_the_server(statement: str, *, database: str = "postgres") -> None:
    """Carry out what no transaction may hold, on a connection beside the test's."""
    import psycopg  # only where the tests run on PostgreSQL

    with psycopg.connect(address_of(database), autocommit=True) as server:
        server.execute(statement)


def run_in(
    environment: Mapping[str, str],
    *words: str,
    timeout_s: float = 300,
    told_in: Path | None = None,
    at: Path = HOUSE,
) -> str:
    """Return what Python answers to ``words`` in that environment; a failure fails the test with its message.

    ``told_in`` names a file that takes the answer as it comes, so that a storm of hours can be watched; ``at`` is the
    checkout whose code is run.
    """
    with told_in.open("w") if told_in else nullcontext(subprocess.PIPE) as answer:
        done = subprocess.run(
            [sys.executable, *words],
            env=environment,
            cwd=at,
            stdout=answer,
            stderr=subprocess.PIPE,
            text=True,
            timeout=timeout_s,
            check=False,
        )
    assert done.returncode == 0, f"{' '.join(words)} ended with {done.returncode}:\n{done.stderr[-4000:]}"
    return told_in.read_text() if told_in else done.stdout
