"""The database as it was, kept before an update changes it."""

import sqlite3
import tempfile
from contextlib import closing
from datetime import datetime
from pathlib import Path
from typing import Any

from django.conf import settings

from inventory.kept_files import UNFINISHED
from workshop.backup.pages import copy_pages
from workshop.backup.rows import waiting_migrations


def keep_before_update(connection: Any, *, at: datetime) -> Path | None:
    """Copy a SQLite database that an update is about to change, and say where to; None where nothing is at stake.

    An update drops columns that nothing reads any more: what stood in them is still in this copy.
    """
    name = str(connection.settings_dict["NAME"])
    if connection.vendor != "sqlite" or "memory" in name or not Path(name).is_file():
        return None
    if "inventory_entry" not in connection.introspection.table_names() or not waiting_migrations(
        connection.alias
    ):
        return None
    folder = Path(settings.BACKUP_FOLDER)
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    kept = folder / f"before-update-{at:%Y%m%d-%H%M%S}.sqlite3"
    with tempfile.TemporaryDirectory(dir=folder, prefix=f"{UNFINISHED}copy-") as unfinished:
        whole = Path(unfinished) / kept.name
        with closing(sqlite3.connect(whole)) as copy:
            copy_pages(connection.connection, copy)
        whole.chmod(0o600)
        whole.replace(kept)
    return kept
