"""ZIP archives of stitch files: what they may hold, and how they are unpacked without harm."""

import re
import stat
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _, figure
from planning.stitch_files.formats import FORMATS
from planning.stitch_files.reading import DEFAULT_LIMITS, MIB, printable

ARCHIVES = frozenset(("zip", "rar", "7z", "tar", "gz", "tgz", "bz2", "xz", "zst", "cab", "iso", "jar"))
# Names that stand for a device on some systems, whatever ending they carry.
DEVICES = re.compile(r"(con|prn|aux|nul|clock\$|conin\$|conout\$|com[0-9¹²³]|lpt[0-9¹²³])", re.IGNORECASE)
CHUNK = 256 * 1024
LONGEST_NAME = 150


class UnsafeArchive(WorkshopError):
    """An archive is not unpacked; the text names it, says why, and what to do."""


@dataclass(frozen=True)
class UnpackLimits:
    """How much an archive may hold; stitch files shrink to a third or a tenth, not to a hundredth."""

    members: int = 5_000
    bytes: int = 200 * MIB
    member_bytes: int = DEFAULT_LIMITS.file_bytes
    times: int = 100
    # Below this an archive may say what it likes of its ratio.
    harmless_bytes: int = 4 * MIB


DEFAULT_UNPACK_LIMITS = UnpackLimits()


@dataclass(frozen=True)
class Unpacked:
    """A member of an archive: where it lies now, or why it was refused. ``shown`` is its name in the archive."""

    shown: str
    size_bytes: int
    path: Path | None = None
    reason: str = ""


def unpack(
    archive: Path, *, into: Path, name: str, limits: UnpackLimits = DEFAULT_UNPACK_LIMITS
) -> tuple[list[Unpacked], int]:
    """Return the stitch files of an archive, unpacked or refused one by one, and how many others it holds.

    Each lies in a folder of its own, under ``into``, by its own plain name. Nothing is unpacked of an archive
    that holds too much or grows too much. Raises UnsafeArchive.
    """
    label = printable(name)
    try:
        with zipfile.ZipFile(archive) as opened:
            members = [member for member in opened.infolist() if not member.is_dir()]
            _refuse_whole(members, archive_bytes=archive.stat().st_size, label=label, limits=limits)
            wanted = [member for member in members if _is_wanted(member)]
            files = list(_unpack_each(opened, wanted, into=into, label=label, limits=limits))
            return files, len(members) - len(wanted)
    except (zipfile.BadZipFile, zipfile.LargeZipFile, EOFError, ValueError, OverflowError) as error:
        if isinstance(error, WorkshopError):
            raise
        raise UnsafeArchive(
            _("{label} is not a whole ZIP archive. Pack it or copy it again.").format(label=label)
        ) from error


def unsafe_name(name: str) -> str:
    """Return in words what is wrong with a file's name, or an empty string.

    >>> unsafe_name("caps/crew.pes"), unsafe_name("caps/NUL.pes")
    ('', 'its name means a device on some computers')
    >>> unsafe_name("../../crew.pes"), unsafe_name("C:crew.pes")
    ('its name leads out of the archive', 'its name leads out of the archive')
    """
    path = PurePosixPath(name.replace("\\", "/"))
    if path.is_absolute() or ".." in path.parts or re.match(r"[A-Za-z]:", name) or not path.name:
        return _("its name leads out of the archive")
    if "\0" in name or ":" in path.name:
        return _("its name has a sign that no file may carry")
    if any(DEVICES.fullmatch(part.split(".")[0].rstrip(" ")) for part in path.parts):
        return _("its name means a device on some computers")
    return ""


def plain_name(name: str) -> str:
    """Return a name under which a file can be stored anywhere; the ending stays.

    >>> plain_name("caps\\\\crew: badge?.PES"), plain_name("..")
    ('crew_ badge_.pes', 'file')
    """
    base = PurePosixPath(name.replace("\\", "/")).name
    clean = "".join(letter if letter.isprintable() and letter not in '<>:"/\\|?*' else "_" for letter in base)
    stem, dot, ending = clean.rpartition(".")
    if not dot:
        stem, ending = clean, ""
    stem = stem.strip(" .").encode()[:LONGEST_NAME].decode(errors="ignore") or "file"
    if DEVICES.fullmatch(stem.split(".")[0].rstrip(" ")):
        stem = f"_{stem}"
    return f"{stem}.{ending.lower()[:8]}" if ending else stem


def _refuse_whole(
    members: list[zipfile.ZipInfo], *, archive_bytes: int, label: str, limits: UnpackLimits
) -> None:
    if len(members) > limits.members:
        raise UnsafeArchive(
            _("{label} holds {files} files; up to {most} are unpacked. Pack it in parts.").format(
                label=label, files=figure(len(members)), most=figure(limits.members)
            )
        )
    total = sum(member.file_size for member in members)
    if total > limits.bytes:
        raise UnsafeArchive(
            _(
                "{label} would unpack to {size} MiB; up to {most} MiB are unpacked. Pack it in parts, with "
                "stitch files alone."
            ).format(label=label, size=figure(total / MIB), most=limits.bytes // MIB)
        )
    if total > limits.harmless_bytes and total > limits.times * archive_bytes:
        raise UnsafeArchive(
            _(
                "{label} would grow {times} times in unpacking, which no stitch files do. It is not unpacked; pack the "
                "stitch files again."
            ).format(label=label, times=figure(total / archive_bytes))
        )


def _is_wanted(member: zipfile.ZipInfo) -> bool:
    """Tell whether a member is a stitch file by its name, or something that a person should hear of."""
    path = PurePosixPath(member.filename.replace("\\", "/"))
    if "__MACOSX" in path.parts or path.name.startswith("."):
        return False
    return path.suffix[1:].lower() in FORMATS or path.suffix[1:].lower() in ARCHIVES


def _unpack_each(
    opened: zipfile.ZipFile, members: list[zipfile.ZipInfo], *, into: Path, label: str, limits: UnpackLimits
) -> Iterator[Unpacked]:
    left = limits.bytes
    for number, member in enumerate(members, start=1):
        shown = printable(member.filename)[-300:]
        reason = _why_not(member, limits=limits)
        if not reason:
            target = into / f"{number:05}" / plain_name(member.filename)
            target.parent.mkdir(parents=True)
            try:
                left -= _copy(opened, member, target, most=min(limits.member_bytes, left))
            except (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError, RuntimeError):
                target.unlink(missing_ok=True)
                reason = _("it is damaged or packed in a way that cannot be read; pack it again")
        if reason:
            yield Unpacked(
                shown,
                member.file_size,
                reason=_("{file} in {archive} is refused: {reason}.").format(
                    file=shown, archive=label, reason=reason
                ),
            )
        else:
            yield Unpacked(shown, target.stat().st_size, path=target)


def _why_not(member: zipfile.ZipInfo, *, limits: UnpackLimits) -> str:
    kind = stat.S_IFMT(member.external_attr >> 16)
    problem = unsafe_name(member.orig_filename)
    if problem:
        return problem
    if kind not in (0, stat.S_IFREG):
        return _("it is a link or a device, not a file")
    if PurePosixPath(member.filename).suffix[1:].lower() in ARCHIVES:
        return _("it is an archive within the archive; unpack it first")
    if member.flag_bits & 1:
        return _("it is locked with a password; pack it without one")
    if member.file_size > limits.member_bytes:
        return _("it is larger than {most} MiB, the most that is read").format(
            most=limits.member_bytes // MIB
        )
    return ""


def _copy(opened: zipfile.ZipFile, member: zipfile.ZipInfo, target: Path, *, most: int) -> int:
    """Copy a member and return its size; the archive's word for its size is not taken.

    Raises BadZipFile where it is larger than it may be.
    """
    copied = 0
    with opened.open(member) as source, target.open("xb") as copy:
        while chunk := source.read(CHUNK):
            copied += len(chunk)
            if copied > most:
                raise zipfile.BadZipFile("larger than it says")
            copy.write(chunk)
    return copied
