"""The one door to where files lie: a folder of this machine, or a bucket that every machine reaches."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any, BinaryIO, Protocol, cast

from django.core.files.storage import storages

# How the names of files begin that are only being written.
UNFINISHED = "unfinished-"


class StoreAway(OSError):
    """The files cannot be reached, or not be written, for a reason that lies elsewhere; the text says which."""


@dataclass(frozen=True)
class StoredFile:
    """A file in the store as a list of it tells, without reading it."""

    name: str
    bytes: int
    changed_at: datetime


class Store(Protocol):
    """What is asked of the storage that settings call ``default``, beside what Django asks of one.

    Names are relative, with ``/``. What is not there raises FileNotFoundError, any other trouble another OSError.
    """

    # Whether each look goes over a network: then nothing is looked at that a list can tell.
    is_far: bool

    def put(self, name: str, content: bytes | BinaryIO, *, sync: bool = True) -> None:
        """Put a file there so that whoever looks finds the old one or the new one whole; of two, either stays.

        ``sync`` may be left out for what can be made again.
        """

    def read(self, name: str) -> bytes: ...

    def open(self, name: str, mode: str = "rb") -> Any: ...

    def delete(self, name: str) -> None:
        """Delete a file; one that is not there is deleted already."""

    def size(self, name: str) -> int: ...

    def under(self, prefix: str = "") -> Iterator[StoredFile]:
        """Yield the files whose names begin with ``prefix``, by name."""

    def mark_used(self, name: str) -> None:
        """Note that a file is wanted, where that costs next to nothing."""

    def in_words(self) -> str:
        """Return where files lie, as a person finds it."""


def store() -> Store:
    """Return where this site keeps its files."""
    return cast(Store, storages["default"])


def store_problem() -> str:
    """Return why nothing can be written to the store, in words; empty where it can."""
    try:
        store().put(f"{UNFINISHED}look", b"")
        store().delete(f"{UNFINISHED}look")
    except OSError as problem:
        return problem.strerror or str(problem)
    return ""
