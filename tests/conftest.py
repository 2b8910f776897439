"""What every test shares: the clock, a person, and a database that can be emptied in spite of its triggers."""

import os
import shutil
from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
from django.contrib.auth.models import User
from django.db import connection
from hypothesis import HealthCheck, settings
from playwright.sync_api import Browser, sync_playwright

QUIET = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]

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
    return User.objects.create_superuser("morgan", password="spindle-and-thread")


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


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """The one browser of all browser tests: Playwright's synchronous form allows no second at the same time."""
    path = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
    if path is None:
        pytest.fail("The browser tests need Chromium: install Debian's package chromium.")
    with sync_playwright() as playwright:
        # A loaded machine starts a browser slowly.
        browser = playwright.chromium.launch(executable_path=path, args=QUIET, timeout=120_000)
        yield browser
        browser.close()
