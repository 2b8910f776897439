"""What tests share: the clock, a person, quick passwords, and a database that can be emptied in spite of triggers.

Collection marks each test that uses the database ``database``, so that a second database runs those alone.
"""

import os
import shutil
import time
from collections import Counter
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import pytest
from django.contrib.auth.models import User
from django.db import OperationalError, connection
from django.test import override_settings
from hypothesis import HealthCheck, settings

from tests.own_database import keep_as_migrated

if TYPE_CHECKING:
    from playwright.sync_api import Browser

QUIET = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
ASKS_FOR_THE_DATABASE = {
    "db",
    "transactional_db",
    "django_db_reset_sequences",
    "django_db_serialized_rollback",
    "live_server",
}
# No page takes longer than this to answer.
LONGEST_ANSWER_S = 30.0
LEFT_OUT = ("thorough", "exhaustive", "browser", "benchmark")

# A loaded two-core machine is slow now and then; speed is the benchmarks' business. The same examples every time: a
# check fails for what was changed, not by the day. The exhaustive searches and `--hypothesis-profile search` draw new
# ones.
settings.register_profile(
    "house", deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True
)
settings.register_profile("search", settings.get_profile("house"), derandomize=False, print_blob=True)
settings.load_profile("house")

# Playwright's synchronous form runs an event loop in the test's own thread, where Django would refuse to query.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")


@pytest.hookimpl(tryfirst=True)  # before the markers choose
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        fixtures = set(getattr(item, "fixturenames", ()))
        if item.get_closest_marker("django_db") or fixtures & ASKS_FOR_THE_DATABASE:
            item.add_marker("database")


_left: Counter[str] = Counter()


def pytest_deselected(items: list[pytest.Item]) -> None:
    _left.update(marker for item in items for marker in LEFT_OUT if item.get_closest_marker(marker))


def pytest_sessionfinish(session: pytest.Session) -> None:
    output = getattr(session.config, "workeroutput", None)  # only a worker of several has one
    if output is not None:
        output["left"] = dict(_left)


def pytest_testnodedown(node: object) -> None:
    """Take over what a worker left out: each of them collects everything."""
    _left.update(Counter(getattr(node, "workeroutput", {}).get("left", {})) - _left)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    left = ", ".join(f"{_left[marker]} {marker}" for marker in LEFT_OUT if _left[marker])
    if left:
        terminalreporter.write_line(f"Left out: {left}. One kind by hand: -m KIND.")


@pytest.fixture
def now() -> datetime:
    """The moment at which tests happen."""
    return datetime(2026, 3, 2, 9, 30, tzinfo=UTC)


@pytest.fixture
def person(db: None) -> User:
    return User.objects.create_superuser("morgan", password="spindle-and-thread")


@pytest.fixture(scope="session", autouse=True)
def _requests_do_their_own_work() -> Iterator[None]:
    """Have long work done where it is asked for: a test's transaction is seen by no other thread."""
    immediate = {"default": {"BACKEND": "django_tasks.backends.immediate.ImmediateBackend"}}
    os.environ.setdefault("ENOUGH_THREAD_WORKER", "request")  # for processes that tests start
    with override_settings(WORK_IN="request", TASKS=immediate):
        yield


@pytest.fixture(autouse=True)
def _nobody_asked_before(monkeypatch: pytest.MonkeyPatch) -> None:
    """Begin each test with no requests counted: a process counts some before it writes them down."""
    monkeypatch.setattr("workshop.people.tokens._counts", {})


@pytest.fixture(scope="session", autouse=True)
def _quick_passwords() -> Iterator[None]:
    """Hash passwords quickly and badly, in tests alone: the site's own way takes a third of a second on purpose."""
    with override_settings(PASSWORD_HASHERS=["django.contrib.auth.hashers.MD5PasswordHasher"]):
        yield


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: object) -> None:
    """Make the tests' database as ever, and keep it as it is now for those who need a database of their own."""
    with django_db_blocker.unblock():  # type: ignore[attr-defined]
        keep_as_migrated(connection)


@pytest.fixture(scope="session", autouse=True)
def _emptying_respects_the_ledger() -> Iterator[None]:
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
                once_nobody_reads(lambda name=name: cursor.execute(f"DROP TRIGGER {name}"))
        try:
            once_nobody_reads(lambda: flush(self, statements))
        finally:
            with connection.cursor() as cursor:
                for _, sql in triggers:
                    once_nobody_reads(lambda sql=sql: cursor.execute(sql))

    def once_nobody_reads(change: Callable[[], object]) -> None:
        """Carry out ``change`` once the served workshop has answered the last that a closed browser asked."""
        until = time.monotonic() + LONGEST_ANSWER_S
        while True:
            try:
                change()
            except OperationalError as problem:
                if "is locked" not in str(problem) or time.monotonic() > until:
                    raise
                time.sleep(0.05)
            else:
                return

    operations.execute_sql_flush = flush_unguarded
    yield
    operations.execute_sql_flush = flush


@pytest.fixture(scope="session")
def chromium() -> "Iterator[Browser]":
    """The one browser of all browser tests: Playwright's synchronous form allows no second at the same time."""
    from playwright.sync_api import sync_playwright  # heavy, and for browser tests alone

    path = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
    if path is None:
        pytest.fail("The browser tests need Chromium: install Debian's package chromium.")
    with sync_playwright() as playwright:
        # A loaded machine starts a browser slowly.
        browser = playwright.chromium.launch(executable_path=path, args=QUIET, timeout=120_000)
        yield browser
        browser.close()
