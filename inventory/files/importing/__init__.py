"""Stock and catalogue from files: read a table, look at what it would do, let it happen."""

from inventory.files.importing.kinds import KINDS, FileKind, NoSuchKind, kind_named
from inventory.files.importing.preview import (
    FailedRow,
    NothingLanded,
    Outcome,
    Preview,
    apply_import,
    failed_rows_csv,
    preview_import,
)
from inventory.files.importing.rows import Progress
from inventory.tables.problems import CellProblem
from inventory.tables.raw import FileNotRead

__all__ = [
    "KINDS",
    "CellProblem",
    "FailedRow",
    "FileKind",
    "FileNotRead",
    "NoSuchKind",
    "NothingLanded",
    "Outcome",
    "Preview",
    "Progress",
    "apply_import",
    "failed_rows_csv",
    "kind_named",
    "preview_import",
]
