"""Restore one file after the other where each should be refused, and tell which were not, and what changed.

Run as ``python -m tests.workshop.backup.refusals FILE…`` in the environment of a workshop that has something in it.
Every row, every file of the data folder and, on SQLite, every byte of the database is compared.
"""

import hashlib
import json
import sys
from collections.abc import Sequence
from pathlib import Path

import django

django.setup()

from django.conf import settings  # noqa: E402  the rest needs Django to be set up
from django.db import connection  # noqa: E402
from django.utils import timezone  # noqa: E402

from inventory.compute.errors import WorkshopError  # noqa: E402
from tests.workshop.storms import databases  # noqa: E402
from workshop.backup.restoring import restore  # noqa: E402


def main(words: Sequence[str]) -> None:
    rows = databases.rows()
    connection.close()
    bytes_before = every_byte()
    told: dict[str, str] = {}
    for word in words:
        try:
            restore(Path(word), at=timezone.now())
            told[word] = "it was restored"
        except WorkshopError:
            told[word] = ""
        connection.close()
        if every_byte() != bytes_before:
            told[word] += "files changed"
        if databases.rows() != rows:
            told[word] += "rows changed"
        connection.close()
    print(json.dumps(told))


def every_byte() -> dict[str, str]:
    """Return the hash of every file of the running data; only what SQLite keeps beside an open database is left."""
    folder = Path(settings.DATA_FOLDER)
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not path.name.endswith(("-shm", "-wal"))
    }


if __name__ == "__main__":
    main(sys.argv[1:])
