"""Which kept files are not what their names say: a backup takes them as they are, and tells of them."""

import re
import sqlite3
from collections.abc import Collection, Iterable, Mapping
from contextlib import closing
from pathlib import Path

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.compute.spoken import N_, figure
from planning.library.designs import stored_name
from planning.models import Design
from workshop.backup.archive import FILES, ArchivePart, Manifest

A_HASH = re.compile("[0-9a-f]{64}")
DRAWN = f"{FILES}pictures/"  # named by the design that they are drawn of
NAMED = 10
MENDED_BY = N_(
    "Send the same files again, or restore a backup that was made before: it puts back what is whole in it."
)
# By the folder of a file.
MISSING = {
    "of a design": N_("The stitch file of {design} is missing."),
    "imports": N_("A list that was imported, {file}…, is missing."),
    "stitch-outs": N_("The photograph of a test, {file}…, is missing."),
    "designs": N_("A stitch file, {file}…, is missing."),
    "other": N_("A kept file, {file}…, is missing."),
}
DAMAGED = {
    "of a design": N_("The stitch file of {design} is damaged."),
    "imports": N_("A list that was imported, {file}…, is damaged."),
    "stitch-outs": N_("The photograph of a test, {file}…, is damaged."),
    "designs": N_("A stitch file, {file}…, is damaged."),
    "other": N_("A kept file, {file}…, is damaged."),
}


def damaged_files(parts: Mapping[str, ArchivePart]) -> tuple[str, ...]:
    """Return the names of files kept by content whose content is another by now.

    >>> whole = ArchivePart(1, "ab" * 32)
    >>> damaged_files({f"files/designs/ab/{'ab' * 32}.pes": whole, f"files/imports/{'cd' * 32}": whole}) == (
    ...     f"files/imports/{'cd' * 32}",
    ... )
    True
    """
    return tuple(
        name for name, part in parts.items()
        if not name.startswith(DRAWN) and A_HASH.fullmatch(said := Path(name).stem) and said != part.sha256
    )  # fmt: skip


def missing_files(database: Path, parts: Collection[str]) -> tuple[str, ...]:
    """Return the names of the stitch files that the designs in ``database`` want and that are not among ``parts``."""
    with closing(sqlite3.connect(f"file:{database}?mode=ro", uri=True)) as copied:
        try:
            wanted = copied.execute("SELECT sha256, format FROM planning_design ORDER BY id").fetchall()
        except sqlite3.OperationalError:
            return ()  # of a version that waits for its update, and had other columns
    names = dict.fromkeys(f"{FILES}{stored_name(sha256, format)}" for sha256, format in wanted)
    return tuple(name for name in names if name not in parts)


def not_whole_in_words(manifest: Manifest) -> list[str]:
    """Return a sentence for each file of a backup that was not whole when it was made, by what people call it."""
    called = _designs_of([*manifest.damaged, *manifest.missing])
    told = [_told_of(name, called, MISSING) for name in manifest.missing]
    told += [_told_of(name, called, DAMAGED) for name in manifest.damaged]
    if len(told) > NAMED:
        told = [
            *told[:NAMED],
            ngettext("So is {count} more file.", "So are {count} more files.", len(told) - NAMED).format(
                count=figure(len(told) - NAMED)
            ),
        ]
    return told


def _designs_of(names: Iterable[str]) -> dict[str, str]:
    hashes = {Path(name).stem for name in names}
    return dict(Design.objects.filter(sha256__in=hashes).order_by("-pk").values_list("sha256", "name"))


def _told_of(name: str, designs: Mapping[str, str], sentences: Mapping[str, str]) -> str:
    kind, said = name.removeprefix(FILES).partition("/")[0], Path(name).stem
    if said in designs:
        return _(sentences["of a design"]).format(design=designs[said])
    return _(sentences.get(kind, sentences["other"])).format(file=said[:12])
