"""Files that the workshop keeps, in a folder or in a bucket; most under the hash of their content."""

from inventory.kept_files.by_content import (
    DamagedFile,
    FileNotKept,
    KeptFile,
    copy_of,
    keep_file,
    keep_if_gone,
    read_kept,
    state_of,
)
from inventory.kept_files.folder import write_whole
from inventory.kept_files.store import UNFINISHED, StoreAway, StoredFile, store, store_problem

__all__ = [
    "UNFINISHED",
    "DamagedFile",
    "FileNotKept",
    "KeptFile",
    "StoreAway",
    "StoredFile",
    "copy_of",
    "keep_file",
    "keep_if_gone",
    "read_kept",
    "state_of",
    "store",
    "store_problem",
    "write_whole",
]
