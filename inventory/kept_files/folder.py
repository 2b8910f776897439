"""Files in a folder of this machine."""

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import BinaryIO

from django.core.files.storage import FileSystemStorage

from inventory.kept_files.store import UNFINISHED, StoredFile


class FolderStore(FileSystemStorage):
    """The folder in ``MEDIA_ROOT``, written so that a full disk or a fall of power leaves no half of a file."""

    is_far = False

    def put(self, name: str, content: bytes | BinaryIO, *, sync: bool = True) -> None:
        write_whole(Path(self.path(name)), content, sync=sync)

    def read(self, name: str) -> bytes:
        return Path(self.path(name)).read_bytes()

    def under(self, prefix: str = "") -> Iterator[StoredFile]:
        root = Path(self.location)
        folder, _, begins = prefix.rpartition("/")
        for path in sorted((root / folder).rglob("*")):
            name = path.relative_to(root).as_posix()
            if not path.relative_to(root / folder).as_posix().startswith(begins):
                continue
            with suppress(FileNotFoundError):  # another process has deleted it in the meantime
                status = path.stat()
                if path.is_file():
                    yield StoredFile(name, status.st_size, datetime.fromtimestamp(status.st_mtime, UTC))

    def mark_used(self, name: str) -> None:
        with suppress(OSError):
            os.utime(self.path(name))

    def in_words(self) -> str:
        return str(self.location)


def write_whole(path: Path, content: bytes | BinaryIO, *, sync: bool = True) -> None:
    """Write a file so that whoever looks finds the old one or the new one whole; of two at once, either stays.

    Raises OSError where there is no room; then nothing is left behind. ``sync`` may be left out for what can be
    made again.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, unfinished = tempfile.mkstemp(dir=path.parent, prefix=UNFINISHED)
    try:
        with os.fdopen(handle, "wb") as file:
            if isinstance(content, bytes):
                file.write(content)
            else:
                shutil.copyfileobj(content, file)
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
