"""Where a kept file lies, for tests that damage it behind the program's back."""

from pathlib import Path

from django.core.files.storage import default_storage

from inventory.kept_files import KeptFile


def place_of(kept: KeptFile) -> Path:
    """Return the place of a kept file, where files lie in a folder."""
    return Path(default_storage.path(kept.stored))
