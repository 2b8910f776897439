"""Whether anything was committed since: what was read of a database holds for as long as nothing was.

SQLite tells it a connection that writes nothing itself (``PRAGMA data_version``: whatever another one commits changes
it), PostgreSQL by its snapshot: the same transactions seen, the same rows. Inside a transaction neither can tell, for
what it wrote may still be taken back; nothing is kept then.
"""

import os
import sqlite3
import threading
from collections.abc import Callable, Hashable
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

from django.db import connection
from django.utils.translation import get_language

from inventory.compute.units import reader

Answer = TypeVar("Answer")
MOST_KEPT = 10  # a shelf of ten thousand spools takes 4 MB, a second one of the same spools next to nothing


class Watcher:
    """A connection to an SQLite file that only looks whether others have committed something."""

    def __init__(self, path: Path) -> None:
        self.path, self.pid, self.file = path, os.getpid(), _file(path)
        self._looks = sqlite3.connect(
            f"{path.absolute().as_uri()}?mode=ro", uri=True, check_same_thread=False, isolation_level=None
        )

    @property
    def is_of_now(self) -> bool:
        """Whether it still looks at the file that lies there, from the process that it was opened in."""
        return self.pid == os.getpid() and self.file == _file(self.path)

    def version(self) -> Hashable:
        """Return what changes with every commit of another connection."""
        with closing(self._looks.execute("PRAGMA data_version")) as told:
            return id(self), told.fetchone()[0]

    def close(self) -> None:
        if self.pid == os.getpid():
            self._looks.close()


@dataclass
class _Kept:
    lock: Any = field(default_factory=threading.RLock)
    watcher: Watcher | None = None
    version: Hashable = None
    answers: dict[Hashable, Any] = field(default_factory=dict)


_kept = _Kept()


def version_now() -> Hashable | None:
    """Return a mark of all that was committed: the same mark, the same rows. None where that cannot be told."""
    if connection.in_atomic_block:
        return None
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_current_snapshot()::text")
            return "snapshot", cursor.fetchone()[0]
    path = Path(str(connection.settings_dict["NAME"]))
    if connection.vendor != "sqlite" or not path.is_absolute():
        return None  # a database in memory
    try:
        with _kept.lock:
            if _kept.watcher is None or _kept.watcher.path != path or not _kept.watcher.is_of_now:
                if _kept.watcher is not None:
                    _kept.watcher.close()
                _kept.watcher, _kept.version = Watcher(path), None
            return _kept.watcher.version()
    except (OSError, sqlite3.Error):
        return None  # who asks for rows is told what is the matter


def let_go() -> None:
    """Close the connection that looks, and forget what was read: for a database that is replaced or in trouble.

    Whoever asks next opens it anew. As long as it is open, SQLite keeps the log apart from the database's file.
    """
    with _kept.lock:
        if _kept.watcher is not None:
            _kept.watcher.close()
        _kept.watcher, _kept.version, _kept.answers = None, None, {}


def read_as() -> Hashable:
    """Return the language and the units of whoever reads: whatever is kept with sentences in it is kept for these."""
    return get_language(), reader()


def while_unchanged(question: Hashable, work: Callable[[], Answer]) -> Answer:
    """Return what ``work`` reads, read once in each language and its units for as long as nothing is committed."""
    before = version_now()
    if before is None:
        return work()
    # What is read may have sentences in it.
    question = (read_as(), question)
    with _kept.lock:
        if _kept.version == before and question in _kept.answers:
            answer: Answer = _kept.answers[question]
            return answer
    found = work()
    if version_now() == before:
        with _kept.lock:
            if _kept.version != before:
                _kept.version, _kept.answers = before, {}
            _kept.answers[question] = found
            while len(_kept.answers) > MOST_KEPT:
                del _kept.answers[next(iter(_kept.answers))]
    return found


def _file(path: Path) -> tuple[int, int]:
    there = path.stat()
    return there.st_dev, there.st_ino
