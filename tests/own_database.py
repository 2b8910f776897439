"""A database of its own for tests that need processes, crashes or a clock: fresh, with the site's own settings."""

import os
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import quote

from django.db import connection

HOUSE = Path(__file__).resolve().parent.parent


@contextmanager
def own_database(folder: Path) -> Iterator[Mapping[str, str]]:
    """Give the environment of processes that share a new, migrated database, of the kind the tests run on.

    SQLite: a file in ``folder``. PostgreSQL: a database beside the tests' own, dropped at the end.
    """
    environment = dict(os.environ)
    environment["ENOUGH_THREAD_DATA"] = str(folder)
    environment.pop("DATABASE_URL", None)
    if connection.vendor != "postgresql":
        run_in(environment, "manage.py", "migrate", "--skip-checks", "--verbosity", "0")
        yield environment
        return
    name = f"enough_own_{os.getpid()}_{folder.name}".replace("-", "_").lower()[:60]
    _on_the_server(f'CREATE DATABASE "{name}"')
    try:
        environment["DATABASE_URL"] = _address(name)
        run_in(environment, "manage.py", "migrate", "--skip-checks", "--verbosity", "0")
        yield environment
    finally:
        _on_the_server(f'DROP DATABASE "{name}" WITH (FORCE)')


def _address(name: str) -> str:
    server = {key: quote(str(value or ""), safe="") for key, value in connection.settings_dict.items()}
    person = f"{server['USER']}:{server['PASSWORD']}" if server["PASSWORD"] else server["USER"]
    return f"postgres://{person}@{server['HOST'] or 'localhost'}:{server['PORT'] or 5432}/{name}"


def _on_the_server(statement: str) -> None:
    """Carry out what no transaction may hold, on a connection beside the test's."""
    import psycopg  # only where the tests run on PostgreSQL

    with psycopg.connect(_address("postgres"), autocommit=True) as server:
        server.execute(statement)


def run_in(environment: Mapping[str, str], *words: str, timeout_s: float = 300) -> str:
    """Return what Python answers to ``words`` in that environment; a failure fails the test with its message."""
    done = subprocess.run(
        [sys.executable, *words],
        env=environment,
        cwd=HOUSE,
        capture_output=True,
        text=True,
        timeout=timeout_s,
        check=False,
    )
    assert done.returncode == 0, f"{' '.join(words)} ended with {done.returncode}:\n{done.stderr[-4000:]}"
    return done.stdout
