"""Opening a stitch file: a path in; out come bytes that may be read, or a refusal in words."""

import os
import stat
from dataclasses import dataclass
from pathlib import Path

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _, as_written_here, figure
from planning.stitch_files.formats import FORMATS, StitchFormat, what_it_looks_like
from planning.stitch_files.sentences import TOO_MANY_STITCHES

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
        _(
            "{label} is not a kind of stitch file that can be read. Export the design as one of {readable}."
        ).format(label=label, readable=readable)
    )


def bytes_of(path: Path, *, label: str, limits: ReadLimits) -> bytes:
    """Return the bytes of a file, unless it is none, or has too many or none.

    Only a file with a size is opened: opening a device can set it going, and a pipe makes its reader wait.
    """
    try:
        _refuse_size(path.stat(), label=label, limits=limits)
        with open(path, "rb", opener=_open_without_waiting) as file:
            _refuse_size(os.fstat(file.fileno()), label=label, limits=limits)
            return file.read(limits.file_bytes)
    except (OSError, ValueError) as error:
        if isinstance(error, UnreadableDesign):
            raise
        reason = getattr(error, "strerror", None) or str(error)
        raise UnreadableDesign(
            _("{label} cannot be opened: {reason}. Check where it is and who may read it.").format(
                label=label, reason=reason.lower()
            )
        ) from error


def _open_without_waiting(path: str, flags: int) -> int:
    """Open a path so that even a pipe put there in the meantime would not make this process wait."""
    return os.open(path, flags | getattr(os, "O_NONBLOCK", 0))


def _refuse_size(status: os.stat_result, *, label: str, limits: ReadLimits) -> None:
    if not stat.S_ISREG(status.st_mode):
        raise UnreadableDesign(_("{label} is not a file. Choose a stitch file.").format(label=label))
    if not status.st_size:
        raise UnreadableDesign(_("{label} is empty. Copy or export it again.").format(label=label))
    if status.st_size > limits.file_bytes:
        raise UnreadableDesign(
            _(
                "{label} is larger than {most} MiB, the most that is read. Check that it is a stitch file, or split "
                "the design into parts."
            ).format(label=label, most=as_written_here(f"{limits.file_bytes / MIB:.3g}"))
        )


def refuse_content(data: bytes, known: StitchFormat, *, label: str, limits: ReadLimits) -> None:
    """Refuse bytes that are not what the file's name says, or that hold too much, before they are read."""
    problem = known.check(data)
    if problem:
        other = what_it_looks_like(data)
        if other and other != f"a {known.name} file":
            problem = _("it looks like {other}").format(other=_(other))
        raise UnreadableDesign(
            _(
                "{label} is not a whole {format} file: {problem}. Check the file's name, or export it again."
            ).format(label=label, format=known.name, problem=problem)
        )
    if known.least_stitches and known.least_stitches(data) > limits.stitches:
        raise UnreadableDesign(_(TOO_MANY_STITCHES).format(label=label, most=figure(limits.stitches)))
