"""Make a backup while the site runs, keep the newest few, and say which there are."""

import os
import re
import sqlite3
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from functools import cache, partial
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path, PurePosixPath

from django.db import DatabaseError, connection
from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.kept_files import UNFINISHED, StoreAway, store
from workshop.backup.archive import DATABASE, FILES, Manifest, Writing, safe_name, unpack
from workshop.backup.pages import copy_pages
from workshop.backup.routing import migrate_database
from workshop.backup.rows import another_database, copy_rows, migrations_of, waiting_migrations
from workshop.backup.wholeness import damaged_files, missing_files

PICTURES = "pictures/"
# What is only passing through: files of an import that is going on, and those not written to their end.
PASSING = ("incoming/",)
NAME = re.compile(r"enough-thread-[0-9]{8}-[0-9]{6}(?:-[a-z-]+)?\.zip")


# Told how many files of how many are in; raises where somebody stopped the backup, which then leaves nothing behind.
Progress = Callable[[int, int, str], None]


def _untold(done: int, total: int, saying: str) -> None:
    """Tell nobody."""


class CannotBackUp(WorkshopError):
    """No backup was made; nothing that was there before is changed."""


@dataclass(frozen=True)
class KeptBackup:
    """A backup in the folder: when it was made, and how large it is."""

    path: Path
    made_at: datetime
    bytes: int


def program_version() -> str:
    """Return the version of Enough Thread that runs."""
    try:
        return version("enough-thread")
    except PackageNotFoundError:  # run from a checkout
        return "0.1.0"


def back_up(path: Path, *, at: datetime, pictures: bool = False, progress: Progress = _untold) -> Manifest:
    """Write a backup of everything to ``path``, open it again to be sure, and return what it holds.

    A kept file that is damaged is taken as it is: no backup at all would be worse. What it returns names it.

    The database is as it was at one moment; files are added before and after that moment, so that none that it
    names is missing. Raises CannotBackUp, and then leaves nothing behind.
    """
    if path.exists():
        raise CannotBackUp(_("{path} is there already. Give another name.").format(path=path))
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=path.parent, prefix=f"{UNFINISHED}backup-") as folder:
            unfinished = Path(folder) / "backup.zip"
            files = _write(unfinished, Path(folder), at=at, pictures=pictures, progress=progress)
            progress(files, files, _("It is opened again, to be sure."))
            (Path(folder) / "look").mkdir()
            manifest = unpack(unfinished, into=Path(folder) / "look")
            unfinished.chmod(0o600)
            os.replace(unfinished, path)
    except StoreAway as problem:
        raise CannotBackUp(
            _("The kept files could not be read: {problem}. Nothing is changed. Try again.").format(
                problem=problem
            )
        ) from problem
    except (OSError, sqlite3.Error, DatabaseError) as problem:
        raise CannotBackUp(
            _(
                "The backup was not written to {folder}: {cause}. Nothing is changed. Make room, or name "
                "another folder."
            ).format(folder=path.parent, cause=getattr(problem, "strerror", None) or problem)
        ) from problem
    return manifest


def _write(unfinished: Path, folder: Path, *, at: datetime, pictures: bool, progress: Progress) -> int:
    """Write the archive, and return how many files are in it."""
    database = folder / DATABASE
    total = sum(1 for _each in stored_files(pictures=pictures)) + 1
    with zipfile.ZipFile(unfinished, "x", zipfile.ZIP_DEFLATED, compresslevel=6) as archive:
        writing = Writing(archive)
        for name, stored in stored_files(pictures=pictures):
            writing.add(name, partial(store().open, stored))
            progress(len(writing.parts), total, _("Files"))
        progress(len(writing.parts), total, _("The database"))
        migrations = copy_database(database)
        writing.add(DATABASE, lambda: database.open("rb"))
        for name, stored in stored_files(pictures=pictures):
            if name not in writing.parts:
                writing.add(name, partial(store().open, stored))
        writing.finish(
            version=program_version(),
            made_at=at,
            engine=connection.vendor,
            migrations=migrations,
            pictures=pictures,
            damaged=damaged_files(writing.parts),
            missing=missing_files(database, writing.parts),
        )
    with unfinished.open("rb") as file:
        os.fsync(file.fileno())
    return len(writing.parts)


def stored_files(*, pictures: bool) -> Iterator[tuple[str, str]]:
    """Yield the names in a backup and in the store of all files that the workshop keeps."""
    for each in store().under():
        passing = each.name.startswith(PASSING) or PurePosixPath(each.name).name.startswith(UNFINISHED)
        wanted = not passing and (pictures or not each.name.startswith(PICTURES))
        if wanted and safe_name(f"{FILES}{each.name}"):
            yield f"{FILES}{each.name}", each.name


def copy_database(path: Path) -> list[tuple[str, str]]:
    """Copy the site's database, as it is at one moment, into a new SQLite file. Return its migrations."""
    if connection.vendor == "sqlite":
        connection.ensure_connection()
        if connection.in_atomic_block:
            raise RuntimeError("SQLite waits for ever to copy what its own transaction has not yet written.")
        with closing(sqlite3.connect(path)) as copy:
            copy_pages(connection.connection, copy)
            copy.execute("PRAGMA journal_mode = DELETE")
        path.chmod(0o600)
        with another_database(f"sqlite:///{path}", alias="copy") as alias:
            migrations = migrations_of(alias)
        _settle_log(path)
        return migrations
    if waiting := waiting_migrations("default"):
        raise CannotBackUp(
            _("The database waits for {waiting}. Run first: python3 manage.py migrate").format(
                waiting=waiting[0]
            )
        )
    path.write_bytes(empty_database())
    with another_database(f"sqlite:///{path}", alias="copy") as alias:
        copy_rows("default", alias)
        migrations = migrations_of(alias)
    _settle_log(path)
    path.chmod(0o600)
    return migrations


@cache
def empty_database() -> bytes:
    """Return a SQLite file of this version with nothing in it: making one takes seconds, and all are alike."""
    with tempfile.TemporaryDirectory(prefix=UNFINISHED) as folder:
        path = Path(folder) / DATABASE
        with another_database(f"sqlite:///{path}", alias="new") as alias:
            migrate_database(alias)
        _settle_log(path)
        return path.read_bytes()


def _settle_log(path: Path) -> None:
    """Bring what stands in the write-ahead log into the one file."""
    with closing(sqlite3.connect(path)) as copy:
        copy.execute("PRAGMA journal_mode = DELETE")


def backup_name(at: datetime, *, why: str = "") -> str:
    """Return the name of a backup in the folder, which sorts by its time.

    >>> from datetime import UTC
    >>> backup_name(datetime(2026, 3, 2, 9, 30, tzinfo=UTC), why="before-restore")
    'enough-thread-20260302-093000-before-restore.zip'
    """
    return f"enough-thread-{at:%Y%m%d-%H%M%S}{f'-{why}' if why else ''}.zip"


def back_up_into(
    folder: Path,
    *,
    at: datetime,
    keep: int | None = None,
    pictures: bool = False,
    why: str = "",
    progress: Progress = _untold,
) -> Path:
    """Make a backup in ``folder`` under a name with its time, and then delete all but the newest ``keep``."""
    path = folder / backup_name(at, why=why)
    back_up(path, at=at, pictures=pictures, progress=progress)
    if keep is not None:
        for old in kept_backups(folder)[max(keep, 1) :]:
            old.path.unlink(missing_ok=True)
    return path


def kept_backups(folder: Path) -> list[KeptBackup]:
    """Return the backups in ``folder``, the newest first; other files are no business of ours."""
    found = []
    for path in folder.glob("enough-thread-*.zip"):
        if NAME.fullmatch(path.name):
            stamp = datetime.strptime(path.name[14:29], "%Y%m%d-%H%M%S").astimezone()
            found.append(KeptBackup(path, stamp, path.stat().st_size))
    return sorted(found, key=lambda each: each.path.name, reverse=True)
