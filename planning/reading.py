"""The edge to stitch files: a path in; out comes a walked design, or a refusal that a person understands.

Nothing of the reading library comes into this process: ``planning.reading_child`` has it, one process a file.
"""

import hashlib
import json
import logging
import os
import signal
import stat
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from inventory.compute.errors import WorkshopError
from planning.compute.walk import (
    COLOUR_CHANGE,
    END,
    NEEDLE_SET,
    FileThread,
    StitchRecords,
    Walked,
    walk,
)
from planning.formats import FORMATS, HeaderClaims, StitchFormat, what_it_looks_like

logger = logging.getLogger(__name__)

PACKAGE_ROOT = Path(__file__).resolve().parent.parent
# What a process needs to start at all; the site's keys and addresses are not for the child.
KEPT_ENVIRONMENT = ("PATH", "PYTHONPATH", "PYTHONHOME", "SYSTEMROOT", "LD_LIBRARY_PATH", "DYLD_LIBRARY_PATH")
COPY_AGAIN = "Copy or export it again."
MIB = 1024 * 1024
LONGEST_NAME = 120


class UnreadableDesign(WorkshopError):
    """A stitch file is not read; the text names the file, says why, and what to do."""


@dataclass(frozen=True)
class ReadLimits:
    """How much a stitch file may hold, and how much its reading may use."""

    file_bytes: int = 20 * MIB
    memory_bytes: int = 1024 * MIB
    cpu_seconds: int = 20
    wall_seconds: float = 60.0
    stitches: int = 500_000
    blocks: int = 200
    extent_mm: float = 1000.0


DEFAULT_LIMITS = ReadLimits()


@dataclass(frozen=True, eq=False)
class ReadDesign:
    """One stitch file: its records, its path, and what a person should know of both."""

    name: str
    sha256: str
    format: str
    records: StitchRecords
    walked: Walked
    warnings: tuple[str, ...]
    size_bytes: int


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
    path = Path(path)
    label = printable(name or path.name)
    known = format_of(path, label=label)
    data = bytes_of(path, label=label, limits=limits)
    refuse_content(data, known, label=label, limits=limits)
    sha256, size_bytes = hashlib.sha256(data).hexdigest(), len(data)
    claims = known.claims(data) if known.claims else HeaderClaims()
    header, records = ask_child(data, known, label=label, limits=limits)
    del data

    walked = walk(
        records,
        trims=known.trims,
        record_limit_tenths=known.record_limit_tenths,
        trim_at_jumps=trim_at_jumps,
    )
    refuse_design(walked, records, known, label=label, limits=limits)
    warnings = (*walked.warnings, *header_warnings(claims, records, walked))
    if header["ending"] == "stopped":
        warnings += (
            f"Reading stopped at a code that is not known in {known.name} files: stitches may be missing. "
            "Compare it with the original.",
        )
    return ReadDesign(
        name=design_name(label),
        sha256=sha256,
        format=known.name,
        records=records,
        walked=walked,
        warnings=warnings,
        size_bytes=size_bytes,
    )


def printable(name: str) -> str:
    """Return a file name that can stand in a sentence.

    >>> printable("cap\\nbadge.dst")
    'cap?badge.dst'
    """
    return "".join(character if character.isprintable() else "?" for character in name)


def design_name(label: str) -> str:
    """Return what a design is called whose file has this name.

    >>> design_name("crew.cap.dst"), design_name("No. 4 pennant")
    ('crew.cap', 'No. 4 pennant')
    """
    return (Path(label).stem if suffix_of(label) in FORMATS else label)[:LONGEST_NAME]


def suffix_of(name: str) -> str:
    return Path(name).suffix[1:].lower()


def format_of(path: Path, *, label: str) -> StitchFormat:
    """Return the format that the file's name tells."""
    for extension in (suffix_of(label), suffix_of(path.name)):
        if extension in FORMATS:
            return FORMATS[extension]
    readable = ", ".join(known.name for known in FORMATS.values())
    raise UnreadableDesign(
        f"{label} is not a kind of stitch file that can be read. Export the design as one of {readable}."
    )


def bytes_of(path: Path, *, label: str, limits: ReadLimits) -> bytes:
    """Return the file's bytes, unless there are too many or none."""
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            raise UnreadableDesign(f"{label} is not a file. Choose a stitch file.")
        with path.open("rb") as file:
            data = file.read(limits.file_bytes + 1)
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise UnreadableDesign(
            f"{label} cannot be opened: {reason.lower()}. Check where it is and who may read it."
        ) from error
    if not data:
        raise UnreadableDesign(f"{label} is empty. {COPY_AGAIN}")
    if len(data) > limits.file_bytes:
        raise UnreadableDesign(
            f"{label} is larger than {limits.file_bytes / MIB:.3g} MiB, the most that is read. "
            "Check that it is a stitch file, or split the design into parts."
        )
    return data


def refuse_content(data: bytes, known: StitchFormat, *, label: str, limits: ReadLimits) -> None:
    """Refuse bytes that are not what the file's name says, or that hold too much, before they are read."""
    problem = known.check(data)
    if problem:
        other = what_it_looks_like(data)
        if other and other != f"a {known.name} file":
            problem = f"it looks like {other}"
        raise UnreadableDesign(
            f"{label} is not a whole {known.name} file: {problem}. Check the file's name, or export it again."
        )
    if known.least_stitches and known.least_stitches(data) > limits.stitches:
        raise UnreadableDesign(
            f"{label} has more than {limits.stitches:,} stitches, the most that is read. "
            "Split the design into parts."
        )


def ask_child(
    data: bytes, known: StitchFormat, *, label: str, limits: ReadLimits
) -> tuple[dict[str, Any], StitchRecords]:
    """Return the child's header and the records that it read."""
    order = {
        "extension": known.extension,
        "stitches": limits.stitches,
        "blocks": limits.blocks,
        "memory_bytes": limits.memory_bytes,
        "cpu_seconds": limits.cpu_seconds,
    }
    environment = {key: os.environ[key] for key in KEPT_ENVIRONMENT if key in os.environ}
    environment["PYTHONPATH"] = os.pathsep.join(
        part for part in (str(PACKAGE_ROOT), environment.get("PYTHONPATH")) if part
    )
    try:
        child = subprocess.run(
            [sys.executable, "-m", "planning.reading_child", json.dumps(order)],
            input=data,
            capture_output=True,
            timeout=limits.wall_seconds,
            cwd=PACKAGE_ROOT,
            env=environment,
        )
    except subprocess.TimeoutExpired as error:
        raise UnreadableDesign(
            f"{label} was not read within {limits.wall_seconds:g} seconds. {COPY_AGAIN}"
        ) from error
    if child.returncode:
        raise UnreadableDesign(f"{label} {_why_child_stopped(child, limits=limits)}")
    line, _, arrays = child.stdout.partition(b"\n")
    header = json.loads(line)
    if header["fault"]:
        logger.info("%s: %s", label, header["fault"])
    if "refused" in header:
        raise UnreadableDesign(f"{label} {header['refused']}")
    count = header["records"]
    return header, StitchRecords(
        x_tenths=np.frombuffer(arrays, dtype=np.int32, count=count),
        y_tenths=np.frombuffer(arrays, dtype=np.int32, count=count, offset=4 * count),
        command=np.frombuffer(arrays, dtype=np.uint8, count=count, offset=8 * count),
        threads=tuple(FileThread(*words) for words in header["threads"]),
    )


def _why_child_stopped(child: subprocess.CompletedProcess[bytes], *, limits: ReadLimits) -> str:
    """Return in words why the child process gave no answer."""
    if child.returncode == -getattr(signal, "SIGXCPU", 0):
        return f"takes more than {limits.cpu_seconds} seconds of computing to read. {COPY_AGAIN}"
    if child.returncode < 0:
        return f"needs more than this computer may give to read it. {COPY_AGAIN}"
    last_words = child.stderr.decode(errors="replace").strip().rpartition("\n")[2][:200]
    return f"was not read, because the reading program itself failed ({last_words}). The file may be sound."


def refuse_design(
    walked: Walked, records: StitchRecords, known: StitchFormat, *, label: str, limits: ReadLimits
) -> None:
    """Refuse a design that was read but cannot be planned with."""
    if not walked.stitches:
        raise UnreadableDesign(f"{label} has no stitches. Choose a design that has some, or export it again.")
    if max(walked.width_mm, walked.height_mm) > limits.extent_mm:
        raise UnreadableDesign(
            f"{label} would be {walked.width_mm:,.0f} x {walked.height_mm:,.0f} mm; designs up to "
            f"{limits.extent_mm:,.0f} mm are read. Check that it is a {known.name} file, or split the design."
        )
    if known.threads_required and not records.threads:
        cut = "" if END in records.command else " It seems to be cut off."
        raise UnreadableDesign(
            f"{label} has stitches but no threads, which every {known.name} file must have.{cut} {COPY_AGAIN}"
        )


def header_warnings(claims: HeaderClaims, records: StitchRecords, walked: Walked) -> list[str]:
    """Return where a file's header disagrees with its content by more than writers differ in counting.

    Some count every record, some only stitches, some the thread changes and some the threads.
    """
    warnings = []
    command = records.command
    if claims.records is not None:
        low, high = walked.stitches, command.size
        if not 0.99 * low - 1 <= claims.records <= 1.01 * high + 1:
            warnings.append(
                f"The header says {claims.records:,} stitches; the file holds {walked.stitches:,}: "
                "stitches may be missing."
            )
    changes = int(np.count_nonzero((command == COLOUR_CHANGE) | (command == NEEDLE_SET)))
    if claims.colour_changes is not None and claims.colour_changes not in (changes, changes + 1):
        warnings.append(
            f"The header says {claims.colour_changes:,} colour changes; the file holds {changes:,}: "
            "check the colour of each block."
        )
    sizes = [
        (claimed, axis)
        for claimed, axis in (
            (claims.extents_x_tenths, records.x_tenths),
            (claims.extents_y_tenths, records.y_tenths),
        )
        if claimed is not None
    ]
    for claimed, axis in sizes:
        true = sorted((abs(int(axis.min(initial=0))), abs(int(axis.max(initial=0)))))
        allowed = 10 + 0.02 * max(true)
        if any(abs(said - is_so) > allowed for said, is_so in zip(claimed, true, strict=True)):
            warnings.append("The header gives another size than the stitches have: check the hoop.")
            break
    return warnings
