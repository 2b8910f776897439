"""The folders that stitch files came from: what a person knew a design by before it was in the library."""

from collections.abc import Iterable, Iterator
from pathlib import PurePosixPath, PureWindowsPath

from planning.models import Design, ImportedFile

MOST_NAMED = 3


def folders_of(designs: Iterable[Design]) -> dict[int, list[str]]:
    """Return for each design, by its id, the folders it came from, as far as files of it came in with any."""
    found: dict[int, list[str]] = {}
    rows = ImportedFile.objects.filter(design__in=[design.pk for design in designs]).order_by("pk")
    for design_id, path, source, moment in rows.values_list(
        "design_id", "path", "run__source", "modified_ns"
    ):
        folder = folder_in(path, source=source, is_of_this_machine=moment is not None)
        if folder and folder not in found.setdefault(design_id, []):
            found[design_id].append(folder)
    return {design: folders for design, folders in found.items() if folders}


def designs_in_folders(word: str) -> Iterator[int]:
    """Yield the ids of the designs of which some file came from a folder with ``word`` in its name."""
    rows = ImportedFile.objects.filter(design__isnull=False, path__icontains=word)
    for design_id, path, source, moment in rows.values_list(
        "design_id", "path", "run__source", "modified_ns"
    ):
        folder = folder_in(path, source=source, is_of_this_machine=moment is not None)
        if design_id is not None and word.casefold() in folder.casefold():
            yield design_id


def folder_in(path: str, *, source: str, is_of_this_machine: bool) -> str:
    """Return the folders of an imported file below the one that was imported; empty for a file by itself.

    The folder that was imported is named as well: a person chose it. What came through the browser stands behind
    a number; in an archive it has folders of its own.

    >>> folder_in("/mnt/stitch/Harbour club/2025/badge.pes", source="/mnt/stitch", is_of_this_machine=True)
    'stitch / Harbour club / 2025'
    >>> folder_in("00001.00003/caps/badge.pes", source="caps.zip", is_of_this_machine=False)
    'caps'
    >>> folder_in("00001/badge.pes", source="badge.pes", is_of_this_machine=False)
    ''
    """
    if is_of_this_machine:
        whole = PureWindowsPath(path) if "\\" in path and "/" not in path else PurePosixPath(path)
        top = type(whole)(source)
        parts = whole.relative_to(top.parent).parts if whole.is_relative_to(top.parent) else whole.parts[-3:]
    else:
        parts = PurePosixPath(path).parts[1:]
    return " / ".join(parts[:-1])
