"""Files that wait for their import: taken in from a browser, and read by whichever machine carries the import out.

Each lies in the store under a number; one small file, written last, names them all. Without it nothing waits, so that
whoever is stopped on the way leaves no import that waits with half of its files.
"""

import hashlib
import json
import logging
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from pathlib import Path, PurePosixPath
from uuid import uuid4

from django.core.files.uploadedfile import UploadedFile
from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.kept_files.store import store

logger = logging.getLogger(__name__)
FOLDER = "incoming"


class GoneWhileWaiting(WorkshopError):
    """A file that waited is not there any more as it came."""


@dataclass(frozen=True)
class WaitingFile:
    """A file that waits: its name as it came, where it lies, and what it must be when it is read."""

    name: str
    stored: str
    bytes: int
    sha256: str


def take_in(files: Iterable[tuple[str, UploadedFile]]) -> list[WaitingFile]:
    """Put files that a browser sent into the store, each with its name. Nothing is left of them where that fails."""
    token = uuid4().hex
    taken: list[WaitingFile] = []
    stored = ""
    try:
        for number, (name, file) in enumerate(files, start=1):
            stored = f"{FOLDER}/{token}-{number:05}"
            digest = hashlib.sha256()
            for chunk in file.chunks():
                digest.update(chunk)
            file.seek(0)
            store().put(stored, file.file, sync=False)  # type: ignore[arg-type]  # whoever sent it still has it
            taken.append(WaitingFile(name, stored, file.size or 0, digest.hexdigest()))
    except BaseException:
        let_go(taken)
        raise
    return taken


def let_go(files: Iterable[WaitingFile]) -> None:
    """Delete files that wait for nothing any more."""
    for each in files:
        store().delete(each.stored)


def note(run: int, files: Iterable[WaitingFile]) -> None:
    """Write down what a run waits with; in the transaction that makes the run."""
    told = json.dumps([asdict(each) for each in files]).encode()
    store().put(_list_of(run), told, sync=False)


def waiting_with(run: int) -> list[WaitingFile]:
    """Return what a run waits with, in the order in which it was sent; nothing where nothing waits any more."""
    try:
        return [WaitingFile(**each) for each in json.loads(store().read(_list_of(run)))]
    except FileNotFoundError:
        return _of_before(run)


def _of_before(run: int) -> list[WaitingFile]:
    """Return what waits where an earlier version put it: in a folder a run, with a folder for each file."""
    found = []
    for each in store().under(f"{FOLDER}/{run}/"):
        parts = PurePosixPath(each.name).parts
        if len(parts) == 4 and parts[2].isdecimal():
            found.append(WaitingFile(parts[3], each.name, each.bytes, ""))
    return found


def fetch(waiting: WaitingFile, *, number: int, into: Path) -> Path:
    """Return where a waiting file lies now, under its own name in a folder for it. Raises GoneWhileWaiting."""
    path = into / f"{number:05}" / waiting.name
    try:
        content = store().read(waiting.stored)
    except FileNotFoundError:
        raise GoneWhileWaiting(
            _("{name} is gone from the workshop's files. Send it again.").format(name=waiting.name)
        ) from None
    if waiting.sha256 and hashlib.sha256(content).hexdigest() != waiting.sha256:
        raise GoneWhileWaiting(
            _("{name} was damaged while it waited. Send it again.").format(name=waiting.name)
        )
    path.parent.mkdir()
    path.write_bytes(content)
    return path


def forget(run: int) -> None:
    """Delete what a run waited with, once it is through; the list goes last. Where that fails, the doctor names it."""
    try:
        let_go(waiting_with(run))
        store().delete(_list_of(run))
    except OSError as problem:
        logger.warning("What import %s waited with is left: %s", run, problem)


def names_waiting(runs: Iterable[int]) -> set[str]:
    """Return the names of all files in the store that these runs wait with."""
    return {name for run in runs for name in (_list_of(run), *(each.stored for each in waiting_with(run)))}


def _list_of(run: int) -> str:
    return f"{FOLDER}/{run}.json"
