"""Keep a file whole or not at all, and never trust one by its name.

A full disk or a fall of power leaves a file shorter than it was, or empty. So it is written under another name,
synced, and renamed; and whoever reads it looks at its hash first. A damaged one is replaced by the next good upload.
"""

import hashlib
import os
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from django.core.files.storage import default_storage
from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import figure

State = Literal["good", "damaged", "missing"]
CHUNK = 1024 * 1024
UNFINISHED = "unfinished-"


class FileNotKept(WorkshopError):
    """The file is not in the store."""


class DamagedFile(WorkshopError):
    """The file in the store is not what was put there."""


@dataclass(frozen=True)
class KeptFile:
    """Where a file lies in the store, the hash of its content, and what a person calls it."""

    stored: str
    sha256: str
    called: str

    @property
    def path(self) -> Path:
        return Path(default_storage.path(self.stored))


def keep_file(kept: KeptFile, content: bytes) -> None:
    """Put ``content`` in the store, unless it is there and good.

    Raises DamagedFile where the content is not that of the hash, so that nothing false is ever kept.
    """
    if hashlib.sha256(content).hexdigest() != kept.sha256:
        raise DamagedFile(_("{called} changed while it was read. Send it again.").format(called=kept.called))
    if state_of(kept, size_bytes=len(content)) != "good":
        write_whole(kept.path, content)


def read_kept(kept: KeptFile) -> bytes:
    """Return the content. Raises FileNotKept and DamagedFile with what to do."""
    try:
        content = kept.path.read_bytes()
    except FileNotFoundError:
        raise FileNotKept(
            _("{called} is missing from the workshop's files. Send the same file again.").format(
                called=kept.called
            )
        ) from None
    if hashlib.sha256(content).hexdigest() != kept.sha256:
        raise DamagedFile(
            _(
                "The workshop's copy of {called} is damaged ({count} bytes are there). Send the same "
                "file again: it takes the place of the damaged one."
            ).format(called=kept.called, count=figure(len(content)))
        )
    return content


def state_of(kept: KeptFile, *, size_bytes: int | None = None) -> State:
    """Return whether the file is there and what it should be: by length, where that is known, and by hash."""
    try:
        if size_bytes is not None and kept.path.stat().st_size != size_bytes:
            return "damaged"
        return "good" if sha256_of(kept.path) == kept.sha256 else "damaged"
    except FileNotFoundError:
        return "missing"


def sha256_of(path: Path) -> str:
    """Return the hash of a file, read piece by piece."""
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while chunk := file.read(CHUNK):
            digest.update(chunk)
    return digest.hexdigest()


def write_whole(path: Path, content: bytes, *, sync: bool = True) -> None:
    """Write a file so that whoever looks finds the old one or the new one whole; of two at once, either stays.

    Raises OSError where there is no room; then nothing is left behind. ``sync`` may be left out for what can be
    made again.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, unfinished = tempfile.mkstemp(dir=path.parent, prefix=UNFINISHED)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            if sync:
                os.fsync(file.fileno())
        os.replace(unfinished, path)
        if sync:
            _sync_folder(path.parent)
    except BaseException:
        Path(unfinished).unlink(missing_ok=True)
        raise


def _sync_folder(folder: Path) -> None:
    """Make the new name last; not every platform lets a folder be opened."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
