"""The one file of a backup: how it is written, and everything that is looked at before any of it is believed.

A zip with ``manifest.json``, ``database.sqlite3`` (whatever engine the workshop runs on) and ``files/…``. The manifest
names every other part with its size and SHA-256; what it does not name is not taken.
"""

import errno
import hashlib
import json
import re
import shutil
import sqlite3
import zipfile
import zlib
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import IO, Any

from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import figure

FORMAT = 1
MANIFEST, DATABASE, FILES = "manifest.json", "database.sqlite3", "files/"
MOST_MANIFEST_BYTES = 64 * 1024 * 1024
MOST_PARTS = 400_000
# A database packs to a tenth or so; nothing that a workshop keeps packs to a thousandth.
MOST_TIMES_LARGER, SMALL_BYTES = 500, 16 * 1024 * 1024
CHUNK = 1024 * 1024
_SAFE_NAME = re.compile(r"files(?:/[A-Za-z0-9][A-Za-z0-9._-]{0,150}){1,6}")
ENDS_BADLY = (
    zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, OSError, ValueError, RuntimeError,
    AttributeError, KeyError, TypeError, RecursionError,
)  # fmt: skip
NO_ROOM = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EROFS, errno.EACCES, errno.EPERM}


class BadBackup(WorkshopError):
    """The file is no backup that can be restored here; the text says why."""


@dataclass(frozen=True)
class ArchivePart:
    """One file within: its size and the SHA-256 of its content."""

    bytes: int
    sha256: str


@dataclass(frozen=True)
class Manifest:
    """What a backup says of itself; ``damaged`` and ``missing`` name files that were so when it was made."""

    version: str
    made_at: datetime
    engine: str
    migrations: tuple[tuple[str, str], ...]
    pictures: bool
    parts: dict[str, ArchivePart]
    damaged: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()

    @property
    def files(self) -> int:
        return sum(name.startswith(FILES) for name in self.parts)


class Writing:
    """A backup that is being written: parts one after the other, the manifest last."""

    def __init__(self, archive: zipfile.ZipFile) -> None:
        self.archive = archive
        self.parts: dict[str, ArchivePart] = {}

    def add(self, name: str, opened: Callable[[], IO[bytes]]) -> None:
        """Add what is ``opened`` under ``name``, hashed on its way; one that vanished meanwhile is left out."""
        digest, size = hashlib.sha256(), 0
        try:
            source = opened()
        except FileNotFoundError:
            return
        with source, self.archive.open(name, "w", force_zip64=True) as part:
            while chunk := source.read(CHUNK):
                digest.update(chunk)
                size += len(chunk)
                part.write(chunk)
        self.parts[name] = ArchivePart(size, digest.hexdigest())

    def finish(
        self,
        *,
        version: str,
        made_at: datetime,
        engine: str,
        migrations: Iterable[tuple[str, str]],
        pictures: bool,
        damaged: Iterable[str],
        missing: Iterable[str],
    ) -> None:
        says = {
            "made_by": "Enough Thread",
            "format": FORMAT,
            "version": version,
            "made_at": made_at.isoformat(),
            "engine": engine,
            "migrations": list(migrations),
            "pictures": pictures,
            "damaged": list(damaged),
            "missing": list(missing),
            "parts": {name: asdict(part) for name, part in self.parts.items()},
        }
        self.archive.writestr(MANIFEST, json.dumps(says))


def safe_name(name: str) -> bool:
    """Return whether a part may have this name: nothing that leads out of the folder it is unpacked in.

    >>> [safe_name(name) for name in ("database.sqlite3", "files/designs/ab/ab12.pes", "files/../x", "/etc/x", "files")]
    [True, True, False, False, False]
    """
    return name == DATABASE or bool(_SAFE_NAME.fullmatch(name))


def manifest_in(path: Path) -> Manifest:
    """Return what the backup says of itself, once its parts agree with that in name and size. Raises BadBackup."""
    try:
        with zipfile.ZipFile(path) as archive:
            return _manifest(archive)
    except WorkshopError:
        raise
    except FileNotFoundError:
        raise BadBackup(_("There is no file {path}.").format(path=path)) from None
    except ENDS_BADLY:
        raise BadBackup(
            _(
                "{name} is damaged or no backup: it was cut short, or is another kind of file. Use "
                "another backup."
            ).format(name=path.name)
        ) from None


def _manifest(archive: zipfile.ZipFile) -> Manifest:
    parts = archive.infolist()
    names = [part.filename for part in parts]
    if names.count(MANIFEST) != 1 or len(parts) > MOST_PARTS or len(set(names)) != len(names):
        raise BadBackup(_("The file is no backup of Enough Thread: it has no manifest, or one part twice."))
    info = archive.getinfo(MANIFEST)
    if info.file_size > MOST_MANIFEST_BYTES:
        raise BadBackup(_("The backup's manifest is far larger than one can be. Use another backup."))
    says = json.loads(archive.read(info))
    if not isinstance(says, dict) or says.get("made_by") != "Enough Thread":
        raise BadBackup(_("The file is no backup of Enough Thread."))
    if not isinstance(says["format"], int) or says["format"] > FORMAT:
        raise BadBackup(
            _(
                "The backup was made by a newer version ({version!s:.20}). Update Enough Thread first, then "
                "restore it."
            ).format(version=says.get("version", _("unknown")))
        )
    manifest = Manifest(
        version=str(says["version"])[:40],
        made_at=datetime.fromisoformat(says["made_at"]),
        engine=str(says["engine"])[:20],
        migrations=tuple((str(app), str(name)) for app, name in says["migrations"]),
        pictures=bool(says["pictures"]),
        parts={
            str(name): ArchivePart(int(part["bytes"]), str(part["sha256"]))
            for name, part in says["parts"].items()
        },
        damaged=tuple(str(name) for name in says.get("damaged", ())),
        missing=tuple(str(name) for name in says.get("missing", ())),
    )
    _compare(parts, manifest)
    return manifest


def _compare(parts: list[zipfile.ZipInfo], manifest: Manifest) -> None:
    if DATABASE not in manifest.parts:
        raise BadBackup(_("The backup has no database in it. Use another backup."))
    there = {part.filename: part for part in parts if part.filename != MANIFEST}
    if there.keys() != manifest.parts.keys():
        raise BadBackup(_("The backup has other parts than its manifest names. Use another backup."))
    for name, part in there.items():
        if not safe_name(name) or part.is_dir() or part.external_attr >> 28 == 0xA:
            raise BadBackup(
                _("The backup holds {name!r}, which would lead out of its folder. It is not opened.").format(
                    name=name[:80]
                )
            )
        if part.file_size != manifest.parts[name].bytes:
            raise BadBackup(
                _("{name} in the backup has another size than it should. Use another backup.").format(
                    name=name
                )
            )
        if part.file_size > max(SMALL_BYTES, MOST_TIMES_LARGER * part.compress_size):
            raise BadBackup(
                _("{name} in the backup unpacks to far more than it could hold. It is not opened.").format(
                    name=name
                )
            )


def unpack(path: Path, *, into: Path) -> Manifest:
    """Unpack a backup into an empty folder, looking at every hash, and at the database itself. Raises BadBackup."""
    manifest = manifest_in(path)
    wanted = sum(part.bytes for part in manifest.parts.values())
    free = shutil.disk_usage(into).free
    if wanted > free * 0.95:
        raise BadBackup(
            _("The backup needs {wanted} MB to be opened, and {free} MB are free. Make room first.").format(
                wanted=figure(wanted / 1e6), free=figure(free / 1e6)
            )
        )
    try:
        with zipfile.ZipFile(path) as archive:
            for name, part in manifest.parts.items():
                _unpack_part(archive, name, part, into / name)
    except WorkshopError:
        raise
    except ENDS_BADLY as problem:
        if isinstance(problem, OSError) and problem.errno in NO_ROOM:
            raise  # nothing is wrong with the backup
        raise BadBackup(
            _("{name} is damaged inside ({problem!s:.80}). Use another backup.").format(
                name=path.name, problem=problem
            )
        ) from None
    unsound = database_problem(into / DATABASE)
    if unsound:
        raise BadBackup(
            _("The database in the backup is not sound ({unsound}). Use another backup.").format(
                unsound=unsound
            )
        )
    return manifest


def _unpack_part(archive: zipfile.ZipFile, name: str, part: ArchivePart, target: Path) -> None:
    target.parent.mkdir(parents=True, exist_ok=True)
    digest, size = hashlib.sha256(), 0
    with archive.open(name) as source, target.open("xb") as file:
        for chunk in _chunks(source):
            size += len(chunk)
            if size > part.bytes:
                break
            digest.update(chunk)
            file.write(chunk)
    if size != part.bytes or digest.hexdigest() != part.sha256:
        raise BadBackup(
            _("{name} in the backup is damaged: its checksum is wrong. Use another backup.").format(name=name)
        )


def _chunks(source: IO[bytes]) -> Iterator[bytes]:
    while chunk := source.read(CHUNK):
        yield chunk


def database_problem(path: Path) -> str:
    """Return what is wrong with a SQLite file, in a few words; empty where nothing is."""
    try:
        with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as database:
            database.execute("PRAGMA trusted_schema = OFF")
            (answer,) = database.execute("PRAGMA integrity_check(1)").fetchone()
            if answer != "ok":
                return str(answer)[:120]
            lost = database.execute("PRAGMA foreign_key_check").fetchone()
            if lost:
                return _("a row of {table} points to one that is not there").format(table=lost[0])
            return _strange_things(database)
    except sqlite3.DatabaseError as problem:
        return str(problem)[:120]


def _strange_things(database: sqlite3.Connection) -> str:
    rows: list[tuple[Any, ...]] = database.execute("SELECT type, name FROM sqlite_master").fetchall()
    tables = {name for kind, name in rows if kind == "table"}
    if not {"django_migrations", "inventory_entry", "planning_design"} <= tables:
        return _("it is no database of Enough Thread")
    strange = [
        name for kind, name in rows
        if kind == "view" or (kind == "trigger" and not name.startswith("inventory_entry_no_"))
    ]  # fmt: skip
    return _("it holds {name!r}, which is none of ours").format(name=strange[0][:40]) if strange else ""
