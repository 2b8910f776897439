"""Files that the workshop keeps: there, whole, and known."""

import re
import shutil
import time
from collections.abc import Iterator
from functools import partial
from pathlib import Path

from django.conf import settings
from django.urls import reverse
from django.utils.translation import gettext as _

from inventory.compute.spoken import figure
from inventory.kept_files import KeptFile, state_of
from inventory.kept_files.by_content import UNFINISHED
from planning.library.designs import kept_file
from planning.library.photos import photo_file
from planning.models import Design, StitchOutNote
from workshop.doctor.finding import DoctorFinding

AREA = "files"
FORGOTTEN_AFTER_S = 6 * 3600
MOST_NAMED = 20
LEFT_BY_STOPPED = (UNFINISHED, "backing-up-", "restoring-")  # the last two were their names before
_HASHED = re.compile(r"[0-9a-f]{64}")


def stored_findings() -> Iterator[DoctorFinding]:
    """Yield files that are missing, damaged, unknown, or never written to their end."""
    known = set()
    for design in Design.objects.only("name", "sha256", "format", "size_bytes").order_by("pk").iterator():
        kept = kept_file(design)
        known.add(kept.path)
        state = state_of(kept, size_bytes=design.size_bytes)
        if state != "good":
            yield DoctorFinding(
                AREA,
                (
                    _("The stitch file of {design} is missing.")
                    if state == "missing"
                    else _("The stitch file of {design} is damaged.")
                ).format(design=design.name),
                _("Import the same file again on {page}, or restore a backup.").format(
                    page=reverse("design_import")
                ),
            )
    yield from _photographs()
    root = Path(settings.MEDIA_ROOT)
    yield from _damaged_imports(root / "imports")
    yield from _orphans(root / "designs", known)
    yield from _unfinished(root)
    yield from _unfinished_folders()


def _photographs() -> Iterator[DoctorFinding]:
    for note in StitchOutNote.objects.exclude(photo="").select_related("design").order_by("pk"):
        state = state_of(photo_file(note.photo))
        if state != "good":
            yield DoctorFinding(
                AREA,
                (
                    _("The photograph of the test of {design} on {fabric}, {day}, is missing.")
                    if state == "missing"
                    else _("The photograph of the test of {design} on {fabric}, {day}, is damaged.")
                ).format(design=note.design, fabric=note.fabric, day=note.stitched_on),
                _("Note it again with the photograph, or restore a backup."),
            )


def _damaged_imports(folder: Path) -> Iterator[DoctorFinding]:
    for path in sorted(folder.glob("*")) if folder.is_dir() else ():
        if (
            _HASHED.fullmatch(path.name)
            and state_of(KeptFile(f"imports/{path.name}", path.name, "")) == "damaged"
        ):
            yield DoctorFinding(
                AREA,
                _("A list that was imported, {name}…, is damaged.").format(name=path.name[:12]),
                _("Mend it with: python3 manage.py doctor --mend; what it put on the shelf stays."),
                mend_now=path.unlink,
            )


def _orphans(folder: Path, known: set[Path]) -> Iterator[DoctorFinding]:
    lost = [
        path
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path not in known and not path.name.startswith(UNFINISHED) and _is_old(path)
    ]
    for path in lost[:MOST_NAMED]:
        yield DoctorFinding(
            AREA,
            _("{file} belongs to no design ({st_size} bytes).").format(
                file=path.relative_to(folder.parent), st_size=figure(path.stat().st_size)
            ),
            _("Harmless. Import it again if you miss it, or delete it."),
            advice=True,
        )


def _unfinished(root: Path) -> Iterator[DoctorFinding]:
    for path in sorted(root.rglob(f"{UNFINISHED}*")):
        if path.is_file() and _is_old(path):
            yield DoctorFinding(
                AREA,
                _("{file} was never written to its end.").format(file=path.relative_to(root)),
                _("Mend it with: python3 manage.py doctor --mend"),
                mend_now=partial(path.unlink, missing_ok=True),
            )


def _unfinished_folders() -> Iterator[DoctorFinding]:
    """Yield what a backup, a restore or an upload that was stopped has left; it can be as large as all data."""
    folders = {
        Path(settings.DATA_FOLDER),
        Path(settings.BACKUP_FOLDER),
        Path(settings.MEDIA_ROOT) / "incoming",
    }
    for folder in sorted(folders):
        for path in sorted(each for start in LEFT_BY_STOPPED for each in folder.glob(f"{start}*")):
            if path.is_dir() and _is_old(path):
                yield DoctorFinding(
                    AREA,
                    _("{path} was left by a backup, a restore or an upload that was stopped.").format(
                        path=path
                    ),
                    _("Mend it with: python3 manage.py doctor --mend"),
                    mend_now=partial(shutil.rmtree, path, ignore_errors=True),
                )


def _is_old(path: Path) -> bool:
    return time.time() - path.stat().st_mtime > FORGOTTEN_AFTER_S
