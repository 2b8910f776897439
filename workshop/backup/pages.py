"""One SQLite database written over another, page by page, with an end to the waiting."""

import sqlite3
import time

LONGEST_WAIT_S = 30.0


def copy_pages(
    source: sqlite3.Connection, target: sqlite3.Connection, *, within_s: float | None = None
) -> None:
    """Make ``target`` what ``source`` is at one moment, in one transaction of ``target``.

    The library itself would wait for ever for one that somebody else holds. Raises sqlite3.OperationalError, in its
    own words for that, after ``within_s`` seconds.
    """
    until = time.monotonic() + (LONGEST_WAIT_S if within_s is None else within_s)

    def not_for_ever(status: int, remaining: int, total: int) -> None:
        if status in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED) and time.monotonic() > until:
            raise sqlite3.OperationalError("database is locked")

    source.backup(target, progress=not_for_ever, sleep=0.1)
