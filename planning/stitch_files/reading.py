"""The edge to stitch files: a path in; out comes a walked design, or a refusal that a person understands.

Nothing of the reading library comes into this process: ``planning.stitch_files.child`` has it, one process a file.
"""

import hashlib
import json
import logging
import os
import signal
from collections.abc import Callable, Iterable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from inventory.compute.spoken import _, figure, plainly
from inventory.processes.children import (
    CAN_STAND,
    PACKAGE_ROOT,
    ChildAnswer,
    Order,
    StandingReaders,
    ask_once,
)
from planning.compute.stitches import file_sentences as say
from planning.compute.stitches.plausibility import end_not_held, signs_of_damage
from planning.compute.stitches.walk import (
    COLOUR_CHANGE,
    END,
    NEEDLE_SET,
    SEQUIN_EJECT,
    STITCH,
    FileThread,
    StitchRecords,
    Walked,
    walk,
)
from planning.compute.stitches.warnings import FileWarning, look
from planning.stitch_files.formats import StitchFormat
from planning.stitch_files.formats.claims import Content, Span, disagreements
from planning.stitch_files.formats.endings import left_over
from planning.stitch_files.opening import (
    DEFAULT_LIMITS,
    MIB,
    ReadLimits,
    UnreadableDesign,
    bytes_of,
    design_name,
    format_of,
    printable,
    refuse_content,
)
from planning.stitch_files.processes import READER, READING
from planning.stitch_files.sentences import (
    NO_STITCHES,
    NO_THREADS,
    NO_THREADS_CUT_OFF,
    SPARE_THREADS,
    TOO_LARGE,
    refusal_said,
)

__all__ = [
    "DEFAULT_LIMITS",
    "MIB",
    "PACKAGE_ROOT",
    "ReadDesign",
    "ReadLimits",
    "UnreadableDesign",
    "design_name",
    "printable",
    "read_design_file",
    "read_design_files",
]

logger = logging.getLogger(__name__)

Told = TypeVar("Told")

# A file may list threads that it does not use, but not a whole colour card.
MOST_SPARE_THREADS = 100
# Writers differ in what they count as a stitch.
COUNT_SLACK = 0.01


@dataclass(frozen=True, eq=False)
class ReadDesign:
    """One stitch file: its records, its path, and what a person should know of both."""

    name: str
    sha256: str
    format: str
    records: StitchRecords
    walked: Walked
    graded_warnings: tuple[FileWarning, ...]
    size_bytes: int

    @property
    def warnings(self) -> tuple[str, ...]:
        return tuple(each.kept for each in self.graded_warnings)


@dataclass(frozen=True)
class AskedFile:
    """What is kept of a file while its bytes are being read elsewhere."""

    path: Path
    label: str
    known: StitchFormat
    data: bytes


def read_design_file(
    path: str | os.PathLike[str],
    *,
    trim_at_jumps: int = 3,
    limits: ReadLimits = DEFAULT_LIMITS,
    name: str | None = None,
) -> ReadDesign:
    """Return the design in a stitch file.

    ``name`` is the file's name as the person knows it, where ``path`` is only where it lies now.
    ``trim_at_jumps`` is the number of jumps in a row at which the machine trims. Raises UnreadableDesign.
    """
    asked = _opened(Path(path), name=name, limits=limits)
    answer = ask_once(READER, asked.data, _order(asked, limits), wall_seconds=limits.wall_seconds)
    return understood(asked, answer, trim_at_jumps=trim_at_jumps, limits=limits)


def read_design_files(
    paths: Iterable[str | os.PathLike[str]],
    *,
    processes: int = 2,
    limits: ReadLimits = DEFAULT_LIMITS,
    trim_at_jumps: int = 3,
) -> Iterator[tuple[Path, ReadDesign | UnreadableDesign]]:
    """Yield each path with its design or the refusal, in the order in which they are done.

    Paths are taken as they are needed: no more files are held than one for each process, and one. Where the
    system cannot fork a process, they are read one by one.
    """
    yield from answers_for(
        paths,
        program=READING,
        processes=processes,
        limits=limits,
        order=lambda asked: _order(asked, limits),
        told=lambda asked, answer: understood(asked, answer, trim_at_jumps=trim_at_jumps, limits=limits),
    )


def answers_for(
    paths: Iterable[str | os.PathLike[str]],
    *,
    program: tuple[str, ...],
    processes: int,
    limits: ReadLimits,
    order: Callable[[AskedFile], Order],
    told: Callable[[AskedFile, ChildAnswer], Told],
) -> Iterator[tuple[Path, Told | UnreadableDesign]]:
    """Yield each path with what is ``told`` of it by the ``program``, or the refusal, as they are done."""
    with StandingReaders[AskedFile](processes, wall_seconds=limits.wall_seconds, program=program) as readers:

        def settled(asked: AskedFile, answer: ChildAnswer) -> tuple[Path, Told | UnreadableDesign]:
            try:
                return asked.path, told(asked, answer)
            except UnreadableDesign as problem:
                return asked.path, _bare(problem)

        for path in map(Path, paths):
            try:
                asked = _opened(path, name=None, limits=limits)
            except UnreadableDesign as problem:
                yield path, _bare(problem)
                continue
            if not CAN_STAND:
                answer = ask_once(READER, asked.data, order(asked), wall_seconds=limits.wall_seconds)
                yield settled(asked, answer)
            elif readers.have_room():
                readers.ask(asked, asked.data, order(asked))
            else:
                done = readers.next_answer()
                readers.ask(asked, asked.data, order(asked))
                yield settled(*done)
        while readers.busy:
            yield settled(*readers.next_answer())


def _bare(problem: UnreadableDesign) -> UnreadableDesign:
    """Return the refusal alone: its traceback would keep the file's bytes for as long as it is kept."""
    return UnreadableDesign(str(problem))


def _opened(path: Path, *, name: str | None, limits: ReadLimits) -> AskedFile:
    """Return a file that may be read."""
    label = printable(name or path.name)
    known = format_of(path, label=label)
    data = bytes_of(path, label=label, limits=limits)
    refuse_content(data, known, label=label, limits=limits)
    return AskedFile(
        path=path,
        label=label,
        known=known,
        data=data,
    )


def _order(asked: AskedFile, limits: ReadLimits) -> Order:
    return {
        "extension": asked.known.extension,
        "stitches": limits.stitches,
        "blocks": limits.blocks,
        "memory_bytes": limits.memory_bytes,
        "cpu_seconds": limits.cpu_seconds,
    }


def digest_order(asked: AskedFile, *, limits: ReadLimits, trim_at_jumps: int) -> Order:
    """Return what ``planning.library.digesting_child`` is asked."""
    return _order(asked, limits) | {
        "label": asked.label,
        "limits": asdict(limits),
        "trim_at_jumps": trim_at_jumps,
    }


def digest_in(asked: AskedFile, answer: ChildAnswer, *, limits: ReadLimits) -> dict[str, Any]:
    """Return the digest that ``planning.library.digesting_child`` answers with. Raises UnreadableDesign."""
    _refuse_stopped(answer, label=asked.label, limits=limits)
    told = json.loads(answer.output)
    if "refused" in told:
        raise UnreadableDesign(refusal_said(told["refused"]))
    digest: dict[str, Any] = told["digest"]
    return digest


def understood(
    asked: AskedFile, answer: ChildAnswer, *, trim_at_jumps: int, limits: ReadLimits
) -> ReadDesign:
    """Return the design that an answer tells. Raises UnreadableDesign."""
    label, known = asked.label, asked.known
    header, records = _unpacked(answer, label=label, limits=limits)
    walked = walk(
        records,
        trims=known.trims,
        record_limit_tenths=known.record_limit_tenths,
        trim_at_jumps=trim_at_jumps,
    )
    refuse_design(walked, records, known, label=label, limits=limits)
    content = content_of(records, walked, known, ended_at=header["ended_at"])
    return ReadDesign(
        name=design_name(label),
        sha256=hashlib.sha256(asked.data).hexdigest(),
        format=known.name,
        records=records,
        walked=walked,
        graded_warnings=(
            *walked.graded_warnings,
            *known.oddities(asked.data),
            *disagreements(known.claims(asked.data), content),
            *signs_of_damage(
                records,
                record_limit_tenths=known.record_limit_tenths,
                moves_are_stitches=known.moves_are_stitches,
            ),
            *end_not_held(walked.blocks),
            *_ending_warnings(header, asked),
        ),
        size_bytes=len(asked.data),
    )


def _unpacked(answer: ChildAnswer, *, label: str, limits: ReadLimits) -> tuple[dict[str, Any], StitchRecords]:
    """Return the header of an answer and the records in it."""
    _refuse_stopped(answer, label=label, limits=limits)
    line, __, arrays = answer.output.partition(b"\n")
    header = json.loads(line)
    if header["fault"]:
        logger.info("%s: %s", label, header["fault"])
    if "refused" in header:
        sentence, most = header["refused"]
        raise UnreadableDesign(_(sentence).format(label=label, most="" if most is None else figure(most)))
    count = header["records"]
    return header, StitchRecords(
        x_tenths=np.frombuffer(arrays, dtype=np.int32, count=count),
        y_tenths=np.frombuffer(arrays, dtype=np.int32, count=count, offset=4 * count),
        command=np.frombuffer(arrays, dtype=np.uint8, count=count, offset=8 * count),
        threads=tuple(FileThread(*words) for words in header["threads"]),
    )


def _refuse_stopped(answer: ChildAnswer, *, label: str, limits: ReadLimits) -> None:
    if answer.status is None:
        raise UnreadableDesign(
            _("{label} was not read within {seconds} seconds. Copy or export it again.").format(
                label=label, seconds=plainly(limits.wall_seconds)
            )
        )
    if answer.status:
        raise UnreadableDesign(_why_reading_stopped(answer, label=label, limits=limits))


def _why_reading_stopped(answer: ChildAnswer, *, label: str, limits: ReadLimits) -> str:
    """Return in words why the child process gave no answer."""
    if answer.status == -getattr(signal, "SIGXCPU", 0):
        return _(
            "{label} takes more than {seconds} seconds of computing to read. Copy or export it again."
        ).format(label=label, seconds=limits.cpu_seconds)
    if answer.status and answer.status < 0:
        return _(
            "{label} needs more than this computer may give to read it. Copy or export it again."
        ).format(label=label)
    return _(
        "{label} was not read, because the reading program itself failed ({problem}). The file may be sound."
    ).format(label=label, problem=answer.last_words)


def refuse_design(
    walked: Walked, records: StitchRecords, known: StitchFormat, *, label: str, limits: ReadLimits
) -> None:
    """Refuse a design that was read but cannot be planned with."""
    if not walked.stitches:
        raise UnreadableDesign(_(NO_STITCHES).format(label=label))
    if max(walked.width_mm, walked.height_mm) > limits.extent_mm:
        raise UnreadableDesign(
            _(TOO_LARGE).format(
                label=label,
                width=figure(walked.width_mm),
                height=figure(walked.height_mm),
                most=figure(limits.extent_mm),
                format=known.name,
            )
        )
    spare = len(records.threads) - len(walked.blocks)
    if spare > MOST_SPARE_THREADS:
        raise UnreadableDesign(
            _(SPARE_THREADS).format(
                label=label,
                threads=figure(len(records.threads)),
                stitches=figure(walked.stitches),
                needed=figure(len(walked.blocks)),
            )
        )
    if known.threads_required and not records.threads:
        sentence = NO_THREADS if END in records.command else NO_THREADS_CUT_OFF
        raise UnreadableDesign(_(sentence).format(label=label, format=known.name))


def content_of(
    records: StitchRecords, walked: Walked, known: StitchFormat, *, ended_at: int | None
) -> Content:
    """Return the records in numbers that a header can be held against."""
    command, x, y = records.command, records.x_tenths, records.y_tenths
    sewn = np.flatnonzero((command == STITCH) | (command == SEQUIN_EJECT))
    box, sewn_box = (_span(x), _span(y)), (_span(x[sewn]), _span(y[sewn]))
    from_start = ((min(box[0][0], 0), max(box[0][1], 0)), (min(box[1][0], 0), max(box[1][1], 0)))
    least, most = walked.stitches * (1 - COUNT_SLACK), command.size * (1 + COUNT_SLACK)
    if known.counts == "exactly":
        least = most = command.size
    elif known.counts == "byte pairs":
        most += command.size - walked.stitches
    elif known.counts == "moves too":
        most += 2 * sum(block.run_starts.size for block in walked.blocks)
    return Content(
        stitches=walked.stitches,
        least_counted=least,
        most_counted=most,
        changes=int(np.count_nonzero((command == COLOUR_CHANGE) | (command == NEEDLE_SET))),
        stops=walked.stops,
        boxes_tenths=(from_start, box, sewn_box),
        ends_tenths=tuple((int(x[at]), int(y[at])) for at in (-1, sewn[-1])),
        ended_at=ended_at,
        stops_are_changes=known.stops_are_changes,
    )


def _span(along: NDArray[np.int32]) -> Span:
    return int(along.min()), int(along.max())


def _ending_warnings(header: dict[str, Any], asked: AskedFile) -> Iterator[FileWarning]:
    """Yield what is odd about the place where reading stopped."""
    if header["ending"] == "stopped":
        yield look(say.UNKNOWN_CODE.format(format=asked.known.name))
    elif header["ending"] == "whole" and asked.known.nothing_follows:
        rest = left_over(asked.data, header["ended_at"])
        if rest:
            yield look(say.BYTES_FOLLOW.format(bytes=f"{rest:,}"))
