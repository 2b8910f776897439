"""Files that the workshop keeps: there, whole, and known."""

import random
import re
import shutil
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path, PurePosixPath

from django.conf import settings
from django.urls import reverse
from django.utils.translation import gettext as _

from inventory.compute.spoken import figure
from inventory.kept_files import UNFINISHED, KeptFile, StoredFile, state_of, store, waiting
from planning.library.designs import kept_file
from planning.library.photos import photo_file
from planning.models import Design, ImportRun, StitchOutNote
from workshop.doctor.finding import DoctorFinding

AREA = "files"
FORGOTTEN_AFTER_S = 6 * 3600
MOST_NAMED = 20
# Of a bucket so many files are read, drawn by chance, unless every one is asked for; of the others a list tells.
READ_OF_A_BUCKET = 200
LEFT_BY_STOPPED = (UNFINISHED, "backing-up-", "restoring-")  # the last two were their names before
_HASHED = re.compile(r"[0-9a-f]{64}")
Listed = Mapping[str, StoredFile]


@dataclass(frozen=True)
class Looked:
    """A file that must be there: what is said where it is missing or damaged, what mends it, its size if known."""

    kept: KeptFile
    missing: str
    damaged: str
    mend: str
    size_bytes: int | None = None
    is_list: bool = False


def stored_findings(
    *, every_one: bool | None = None, rng: random.Random | None = None
) -> Iterator[DoctorFinding]:
    """Yield files that are missing, damaged, unknown, or never written to their end.

    With ``every_one`` each is read and compared, as those of a folder are anyhow; of a bucket otherwise some, which
    ``rng`` draws, while the others are looked at by name and length alone.
    """
    try:
        yield from _in_the_store(every_one=every_one, rng=rng or random.Random())
    except OSError as problem:
        yield DoctorFinding(
            AREA,
            _("The files in {place} could not be looked at ({cause}).").format(
                place=store().in_words(), cause=problem.strerror or problem
            ),
            _("See that it answers and that FILES_URL, FILES_KEY and FILES_SECRET are right.")
            if store().is_far
            else _("Give the right to read."),
        )
    yield from _unfinished_folders()


def _in_the_store(*, every_one: bool | None, rng: random.Random) -> Iterator[DoctorFinding]:
    listed = {each.name: each for each in store().under()}  # before the records: what comes in now is whole
    wanted = [*_designs(), *_photographs(), *_lists(listed)]
    read = {each.kept.stored for each in wanted}
    if store().is_far and not every_one and len(read) > READ_OF_A_BUCKET:
        read = set(rng.sample(sorted(read), READ_OF_A_BUCKET))
    for each in wanted:
        yield from _state(each, listed, is_read=each.kept.stored in read)
    if len(read) < len(wanted):
        yield DoctorFinding(
            AREA,
            _(
                "{read} of {all} kept files were read and compared, the others only counted and measured."
            ).format(read=figure(len(read)), all=figure(len(wanted))),
            _("To read every one: python3 manage.py doctor --all"),
            advice=True,
        )
    yield from _orphans(listed, known={each.kept.stored for each in wanted})
    yield from _left_over(listed)


def _designs() -> Iterator[Looked]:
    for design in Design.objects.only("name", "sha256", "format", "size_bytes").order_by("pk").iterator():
        yield Looked(
            kept_file(design),
            _("The stitch file of {design} is missing.").format(design=design.name),
            _("The stitch file of {design} is damaged.").format(design=design.name),
            _("Import the same file again on {page}, or restore a backup.").format(
                page=reverse("design_import")
            ),
            size_bytes=design.size_bytes,
        )


def _photographs() -> Iterator[Looked]:
    for note in StitchOutNote.objects.exclude(photo="").select_related("design").order_by("pk"):
        about = {"design": note.design, "fabric": note.fabric, "day": note.stitched_on}
        yield Looked(
            photo_file(note.photo),
            _("The photograph of the test of {design} on {fabric}, {day}, is missing.").format(**about),
            _("The photograph of the test of {design} on {fabric}, {day}, is damaged.").format(**about),
            _("Note it again with the photograph, or restore a backup."),
        )


def _lists(listed: Listed) -> Iterator[Looked]:
    for name in listed:
        folder, _slash, sha256 = name.rpartition("/")
        if folder == "imports" and _HASHED.fullmatch(sha256):
            yield Looked(
                KeptFile(name, sha256, ""),
                "",
                _("A list that was imported, {name}…, is damaged.").format(name=sha256[:12]),
                _("Mend it with: python3 manage.py doctor --mend; what it put on the shelf stays."),
                is_list=True,
            )


def _state(looked: Looked, listed: Listed, *, is_read: bool) -> Iterator[DoctorFinding]:
    there = listed.get(looked.kept.stored)
    state = "good"
    if there is None or (looked.size_bytes is not None and there.bytes != looked.size_bytes) or is_read:
        # Looked at itself, whatever the list said: it may have come in, or been mended, since.
        state = state_of(looked.kept, size_bytes=looked.size_bytes)
    if state == "good" or (looked.is_list and state == "missing"):
        return
    mend_now = partial(store().delete, looked.kept.stored) if looked.is_list else None
    what = looked.missing if state == "missing" else looked.damaged
    yield DoctorFinding(AREA, what, looked.mend, mend_now=mend_now)


def _orphans(listed: Listed, known: set[str]) -> Iterator[DoctorFinding]:
    lost = [
        each
        for each in listed.values()
        if each.name.startswith("designs/") and each.name not in known and not _unwritten(each) and _is_old(each)
    ]  # fmt: skip
    for each in lost[:MOST_NAMED]:
        yield DoctorFinding(
            AREA,
            _("{file} belongs to no design ({st_size} bytes).").format(
                file=each.name, st_size=figure(each.bytes)
            ),
            _("Harmless. Import it again if you miss it, or delete it."),
            advice=True,
        )


def _left_over(listed: Listed) -> Iterator[DoctorFinding]:
    """Yield what was never written to its end, and what waits for no import any more."""
    waits = waiting.names_waiting(
        ImportRun.objects.filter(ended_at__isnull=True).values_list("pk", flat=True)
    )
    for each in listed.values():
        forgotten = each.name.startswith(f"{waiting.FOLDER}/") and each.name not in waits
        if (_unwritten(each) or forgotten) and _is_old(each):
            yield DoctorFinding(
                AREA,
                (
                    _("{file} was never written to its end.")
                    if _unwritten(each)
                    else _("{file} was left by an upload or an import that was stopped.")
                ).format(file=each.name),
                _("Mend it with: python3 manage.py doctor --mend"),
                mend_now=partial(store().delete, each.name),
            )


def _unfinished_folders() -> Iterator[DoctorFinding]:
    """Yield what a backup, a restore or an import that was stopped has left; it can be as large as all data."""
    folders = {
        Path(settings.DATA_FOLDER),
        Path(settings.BACKUP_FOLDER),
        Path(settings.MEDIA_ROOT) / "incoming",  # where earlier versions unpacked
    }
    for folder in sorted(folders):
        for path in sorted(each for start in LEFT_BY_STOPPED for each in folder.glob(f"{start}*")):
            if path.is_dir() and time.time() - path.stat().st_mtime > FORGOTTEN_AFTER_S:
                yield DoctorFinding(
                    AREA,
                    _("{path} was left by a backup, a restore or an upload that was stopped.").format(
                        path=path
                    ),
                    _("Mend it with: python3 manage.py doctor --mend"),
                    mend_now=partial(shutil.rmtree, path, ignore_errors=True),
                )


def _unwritten(file: StoredFile) -> bool:
    return PurePosixPath(file.name).name.startswith(UNFINISHED)


def _is_old(file: StoredFile) -> bool:
    return time.time() - file.changed_at.timestamp() > FORGOTTEN_AFTER_S
