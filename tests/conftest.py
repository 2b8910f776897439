"""What every test shares: the clock, a person, and a database that can be emptied in spite of its triggers."""

import os
from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
from django.contrib.auth.models import User
from django.db import connection
from hypothesis import HealthCheck, settings

# A loaded two-core machine is slow now and then; speed is the benchmarks' business.
settings.register_profile("house", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("house")

# Playwright's synchronous form runs an event loop in the test's own thread, where Django would refuse to query.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")


@pytest.fixture
def now() -> datetime:
    """The moment at which tests happen."""
    return datetime(2026, 3, 2, 9, 30, tzinfo=UTC)


@pytest.fixture
def person(db: None) -> User:
    return User.objects.create_user("morgan", password="spindle-and-thread")


@pytest.fixture(scope="session", autouse=True)
def _emptying_respects_the_ledger(django_db_setup: None, django_db_blocker: object) -> Iterator[None]:
    """Let a transactional test be emptied: on SQLite that deletes row by row, which a trigger forbids."""
    operations = type(connection.ops)
    flush = operations.execute_sql_flush
    if connection.vendor != "sqlite":
        yield
        return

    def flush_unguarded(self: object, statements: list[str]) -> None:
        with connection.cursor() as cursor:
            cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
            triggers = cursor.fetchall()
            for name, _ in triggers:
                cursor.execute(f"DROP TRIGGER {name}")
        try:
            flush(self, statements)
        finally:
            with connection.cursor() as cursor:
                for _, sql in triggers:
                    cursor.execute(sql)

    operations.execute_sql_flush = flush_unguarded
    yield
    operations.execute_sql_flush = flush
