"""Kinds of trouble with the database and the disk, each with its own sentence and what to do."""

import errno
import shutil
import sqlite3
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path

from django.conf import settings
from django.db import DatabaseError, DataError, IntegrityError, InterfaceError, OperationalError, connection
from django.db.utils import InternalError
from django.utils.translation import gettext as _

from inventory.compute.spoken import N_
from inventory.kept_files import StoreAway

LEAST_ROOM_BYTES = 1_000_000  # SQLite lays out its log in steps of 32 kB; two beside each other need some


@dataclass(frozen=True)
class Trouble:
    """What happened and what to do; ``status`` is what the answer says to a machine."""

    name: str
    title: str
    what: str
    do: str
    status: int = 503

    def said(self) -> "Trouble":
        """Return the same in the reader's language."""
        return replace(self, title=_(self.title), what=_(self.what), do=_(self.do))


BUSY = Trouble(
    "busy",
    N_("The workshop is busy"),
    N_(
        "Somebody else was changing the same things, and went on for longer than we waited. "
        "Nothing of yours was changed."
    ),
    N_("Go back and try again in a moment."),
)
FULL = Trouble(
    "full",
    N_("The disk is full"),
    N_(
        "What you sent was not saved, because the workshop's disk has no room left. What was saved before is safe."
    ),
    N_("Make room on the disk of the workshop's computer, then go back and try again."),
)
READ_ONLY = Trouble(
    "read-only",
    N_("The workshop cannot write"),
    N_(
        "What you sent was not saved, because the database, or its folder, may not be written. What was saved is safe."
    ),
    N_(
        "Give the program the right to write in its data folder, or see whether the disk was mounted to read only."
    ),
)
DAMAGED = Trouble(
    "damaged",
    N_("The database is damaged"),
    N_("The database file cannot be read as one. Nothing more is written to it."),
    N_(
        "Stop the site and restore the newest backup: python3 manage.py restore FILE. The damaged file is kept beside."
    ),
)
OUT_OF_DATE = Trouble(
    "out of date",
    N_("The database is of another version"),
    N_("The program was updated, and the database was not yet. Nothing was changed."),
    N_("Run python3 manage.py migrate, then try again."),
)
EMPTY = Trouble(
    "empty",
    N_("There is nothing in the database"),
    N_("No table is in it, neither stock nor jobs. Nothing is written to it."),
    N_(
        "If there was a workshop in it, stop the site and restore the newest backup: python3 manage.py restore FILE. "
        "For a new workshop run python3 manage.py migrate."
    ),
)
AWAY = Trouble(
    "away",
    N_("The database does not answer"),
    N_("It cannot be reached at the moment. Nothing was changed."),
    N_("See that it runs, then try again."),
)
FILES_AWAY = Trouble(
    "files away",
    N_("The workshop's files do not answer"),
    N_(
        "Stitch files, photographs and pictures lie elsewhere, and cannot be reached at the moment. "
        "Nothing was changed."
    ),
    N_("Try again in a moment. If it stays so, see whether the bucket in FILES_URL answers."),
)
TOO_LARGE = Trouble(
    "too large",
    N_("A number is too large"),
    N_("A number that was sent is larger than anything this workshop can hold. Nothing was changed."),
    N_("Go back, look at the numbers, and send them again."),
    status=422,
)

ODD_SIGN = Trouble(
    "odd sign",
    N_("There is a sign that cannot be kept"),
    N_(
        "What was sent holds a sign that no text has (a zero byte, or half of a letter). Nothing was changed."
    ),
    N_("Go back, type it instead of copying it, and send it again."),
    status=422,
)

_SIGNS = (
    (BUSY, ("database is locked", "database table is locked", "deadlock detected", "could not serialize",
            "lock timeout", "statement timeout", "could not obtain lock")),
    (FULL, ("database or disk is full", "no space left", "disk full", "could not extend file",
            "could not write init file")),
    (READ_ONLY, ("readonly database", "read-only", "unable to open database file", "permission denied")),
    (DAMAGED, ("malformed", "is not a database", "disk i/o error", "invalid page", "corrupt")),
    (OUT_OF_DATE, ("no such table", "no such column", "does not exist", "has no column")),
    (AWAY, ("connection", "server closed", "terminating", "starting up", "shutting down", "too many clients")),
)  # fmt: skip


def trouble_of(problem: BaseException) -> Trouble | None:
    """Return what kind of trouble an error is, or None for one that is a fault of the program.

    >>> trouble_of(OperationalError("database is locked")).name
    'busy'
    >>> trouble_of(OSError(errno.ENOSPC, "No space left on device")).name
    'full'
    >>> trouble_of(ZeroDivisionError()) is None
    True
    """
    if isinstance(problem, StoreAway):
        return FILES_AWAY
    if isinstance(problem, OSError) and not isinstance(problem, ConnectionError):
        return {
            errno.ENOSPC: FULL,
            errno.EDQUOT: FULL,
            errno.EROFS: READ_ONLY,
            errno.EACCES: READ_ONLY,
            errno.EPERM: READ_ONLY,
        }.get(problem.errno or 0)
    if isinstance(problem, ValueError) and "nul (0x00)" in str(problem).lower():
        return ODD_SIGN
    if isinstance(problem, UnicodeEncodeError) and "surrogates not allowed" in str(problem):
        return ODD_SIGN
    if isinstance(problem, OverflowError) and "too large to convert" in str(problem).lower():
        return TOO_LARGE
    if isinstance(problem, DataError) and "out of range" in str(problem).lower():
        return TOO_LARGE
    of_a_database = isinstance(problem, DatabaseError | InterfaceError | sqlite3.DatabaseError)
    if of_a_database and not isinstance(problem, IntegrityError | DataError):
        words = str(problem).lower()
        for trouble, signs in _SIGNS:
            if any(sign in words for sign in signs):
                # A file that was emptied under others cannot be opened as ours before they have gone.
                seems_empty = trouble in (OUT_OF_DATE, BUSY) and _is_empty()
                return EMPTY if seems_empty else _full_or(trouble, problem, words)
        return AWAY if isinstance(problem, OperationalError | InterfaceError | InternalError) else None
    return None


def _is_empty() -> bool:
    """Return whether the site's SQLite database has no table: an update would make a new workshop of it."""
    if connection.vendor != "sqlite":
        return False
    place = Path(str(connection.settings_dict["NAME"])).absolute()
    try:
        with closing(sqlite3.connect(f"{place.as_uri()}?mode=ro", uri=True)) as looking:
            return looking.execute("SELECT 1 FROM sqlite_master LIMIT 1").fetchone() is None
    except sqlite3.Error:
        return False


def _full_or(trouble: Trouble, problem: BaseException, words: str) -> Trouble:
    """Return what is the matter where SQLite's words do not tell: without room it cannot open or lay out its log.

    It then speaks of an error of the disk, which must not be taken for damage: a restore would be the wrong thing.
    """
    name = getattr(problem.__cause__ or problem, "sqlite_errorname", "")
    is_writing = name.startswith("SQLITE_IOERR") and "READ" not in name and "CORRUPT" not in name
    if not is_writing and "unable to open database file" not in words:
        return trouble
    try:
        room = shutil.disk_usage(settings.DATA_FOLDER).free
    except OSError:
        return READ_ONLY
    return FULL if room < LEAST_ROOM_BYTES else READ_ONLY
