"""Restore a backup: looked at whole first, made ready beside, then put in place in one step."""

import shutil
import sqlite3
import tempfile
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from django.conf import settings
from django.core.management import call_command
from django.db import DatabaseError, connection
from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.kept_files import UNFINISHED, KeptFile, StoreAway, state_of, store, write_whole
from inventory.schema.unchanged import let_go
from workshop.backup.archive import DATABASE, FILES, BadBackup, Manifest, unpack
from workshop.backup.making import CannotBackUp, back_up_into
from workshop.backup.pages import copy_pages
from workshop.backup.routing import migrate_database
from workshop.backup.rows import (
    another_database,
    copy_rows,
    migrations_of,
    unknown_migrations,
    waiting_migrations,
)
from workshop.backup.wholeness import damaged_files
from workshop.trouble.kinds import BUSY, DAMAGED, trouble_of


class CannotRestore(WorkshopError):
    """Nothing was restored; what was there before is as it was."""


@dataclass(frozen=True)
class Restored:
    """What was restored, and where what was there before is kept; None where there was nothing to keep."""

    manifest: Manifest
    before: Path | None
    files_put_back: int


def restore(path: Path, *, at: datetime) -> Restored:
    """Put everything back as ``path`` has it. Raises BadBackup and CannotRestore before anything is touched.

    Files that are missing or damaged come first, which changes nothing that is good; then the database changes from
    the one state to the other in one transaction, also under a site that runs. What was there before is backed up.
    """
    try:
        with tempfile.TemporaryDirectory(dir=settings.DATA_FOLDER, prefix=f"{UNFINISHED}restore-") as folder:
            ready = Path(folder)
            manifest = make_ready(path, into=ready)
            before = _keep_what_is_there(at)
            put_back = _put_files_back(manifest, ready)
            _put_database_back(ready / DATABASE)
    except OSError as problem:
        raise CannotRestore(
            (
                _(
                    "It could not be written ({cause}). The database is as it was; files that were missing "
                    "or damaged may be back already. Try again."
                )
                if isinstance(problem, StoreAway)
                else _(
                    "It could not be written ({cause}). The database is as it was; files that were missing "
                    "or damaged may be back already. Make room, and try again."
                )
            ).format(cause=problem.strerror or problem)
        ) from problem
    return Restored(manifest, before, put_back)


def restore_beside(path: Path, *, into: Path) -> Manifest:
    """Unpack a backup as the data folder of another site, to look at. The running data are not touched."""
    if into.exists() and any(into.iterdir()):
        raise CannotRestore(_("{into} is not empty. Name a new folder.").format(into=into))
    into.mkdir(parents=True, exist_ok=True, mode=0o700)
    try:
        manifest = make_ready(path, into=into)
    except WorkshopError:
        shutil.rmtree(into)
        raise
    (into / DATABASE).rename(into / "enough-thread.sqlite3")
    (into / "files").mkdir(exist_ok=True)
    return manifest


def make_ready(path: Path, *, into: Path) -> Manifest:
    """Unpack a backup and bring its database to this version. Raises BadBackup."""
    manifest = unpack(path, into=into)
    database = into / DATABASE
    database.chmod(0o600)
    with another_database(f"sqlite:///{database}", alias="ready") as alias:
        unknown = unknown_migrations(migrations_of(alias))
        if unknown:
            raise BadBackup(
                _(
                    "The backup was made by a newer version ({version}; it knows {app} {name}). Update "
                    "Enough Thread first, then restore it."
                ).format(version=manifest.version, app=unknown[0][0], name=unknown[0][1])
            )
        try:
            migrate_database(alias)
        except DatabaseError as problem:
            raise BadBackup(
                _("The backup's database cannot be brought to this version ({problem}).").format(
                    problem=problem
                )
            ) from problem
    with closing(sqlite3.connect(database)) as settled:
        settled.execute("PRAGMA journal_mode = DELETE")
    return manifest


def _keep_what_is_there(at: datetime) -> Path | None:
    """Back up what is about to be replaced; a SQLite database that is not sound any more is set apart as it is."""
    try:
        if not connection.introspection.table_names():
            return None
        return back_up_into(Path(settings.BACKUP_FOLDER), at=at, why="before-restore")
    except BadBackup:
        return _set_apart(at)  # readable, but what was read is not sound
    except (WorkshopError, DatabaseError, OSError) as problem:
        cause = problem.__cause__ if isinstance(problem, CannotBackUp) and problem.__cause__ else problem
        if trouble_of(cause) is DAMAGED and connection.vendor == "sqlite":
            return _set_apart(at)
        raise CannotRestore(
            _("What is there now could not be kept first. {problem}").format(problem=problem)
        ) from problem


def _set_apart(at: datetime) -> Path:
    """Copy a database that is not sound, with its log, to lie beside; nothing is taken away yet."""
    connection.close()
    place = Path(str(connection.settings_dict["NAME"]))
    apart = place.with_name(f"{place.name}.damaged-{at:%Y%m%d-%H%M%S}")
    try:
        for ending in ("", "-wal"):
            there = place.with_name(place.name + ending)
            if there.exists():
                write_whole(apart.with_name(apart.name + ending), there.read_bytes())
                apart.with_name(apart.name + ending).chmod(0o600)
    except OSError as problem:
        raise CannotRestore(
            _("The damaged database could not be kept first ({cause}). Make room, and try again.").format(
                cause=problem.strerror
            )
        ) from problem
    return apart


def _put_files_back(manifest: Manifest, ready: Path) -> int:
    """Write the files that are missing or not as they should be; their names say their content.

    What was damaged already when it was backed up must not take the place of what is whole.
    """
    put_back = 0
    left_out = {DATABASE, *damaged_files(manifest.parts)}
    for name, part in manifest.parts.items():
        if name in left_out:
            continue
        kept = KeptFile(name.removeprefix(FILES), part.sha256, name)
        if state_of(kept, size_bytes=part.bytes) != "good":
            store().put(kept.stored, (ready / name).read_bytes())
            put_back += 1
    return put_back


def _put_database_back(database: Path) -> None:
    if connection.vendor == "postgresql":
        call_command("migrate", verbosity=0, interactive=False)
        if waiting := waiting_migrations("default"):
            raise CannotRestore(
                _("The database waits for {waiting}. Run first: python3 manage.py migrate").format(
                    waiting=waiting[0]
                )
            )
        try:
            with another_database(f"sqlite:///{database}", alias="ready") as alias:
                copy_rows(alias, "default")
        except DatabaseError as problem:
            raise CannotRestore(
                _("The database cannot be written ({problem}). Nothing of it is changed.").format(
                    problem=problem
                )
            ) from problem
        return
    try:
        connection.ensure_connection()
        with closing(sqlite3.connect(database)) as source:
            # Writes all pages in one transaction of the running database: others see the one state or the other.
            copy_pages(source, connection.connection)
    except (DatabaseError, sqlite3.DatabaseError) as problem:
        trouble = trouble_of(problem)
        if trouble is BUSY:
            raise CannotRestore(
                _("The database is held by somebody else. Stop the site, and try again.")
            ) from problem
        if trouble is not DAMAGED:
            raise CannotRestore(
                _("The database cannot be written ({problem}). Nothing of it is changed.").format(
                    problem=problem
                )
            ) from problem
        _replace_damaged(database)
    _leave()


def _leave() -> None:
    """Close all that this process has open, so that what was written lies in the one file and not in its log."""
    let_go()
    connection.close()


def _replace_damaged(database: Path) -> None:
    """Put a database in the place of one that cannot be read; that was set apart before."""
    _leave()
    place = Path(str(connection.settings_dict["NAME"]))
    for ending in ("-wal", "-shm"):  # the damaged one's log must not be read into the sound one
        place.with_name(place.name + ending).unlink(missing_ok=True)
    write_whole(place, database.read_bytes())
    place.chmod(0o600)
