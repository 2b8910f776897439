"""What is known of each stitch file format: one table, read by everything that touches a file."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

Ending = Literal["whole", "cut", "stopped"]


@dataclass(frozen=True)
class HeaderClaims:
    """What a file's header says of its content; None where it says nothing."""

    records: int | None = None
    colour_changes: int | None = None
    extents_x_tenths: tuple[int, int] | None = None
    extents_y_tenths: tuple[int, int] | None = None


def _record_ends(data: bytes, at: int, ran_out: bool) -> Ending:
    """Return how a file ended whose last stitch is followed by an end record."""
    return "cut" if ran_out else "whole"


@dataclass(frozen=True)
class StitchFormat:
    """One format.

    ``record_limit_tenths`` is the longest stitch or jump that writers put into one record. ``check`` returns
    what is wrong with the bytes for this format, or None. ``ending`` tells, from the bytes, the place where
    reading stopped and whether bytes ran out, if the file is whole, cut off, or stopped at an unknown code.
    ``least_stitches`` counts from the bytes alone how many stitches there must be or are said to be.
    ``claims`` reads the header.
    """

    extension: str
    name: str
    colours: Literal["rgb", "palette", "none"]
    trims: Literal["explicit", "jumps"]
    record_limit_tenths: int | None
    check: Callable[[bytes], str | None]
    threads_required: bool = True
    ending: Callable[[bytes, int, bool], Ending] = _record_ends
    least_stitches: Callable[[bytes], int] | None = None
    claims: Callable[[bytes], HeaderClaims] | None = None


# Words of a palette colour that say only what colour it is; other names belong to somebody's colour card.
# fmt: off
PLAIN_COLOUR_WORDS = frozenset((
    "black", "white", "grey", "gray", "silver", "red", "orange", "peach", "gold", "yellow", "cream", "beige",
    "brown", "olive", "green", "turquoise", "blue", "navy", "purple", "violet", "lilac", "magenta", "pink",
    "light", "pale", "bright", "dark", "deep",
))
# fmt: on


def plain_colour_name(description: str) -> str:
    """Return a palette colour's description if it is only a plain colour, else nothing.

    >>> plain_colour_name("Dark Green"), plain_colour_name("Harbour Mist")
    ('dark green', '')
    """
    words = description.lower().split()
    return " ".join(words) if words and PLAIN_COLOUR_WORDS.issuperset(words) else ""


def what_it_looks_like(data: bytes) -> str | None:
    """Return in words what some bytes seem to be, or None.

    >>> what_it_looks_like(b"Dear customer, the badge is attached.")
    'a text file'
    >>> what_it_looks_like(b"#PES0060" + bytes(30))
    'a PES file'
    """
    for start, words in (
        (b"#PES", "a PES file"),
        (b"#PEC", "a PEC file"),
        (b"%vsm%", "a VP3 file"),
        (b"LA:", "a DST file"),
        (b"\x89PNG\r\n", "a PNG picture"),
        (b"GIF8", "a GIF picture"),
        (b"%PDF-", "a PDF document"),
        (b"PK\x03\x04", "a ZIP archive"),
    ):
        if data.startswith(start):
            return words
    if data[:3] == b"\xff\xd8\xff" and data[6:10] in (b"JFIF", b"Exif"):
        return "a JPEG picture"
    return "a text file" if _is_text(data) else None


def _is_text(data: bytes) -> bool:
    """Tell whether the first bytes are all letters and spaces: as stitches they would run off to one side."""
    sample = data[:512]
    return len(sample) >= 16 and all(byte in b"\t\n\r" or 32 <= byte <= 126 for byte in sample)


def _le16(data: bytes, at: int) -> int:
    return int.from_bytes(data[at : at + 2], "little")


def _le32(data: bytes, at: int) -> int:
    return int.from_bytes(data[at : at + 4], "little")


ENDS_IN_HEADER = "it ends inside its header"


def _check_pec(data: bytes) -> str | None:
    return None if data.startswith(b"#PEC0001") else "a PEC file starts with #PEC0001"


def _check_pes(data: bytes) -> str | None:
    if not data.startswith((b"#PES", b"#PEC")):
        return "a PES file starts with #PES"
    if len(data) < 12 or (data.startswith(b"#PES") and _le32(data, 8) >= len(data)):
        return "it ends before its stitches start"
    return None


def _check_dst(data: bytes) -> str | None:
    if b"LA:" not in data[:64] and b"ST:" not in data[:64]:
        return "a DST file starts with a header of 512 bytes that begins with LA:"
    return ENDS_IN_HEADER if len(data) <= 512 else None


def _check_text_only(data: bytes) -> str | None:
    """Return that the bytes are something else; the format itself has no mark to look for."""
    other = what_it_looks_like(data)
    return f"it is {other}" if other else None


def _check_jef(data: bytes) -> str | None:
    stitches_at, colours = _le32(data, 0), _le32(data, 24)
    if stitches_at < 116 + 4 * colours:
        return "its header has no room for the colours that it counts"
    return "it ends before its stitches start" if stitches_at >= len(data) else None


def _check_vp3(data: bytes) -> str | None:
    return None if data.startswith(b"%vsm%\0") else "a VP3 file starts with %vsm%"


def _check_xxx(data: bytes) -> str | None:
    if len(data) <= 0x100:
        return ENDS_IN_HEADER
    # Both are zero in some files; a person's other file has letters here, which make a far larger number.
    stitches_end, colours = _le32(data, 0xFC), _le16(data, 0x27)
    if stitches_end >= 1 << 28 or colours > 1000:
        return "its header has no sensible place for the end of the stitches"
    return None


def _check_hus(data: bytes) -> str | None:
    if len(data) < 42:
        return ENDS_IN_HEADER
    colours, commands_at, x_at, y_at = (_le32(data, at) for at in (8, 20, 24, 28))
    if not 42 + 2 * colours <= commands_at <= x_at <= y_at:
        return "the parts that its header points to are not in order"
    # One block of the compression takes 54 bits at least and may stand for 65,535 x 258 bytes, so a stream
    # with any bytes at all can hold every number of stitches that is read: only an empty one is refuted here.
    if _le32(data, 4) and not commands_at < x_at < y_at < len(data):
        return f"it says that it holds {_le32(data, 4):,} stitches, but the bytes for them are missing"
    return None


def _check_sew(data: bytes) -> str | None:
    colours = _le16(data, 0)
    if colours > 1000:
        return "its header counts far too many colours"
    return ENDS_IN_HEADER if len(data) <= 0x1D78 else None


def _check_u01(data: bytes) -> str | None:
    return ENDS_IN_HEADER if len(data) <= 0x100 else _check_text_only(data)


def _check_tbf(data: bytes) -> str | None:
    if data[0x80:0x83] != b"LA:":
        return "a TBF file has LA: at byte 128"
    return ENDS_IN_HEADER if len(data) <= 0x600 else None


def _bytes_end(data: bytes, at: int, ran_out: bool) -> Ending:
    """Return how a file ended whose format knows no end record: a cut-off one looks whole."""
    return "whole" if ran_out or len(data) - at <= 16 else "stopped"


def _jef_ends(data: bytes, at: int, ran_out: bool) -> Ending:
    if ran_out:
        return "whole" if data.rstrip(b"\0").endswith(b"\x80\x10") else "cut"
    return "whole" if data[at - 4 : at - 2] == b"\x80\x10" else "stopped"


def _u01_ends(data: bytes, at: int, ran_out: bool) -> Ending:
    if ran_out:
        return "cut"
    return "whole" if data[at - 3] & 0x1F == 0x18 else "stopped"


def _tbf_ends(data: bytes, at: int, ran_out: bool) -> Ending:
    if ran_out:
        return "cut"
    return "whole" if data[at - 1] == 0x8F else "stopped"


def _dst_kind(third_byte: int) -> int:
    """Return "e" for the third byte of an end record, "s" for a stitch, "o" for any other."""
    if third_byte & 0xF3 == 0xF3:
        return ord("e")
    is_other = third_byte & 0x43 == 0x43 or third_byte & 0x83 == 0x83
    return ord("o") if is_other else ord("s")


_DST_KINDS = bytes(_dst_kind(byte) for byte in range(256))


def _dst_stitches(data: bytes) -> int:
    """Return the number of stitch records before the end record."""
    kinds = data[514::3].translate(_DST_KINDS)
    end = kinds.find(b"e")
    return kinds.count(b"s", 0, end if end >= 0 else len(kinds))


def _hus_stitches(data: bytes) -> int:
    """Return the number of records that the header says the compressed bytes hold."""
    return _le32(data, 4)


def _hus_claims(data: bytes) -> HeaderClaims:
    return HeaderClaims(records=_hus_stitches(data))


HEADER_LINE = re.compile(rb"(?:^|[\r\n])(ST|CO|\+X|-X|\+Y|-Y):[ \0]*(\d{1,9})[ \0]*(?=[\r\n])")


def _text_claims(header: bytes) -> HeaderClaims:
    """Return what a header of lines such as ``ST:   1234`` says.

    >>> _text_claims(b"LA:x\\rST:     42\\rCO:  3\\r+X:  10\\r-X:   5\\r").extents_x_tenths
    (5, 10)
    """
    found = {key.decode(): int(value) for key, value in HEADER_LINE.findall(header)}

    def extents(axis: str) -> tuple[int, int] | None:
        if f"+{axis}" not in found or f"-{axis}" not in found:
            return None
        low, high = sorted((found[f"+{axis}"], found[f"-{axis}"]))
        return low, high

    return HeaderClaims(found.get("ST"), found.get("CO"), extents("X"), extents("Y"))


def _dst_claims(data: bytes) -> HeaderClaims:
    return _text_claims(data[:512])


def _tbf_claims(data: bytes) -> HeaderClaims:
    return _text_claims(data[0x80:0x106])


FORMATS: dict[str, StitchFormat] = {
    known.extension: known
    for known in (
        StitchFormat("pes", "PES", "rgb", "explicit", 2047, _check_pes),
        StitchFormat("pec", "PEC", "palette", "explicit", 2047, _check_pec),
        StitchFormat(
            "dst",
            "DST",
            "none",
            "jumps",
            121,
            _check_dst,
            threads_required=False,
            least_stitches=_dst_stitches,
            claims=_dst_claims,
        ),
        StitchFormat(
            "exp", "EXP", "none", "explicit", 127, _check_text_only, threads_required=False, ending=_bytes_end
        ),
        StitchFormat("jef", "JEF", "palette", "jumps", 127, _check_jef, ending=_jef_ends),
        StitchFormat("vp3", "VP3", "rgb", "explicit", 32767, _check_vp3),
        StitchFormat("xxx", "XXX", "rgb", "explicit", 124, _check_xxx),
        StitchFormat(
            "hus",
            "HUS",
            "palette",
            "explicit",
            127,
            _check_hus,
            least_stitches=_hus_stitches,
            claims=_hus_claims,
        ),
        StitchFormat("sew", "SEW", "palette", "jumps", 127, _check_sew, ending=_bytes_end),
        StitchFormat(
            "u01", "U01", "none", "explicit", 127, _check_u01, threads_required=False, ending=_u01_ends
        ),
        StitchFormat(
            "tbf",
            "TBF",
            "rgb",
            "explicit",
            127,
            _check_tbf,
            threads_required=False,
            ending=_tbf_ends,
            claims=_tbf_claims,
        ),
    )
}
