"""Files that the workshop keeps under the hash of their content."""

from inventory.kept_files.by_content import (
    DamagedFile,
    FileNotKept,
    KeptFile,
    keep_file,
    read_kept,
    sha256_of,
    state_of,
    write_whole,
)

__all__ = [
    "DamagedFile",
    "FileNotKept",
    "KeptFile",
    "keep_file",
    "read_kept",
    "sha256_of",
    "state_of",
    "write_whole",
]
