"""What is wrong in the build of a stitch file: its lengths, its marks and its places, before it is read."""

from collections.abc import Callable, Iterator

from planning.compute.stitches import file_sentences as say
from planning.compute.stitches.warnings import FileWarning, info, look
from planning.stitch_files.formats.claims import tbf_claims
from planning.stitch_files.formats.signatures import SEW_STITCHES_AT, le16, le32

KNOWN_PES_VERSIONS = frozenset(
    b"#PES" + version
    for version in (
        *(b"0001", b"0020", b"0022", b"0030", b"0040", b"0050", b"0055", b"0056"),
        *(b"0060", b"0070", b"0080", b"0090", b"0100"),
    )
)


_MARK = 0x80  # of a command in files of byte pairs


def nothing_odd(data: bytes) -> Iterator[FileWarning]:
    """Yield nothing: the format has no lengths and no marks of its own."""
    yield from ()


def _table(tells: Callable[[int], bool]) -> bytes:
    """Return for each byte value a 1 where it tells, else a 0."""
    return bytes(map(tells, range(256)))


def _cancels(byte: int, pairs: tuple[int, ...]) -> bool:
    """Tell whether a byte has both the step to one side and the same step to the other."""
    return any(byte >> pair & 3 == 3 for pair in pairs)


# A DST record adds up steps of 1, 3, 9, 27 and 81; two bits for each size and axis, never both.
_CANCELLING_STEPS = _table(lambda byte: _cancels(byte, (0, 2, 4, 6)))
_NO_DST_CODE = _table(lambda byte: byte & 3 != 3 or _cancels(byte, (2, 4)))
_DST_END = _table(lambda byte: byte & 0xF3 == 0xF3)
_DST_STITCH = _table(lambda byte: byte & 0x43 != 0x43 and byte & 0x83 != 0x83)
_NO_U01_CODE = _table(lambda byte: not byte & 0x80)
_U01_END = _table(lambda byte: byte & 0x1F >= 0x18)


def dst_oddities(data: bytes) -> Iterator[FileWarning]:
    """Yield how many records no writer would have written."""
    codes = data[514::3]
    length = _before(codes, _DST_END)
    odd = (
        codes[:length].translate(_NO_DST_CODE),
        data[512 : 512 + 3 * length : 3].translate(_CANCELLING_STEPS),
        data[513 : 513 + 3 * length : 3].translate(_CANCELLING_STEPS),
    )
    # Every byte is 0 or 1 by now: one large number stands for all records, its bits for the odd ones.
    first, second, third = (int.from_bytes(each, "little") for each in odd)
    yield from _impossible((first | second | third).bit_count(), length)


def dst_stitches(data: bytes) -> int:
    """Return the number of stitch records before the end record."""
    codes = data[514::3]
    return codes.translate(_DST_STITCH).count(1, 0, _before(codes, _DST_END))


def hus_stitches(data: bytes) -> int:
    """Return the number of records that the header says the compressed bytes hold."""
    return le32(data, 4)


def u01_oddities(data: bytes) -> Iterator[FileWarning]:
    """Yield how many records lack the mark that every record has."""
    codes = data[0x100::3]
    length = _before(codes, _U01_END)
    yield from _impossible(codes.translate(_NO_U01_CODE).count(1, 0, length), length)


def _before(codes: bytes, ends: bytes) -> int:
    """Return how many codes stand before the first end."""
    end = codes.translate(ends).find(1)
    return end if end >= 0 else len(codes)


def _impossible(count: int, records: int) -> Iterator[FileWarning]:
    if count:
        yield look(say.IMPOSSIBLE[count != 1].format(count=f"{count:,}", all=f"{records:,}"))


def pairs_oddities(data: bytes) -> Iterator[FileWarning]:
    """Yield that a file of byte pairs has a byte too many or too few."""
    if len(data) % 2:
        yield look(say.ODD_BYTES.format(bytes=f"{len(data):,}"))


def exp_oddities(data: bytes) -> Iterator[FileWarning]:
    """Yield what is odd about the pairs of an EXP file."""
    yield from pairs_oddities(data)
    yield from _odd_pairs(data, 0, cut=0x80)


def sew_oddities(data: bytes) -> Iterator[FileWarning]:
    """Yield what is odd about the pairs of a SEW file."""
    yield from pairs_oddities(data)
    yield from _odd_pairs(data, SEW_STITCHES_AT, cut=None)


def _odd_pairs(data: bytes, at: int, *, cut: int | None) -> Iterator[FileWarning]:
    """Yield how many pairs from a place on no writer would have written, and whether they end inside a command.

    A pair that starts with 0x80 is a command and the next one its move; ``cut`` is the command that cuts the thread
    and moves nowhere. No writer makes a step of -128: that byte is the mark of commands.
    """
    firsts, seconds = data[at::2], data[at + 1 :: 2]
    firsts = firsts[: len(seconds)]
    commands = _commands(firsts)
    odd = {place for place in _places(seconds, _MARK) if place not in commands}
    for place in commands:
        if place + 1 < len(firsts):
            move = firsts[place + 1], seconds[place + 1]
            # Writers put 7 behind a cut, or nothing.
            if _MARK in move or (seconds[place] == cut and move not in ((7, 0), (0, 0))):
                odd.add(place + 1)
    yield from _impossible(len(odd), len(firsts))
    if len(firsts) - 1 in commands:
        yield look(say.ENDS_IN_COMMAND.format(byte=f"{len(data):,}"))


def _commands(firsts: bytes) -> set[int]:
    """Return which pairs are commands: those with the mark that are not the move of the command before."""
    found: set[int] = set()
    for place in _places(firsts, _MARK):
        if place - 1 not in found:
            found.add(place)
    return found


def _places(where: bytes, value: int) -> Iterator[int]:
    at = where.find(value)
    while at >= 0:
        yield at
        at = where.find(value, at + 1)


def jef_oddities(data: bytes) -> Iterator[FileWarning]:
    stitches_at, due = le32(data, 0), 116 + 8 * le32(data, 24)
    if stitches_at != due:
        yield look(say.STITCHES_START.format(said=f"{stitches_at:,}", held=f"{due:,}"))


def xxx_oddities(data: bytes) -> Iterator[FileWarning]:
    end, colours = le32(data, 0xFC), le16(data, 0x27)
    if end and end + 6 + 4 * colours > len(data):
        yield look(
            say.STITCHES_END_BEYOND.format(end=f"{end:,}", colours=f"{colours:,}", bytes=f"{len(data):,}")
        )


def pes_oddities(data: bytes) -> Iterator[FileWarning]:
    version = data[:8]
    if version.startswith(b"#PEC"):
        yield look(say.PEC_AS_PES)
    elif version not in KNOWN_PES_VERSIONS:
        shown = version[4:].decode("ascii", "replace")
        yield info(say.UNKNOWN_PES.format(version=repr(shown)))


def tbf_oddities(data: bytes) -> Iterator[FileWarning]:
    """Yield that the order of the needles has another length than the thread changes that are counted."""
    listed = 0x100 - data[0x10A:0x20A].count(0)
    counted = tbf_claims(data).colour_changes
    if counted is not None and abs(listed - counted) > 1:
        yield look(say.OTHER_NEEDLES.format(listed=f"{listed:,}", counted=f"{counted:,}"))
