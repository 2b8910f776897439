"""Keep a file whole or not at all, and never trust one by its name.

A full disk, a fall of power or a stranger in the bucket leaves a file other than it was. So whoever reads it looks at
its hash first, and a damaged one is replaced by the next good upload.
"""

import hashlib
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Literal

from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import figure
from inventory.kept_files.store import UNFINISHED, store

State = Literal["good", "damaged", "missing"]


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


def keep_file(kept: KeptFile, content: bytes) -> None:
    """Put ``content`` in the store, unless it is there and good.

    Raises DamagedFile where the content is not that of the hash, so that nothing false is ever kept.
    """
    if hashlib.sha256(content).hexdigest() != kept.sha256:
        raise DamagedFile(_("{called} changed while it was read. Send it again.").format(called=kept.called))
    if state_of(kept, size_bytes=len(content)) != "good":
        store().put(kept.stored, content)


def keep_if_gone(kept: KeptFile, content: bytes) -> None:
    """Put ``content``, kept a moment ago by ``keep_file``, back where somebody has deleted it since."""
    try:
        there = store().size(kept.stored) == len(content)
    except FileNotFoundError:
        there = False
    if not there:
        keep_file(kept, content)


def read_kept(kept: KeptFile) -> bytes:
    """Return the content. Raises FileNotKept and DamagedFile with what to do."""
    try:
        content = store().read(kept.stored)
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


@contextmanager
def copy_of(kept: KeptFile) -> Iterator[Path]:
    """Give a copy of the file, looked at, for whoever reads a path; it is gone at the end of the block.

    Raises FileNotKept and DamagedFile.
    """
    content = read_kept(kept)
    with tempfile.TemporaryDirectory(prefix=UNFINISHED) as folder:
        path = Path(folder) / PurePosixPath(kept.stored).name
        path.write_bytes(content)
        yield path


def state_of(kept: KeptFile, *, size_bytes: int | None = None) -> State:
    """Return whether the file is there and what it should be: by length, where that is known, and by hash."""
    try:
        if size_bytes is not None and store().size(kept.stored) != size_bytes:
            return "damaged"
        content = store().read(kept.stored)
    except FileNotFoundError:
        return "missing"
    return "good" if hashlib.sha256(content).hexdigest() == kept.sha256 else "damaged"
