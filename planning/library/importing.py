"""Many stitch files into the library: read in parallel and kept a few at a time, so that a run that is killed
goes on where it was.

A file is known by its place, size and time of change; failing that, by its content. Only the rest is read.
"""

import hashlib
import os
import stat
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.compute.errors import WorkshopError
from inventory.kept_files import UNFINISHED, waiting
from inventory.work import LaidDown, Stopped, TakenOver
from planning.library.designs import keep_contents, keep_records
from planning.library.digests import DesignDigest, digest_design_files
from planning.models import Design, ImportedFile, ImportRun
from planning.stitch_files.formats import FORMATS
from planning.stitch_files.reading import DEFAULT_LIMITS, UnreadableDesign, printable
from planning.stitch_files.unpacking import UnsafeArchive, plain_name, unpack, unsafe_name

# A reading may take a minute; a run that shows no sign of life for so long has been killed.
GIVEN_UP_AFTER = timedelta(minutes=5)
PATH_LENGTH, REASON_LENGTH, SOURCE_LENGTH = 1000, 500, 500
# So many files, or those of so many seconds, are kept in one transaction.
KEPT_AT_ONCE, KEPT_WITHIN_SECONDS = 16, 0.5
COUNTED_AT_ONCE = 250  # of those whose content is there already, which are only looked at
Outcome = ImportedFile.Outcome
Clock = Callable[[], datetime]
# Told how many files of how many are dealt with, with ``always=True`` within the transaction that keeps them; raises
# where somebody stopped the run, or another process has taken it over.
Progress = Callable[..., None]


class CannotImport(WorkshopError):
    """There is nothing to import, or somebody is importing it."""


@dataclass(frozen=True)
class Candidate:
    """A file to be imported: where it lies, what it is called in the records, and what the disk says of it.

    ``modified_ns`` is None where the place and time of the file say nothing later. ``reason`` is set where it
    is refused before it is opened.
    """

    path: Path
    record: str
    size_bytes: int
    modified_ns: int | None = None
    reason: str = ""


def source_in_words(source: str) -> str:
    """Return what a run kept as its source in the reader's words: a name stays, several files are counted.

    >>> source_in_words("12 files"), source_in_words("crew-cap-badge.pes")
    ('12 files', 'crew-cap-badge.pes')
    """
    number = source.removesuffix(" files")
    if number == source or not number.isdecimal():
        return source
    return ngettext("{number} file", "{number} files", int(number)).format(number=number)


def import_folder(
    folder: Path,
    *,
    trim_at_jumps: int,
    clock: Clock,
    by: Any = None,
    processes: int = 2,
    tell: Callable[[ImportRun], None] = lambda run: None,
) -> ImportRun:
    """Return the run that brought every stitch file under ``folder`` into the library. Raises CannotImport."""
    folder = folder.resolve()
    if not folder.is_dir():
        raise CannotImport(
            _("{folder} is not a folder. Name the folder that the stitch files lie in.").format(folder=folder)
        )
    now = clock()
    run = ImportRun.objects.create(
        source=_storable(folder)[-SOURCE_LENGTH:], by=by, asked_at=now, started_at=now, alive_at=now
    )
    candidates, run.passed_over = _in_folder(folder)
    run.found = len(candidates)
    tell(run)
    left = _without_unchanged(run, candidates, folder)
    tell(run)
    _carry_out(run, left, processes=processes, trim_at_jumps=trim_at_jumps, clock=clock, tell=tell)
    return run


def receive_files(files: Iterable[UploadedFile], *, at: datetime, by: Any = None) -> ImportRun:
    """Return the run that waits with files from the browser, put where whoever carries it out will find them."""
    files = list(files)
    names = [printable(file.name or "file") for file in files]
    source = names[0] if len(names) == 1 else f"{len(names)} files"
    taken = waiting.take_in((plain_name(file.name or "file"), file) for file in files)
    try:
        with transaction.atomic():
            run = ImportRun.objects.create(
                source=source[:SOURCE_LENGTH], by=by, asked_at=at, found=len(files)
            )
            waiting.note(run.pk, taken)
    except BaseException:
        waiting.let_go(taken)
        raise
    return run


def _untold(done: int, total: int, saying: str = "", *, always: bool = False) -> None:
    """Tell nobody."""


def carry_out(
    run_id: int,
    *,
    trim_at_jumps: int,
    clock: Clock,
    processes: int = 2,
    progress: Progress | None = None,
) -> ImportRun | None:
    """Import what a run waits with and return it, or None where it is through; two never work at one run.

    Whoever gives ``progress`` has taken the run as long work, and knows that nobody else has it. Without, a run that
    was killed is taken up again once it has shown no sign of life for a while.
    """
    now = clock()
    free = Q(started_at__isnull=True) | Q(alive_at__lt=now - GIVEN_UP_AFTER)
    if progress is not None:
        free = Q()
    if not ImportRun.objects.filter(free, pk=run_id, ended_at__isnull=True).update(
        started_at=now, alive_at=now
    ):
        return None
    run = ImportRun.objects.get(pk=run_id)
    progress = progress or _untold
    try:
        # Of its own: whoever was thought dead may still be reading in the folder of an earlier turn.
        with tempfile.TemporaryDirectory(dir=settings.DATA_FOLDER, prefix=f"{UNFINISHED}import-") as folder:
            candidates, run.passed_over = _received(run, into=Path(folder), progress=progress)
            run.found = len(candidates)
            rows = dict(run.files.values_list("path", "outcome"))
            run.kept, run.known, run.refused = (
                sum(outcome == each for outcome in rows.values())
                for each in (Outcome.KEPT, Outcome.KNOWN, Outcome.REFUSED)
            )
            run.save()
            left = [candidate for candidate in candidates if candidate.record not in rows]
            _carry_out(
                run, left, processes=processes, trim_at_jumps=trim_at_jumps, clock=clock, progress=progress
            )
    except (TakenOver, LaidDown):
        raise  # somebody else goes on with it
    except Exception as error:
        # Whoever waits for the run must learn that it will not end; the cause goes on to the log.
        ImportRun.objects.filter(pk=run_id).update(
            ended_at=clock(),
            failure=str(error)
            if isinstance(error, WorkshopError)
            else (
                _("The program itself failed ({error}). What was kept stays; import the rest again.").format(
                    error=type(error).__name__
                )
            ),
        )
        if isinstance(error, Stopped):
            waiting.forget(run.pk)
        raise
    waiting.forget(run.pk)
    return run


def _carry_out(
    run: ImportRun,
    candidates: Iterable[Candidate],
    *,
    processes: int,
    trim_at_jumps: int,
    clock: Clock,
    tell: Callable[[ImportRun], None] = lambda run: None,
    progress: Progress = _untold,
) -> None:
    by_path: dict[Path, Candidate] = {}
    by_content = dict(Design.objects.values_list("sha256", "pk"))

    def to_read() -> Iterator[Path]:
        known: list[ImportedFile] = []
        last = time.monotonic()
        for candidate in candidates:
            if candidate.reason:
                _refuse(run, candidate, candidate.reason, clock=clock, progress=progress)
                tell(run)
                continue
            design_id = by_content.get(_sha256(candidate))
            if design_id is not None:
                known.append(_file_record(run, candidate, Outcome.KNOWN, design_id=design_id))
                if len(known) >= COUNTED_AT_ONCE or time.monotonic() - last > KEPT_WITHIN_SECONDS:
                    _count_known(run, known, clock=clock, progress=progress)
                    tell(run)
                    known, last = [], time.monotonic()
                continue
            by_path[candidate.path] = candidate
            yield candidate.path
        _count_known(run, known, clock=clock, progress=progress)
        tell(run)

    read: list[tuple[Candidate, DesignDigest | UnreadableDesign]] = []
    last = time.monotonic()
    for path, found in digest_design_files(to_read(), processes=processes, trim_at_jumps=trim_at_jumps):
        read.append((by_path.pop(path), found))
        if len(read) >= KEPT_AT_ONCE or time.monotonic() - last > KEPT_WITHIN_SECONDS:
            by_content |= _keep_all(run, read, trim_at_jumps=trim_at_jumps, clock=clock, progress=progress)
            tell(run)
            read, last = [], time.monotonic()
    _keep_all(run, read, trim_at_jumps=trim_at_jumps, clock=clock, progress=progress)
    with transaction.atomic():
        run.ended_at = clock()
        run.save()
        progress(run.done, run.found, always=True)
    tell(run)


def _keep_all(
    run: ImportRun,
    read: list[tuple[Candidate, DesignDigest | UnreadableDesign]],
    *,
    trim_at_jumps: int,
    clock: Clock,
    progress: Progress,
) -> dict[str, int]:
    """Keep what was read and record what became of it; return the ids of the designs by their content.

    Some files in one transaction: that takes a fraction of the time of one each, and a run that is killed
    reads no more than these again.
    """
    keep_contents(
        [(found, candidate.path) for candidate, found in read if not isinstance(found, UnreadableDesign)]
    )
    return _record_all(run, read, trim_at_jumps=trim_at_jumps, clock=clock, progress=progress)


@transaction.atomic
def _record_all(
    run: ImportRun,
    read: list[tuple[Candidate, DesignDigest | UnreadableDesign]],
    *,
    trim_at_jumps: int,
    clock: Clock,
    progress: Progress,
) -> dict[str, int]:
    now = clock()
    ids: dict[str, int] = {}
    records = []
    sound = [(candidate, found) for candidate, found in read if not isinstance(found, UnreadableDesign)]
    # Some may have been kept in the meantime, by this run or by somebody else.
    kept = keep_records(
        [(digest, candidate.path) for candidate, digest in sound], trim_at_jumps=trim_at_jumps, at=now
    )
    for (candidate, digest), (design, is_new) in zip(sound, kept, strict=True):
        ids[digest.sha256] = design.pk
        run.kept, run.known = run.kept + is_new, run.known + (not is_new)
        outcome = Outcome.KEPT if is_new else Outcome.KNOWN
        records.append(_file_record(run, candidate, outcome, design_id=design.pk))
    for candidate, found in read:
        if isinstance(found, UnreadableDesign):
            run.refused += 1
            records.append(_file_record(run, candidate, Outcome.REFUSED, reason=str(found)))
    ImportedFile.objects.bulk_create(records)
    _show_life(run, now, progress)
    return ids


@transaction.atomic
def _count_known(run: ImportRun, known: list[ImportedFile], *, clock: Clock, progress: Progress) -> None:
    run.known += len(known)
    ImportedFile.objects.bulk_create(known)
    _show_life(run, clock(), progress)


@transaction.atomic
def _refuse(run: ImportRun, candidate: Candidate, reason: str, *, clock: Clock, progress: Progress) -> None:
    run.refused += 1
    _file_record(run, candidate, Outcome.REFUSED, reason=reason).save()
    _show_life(run, clock(), progress)


def _file_record(
    run: ImportRun, candidate: Candidate, outcome: str, *, design_id: int | None = None, reason: str = ""
) -> ImportedFile:
    return ImportedFile(
        run=run,
        path=candidate.record,
        size_bytes=candidate.size_bytes,
        modified_ns=candidate.modified_ns,
        outcome=outcome,
        reason=reason[:REASON_LENGTH],
        design_id=design_id,
    )


def _show_life(run: ImportRun, now: datetime, progress: Progress) -> None:
    run.alive_at = now
    run.save(update_fields=["kept", "known", "refused", "alive_at"])
    progress(run.done, run.found, always=True)


def _sha256(candidate: Candidate) -> str:
    """Return the mark of a file's content, or nothing for one that will not be read."""
    if not 0 < candidate.size_bytes <= DEFAULT_LIMITS.file_bytes:
        return ""
    try:
        with candidate.path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""  # the reading says why, in words


def _in_folder(folder: Path) -> tuple[list[Candidate], int]:
    """Return the stitch files under a folder by their names, and the number of other files; links are left."""
    found: list[Candidate] = []
    others = 0
    for place, folders, names in os.walk(folder):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for name in sorted(names):
            path = Path(place, name)
            if path.suffix[1:].lower() not in FORMATS or name.startswith(".") or path.is_symlink():
                others += 1
                continue
            try:
                status = path.stat()
            except OSError as error:
                reason = _("{name} cannot be opened: {reason}.").format(
                    name=printable(name), reason=(error.strerror or _("no reason given")).lower()
                )
                found.append(Candidate(path, _storable(path), 0, reason=reason))
                continue
            is_file = stat.S_ISREG(status.st_mode)
            found.append(
                Candidate(
                    path,
                    _storable(path),
                    status.st_size,
                    status.st_mtime_ns,
                    ""
                    if is_file
                    else _("{name} is a pipe or a device, not a file.").format(name=printable(name)),
                )
            )
    return found, others


def _without_unchanged(run: ImportRun, candidates: list[Candidate], folder: Path) -> list[Candidate]:
    """Return the candidates that no earlier run has dealt with as they are now; count and list the others."""
    # Oldest first, so that of several runs the last word stands.
    earlier: dict[str, tuple[Any, ...]] = {
        path: tuple(said)
        for path, *said in ImportedFile.objects.filter(
            path__startswith=_storable(folder)[:200], modified_ns__isnull=False
        )
        .order_by("pk")
        .values_list("path", "size_bytes", "modified_ns", "outcome", "design_id", "reason")
    }
    left: list[Candidate] = []
    again: list[ImportedFile] = []
    for candidate in candidates:
        size_bytes, modified_ns, outcome, design_id, reason = earlier.get(candidate.record, (None,) * 5)
        is_same = (size_bytes, modified_ns) == (candidate.size_bytes, candidate.modified_ns)
        if is_same and outcome == Outcome.REFUSED:
            again.append(
                ImportedFile(
                    run=run,
                    path=candidate.record,
                    size_bytes=candidate.size_bytes,
                    modified_ns=candidate.modified_ns,
                    outcome=Outcome.REFUSED,
                    reason=reason,
                )
            )
        elif is_same and design_id is not None:
            run.known += 1
        else:
            left.append(candidate)
    ImportedFile.objects.bulk_create(again)
    run.refused += len(again)
    run.save()
    return left


def _received(run: ImportRun, *, into: Path, progress: Progress) -> tuple[list[Candidate], int]:
    """Return the files that a run waits with, fetched and archives unpacked, and the number of others in those."""
    candidates: list[Candidate] = []
    others = 0
    sent = waiting.waiting_with(run.pk)
    if not sent:
        raise CannotImport(
            _("The files that waited here are gone from the workshop's files. Send them again.")
        )
    for number, each in enumerate(sent, start=1):
        progress(0, len(sent), _("The files are fetched."))
        record = f"{number:05}/{each.name}"
        problem = unsafe_name(each.name)
        if problem:
            refusal = _("{name} is refused: {problem}.").format(name=each.name, problem=problem)
            candidates.append(Candidate(into, record, each.bytes, reason=refusal))
            continue
        try:
            path = waiting.fetch(each, number=number, into=into)
            if path.suffix != ".zip":
                candidates.append(Candidate(path, record, each.bytes))
                continue
            members, more = unpack(path, into=into / f"unpacked-{number:05}", name=path.name)
        except (UnsafeArchive, waiting.GoneWhileWaiting) as refused:
            candidates.append(Candidate(into, record, each.bytes, reason=str(refused)))
            continue
        others += more
        candidates += [
            Candidate(
                member.path or path,
                f"{number:05}.{place:05}/{member.shown}"[:PATH_LENGTH],
                member.size_bytes,
                reason=member.reason,
            )
            for place, member in enumerate(members)
        ]
    return candidates, others


def _storable(path: Path) -> str:
    """Return a path as text that every database takes; bytes that are no text are written as such."""
    return os.fsencode(path).decode(errors="backslashreplace").replace("\0", "?")[-PATH_LENGTH:]
