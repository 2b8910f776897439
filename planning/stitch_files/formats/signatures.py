"""How the bytes of a stitch file begin, and what else they may be."""

from inventory.compute.spoken import N_, _, figure


def what_it_looks_like(data: bytes) -> str | None:
    """Return in words what some bytes seem to be, or None.

    >>> what_it_looks_like(b"Dear customer, the badge is attached.")
    'a text file'
    >>> what_it_looks_like(b"#PES0060" + bytes(30))
    'a PES file'
    """
    for start, words in (
        (b"#PES", N_("a PES file")),
        (b"#PEC", N_("a PEC file")),
        (b"%vsm%", N_("a VP3 file")),
        (b"LA:", N_("a DST file")),
        (b"\x89PNG\r\n", N_("a PNG picture")),
        (b"GIF8", N_("a GIF picture")),
        (b"%PDF-", N_("a PDF document")),
        (b"PK\x03\x04", N_("a ZIP archive")),
    ):
        if data.startswith(start):
            return words
    if data[0x80:0x83] == b"LA:":
        return N_("a TBF file")
    if data[:3] == b"\xff\xd8\xff" and data[6:10] in (b"JFIF", b"Exif"):
        return N_("a JPEG picture")
    return N_("a text file") if _is_text(data) else None


def _is_text(data: bytes) -> bool:
    """Tell whether the first bytes are all letters and spaces: as stitches they would run off to one side."""
    sample = data[:512]
    return len(sample) >= 16 and all(byte in b"\t\n\r" or 32 <= byte <= 126 for byte in sample)


def le16(data: bytes, at: int) -> int:
    return int.from_bytes(data[at : at + 2], "little")


def le32(data: bytes, at: int) -> int:
    return int.from_bytes(data[at : at + 4], "little")


def be16(data: bytes, at: int) -> int:
    return int.from_bytes(data[at : at + 2], "big")


def be32(data: bytes, at: int) -> int:
    return int.from_bytes(data[at : at + 4], "big")


ENDS_IN_HEADER = N_("it ends inside its header")
NO_STITCHES_YET = N_("it ends before its stitches start")
# Where in the block of a PES or PEC file the stitches start, and two marks of which a sound block has both.
PEC_STITCHES_AT = 532
SEW_STITCHES_AT = 0x1D78
_PEC_MARKS = ((0, b"LA:"), (517, b"\x31\xff\xf0"))


def pec_block_at(data: bytes) -> int:
    """Return where the block with the stitches of a PES or PEC file starts."""
    return le32(data, 8) if data.startswith(b"#PES") else 8


def pec_problem(data: bytes) -> str | None:
    if not data.startswith(b"#PEC0001"):
        return _("a PEC file starts with #PEC0001")
    return _check_pec_block(data)


def pes_problem(data: bytes) -> str | None:
    if not data.startswith((b"#PES", b"#PEC")):
        return _("a PES file starts with #PES")
    return _check_pec_block(data)


def _check_pec_block(data: bytes) -> str | None:
    if len(data) <= pec_block_at(data) + PEC_STITCHES_AT:
        return _(NO_STITCHES_YET)
    at = pec_block_at(data)
    if all(data[at + place : at + place + len(mark)] != mark for place, mark in _PEC_MARKS):
        return _("its stitches do not start where its header says")
    return None


def dst_problem(data: bytes) -> str | None:
    if b"LA:" not in data[:64] and b"ST:" not in data[:64]:
        return _("a DST file starts with a header of 512 bytes that begins with LA:")
    return _(ENDS_IN_HEADER) if len(data) <= 512 else None


def exp_problem(data: bytes) -> str | None:
    """Return that the bytes are something else; the format itself has no mark to look for."""
    other = what_it_looks_like(data)
    return _("it is {other}").format(other=_(other)) if other else None


def jef_problem(data: bytes) -> str | None:
    stitches_at, colours = le32(data, 0), le32(data, 24)
    if stitches_at < 116 + 4 * colours:
        return _("its header has no room for the colours that it counts")
    return _(NO_STITCHES_YET) if stitches_at >= len(data) else None


def vp3_problem(data: bytes) -> str | None:
    return None if data.startswith(b"%vsm%\0") else _("a VP3 file starts with %vsm%")


def xxx_problem(data: bytes) -> str | None:
    if len(data) <= 0x100:
        return _(ENDS_IN_HEADER)
    # Both are zero in some files; a person's other file has letters here, which make a far larger number.
    stitches_end, colours = le32(data, 0xFC), le16(data, 0x27)
    if stitches_end >= 1 << 28 or colours > 1000:
        return _("its header has no sensible place for the end of the stitches")
    return None


def hus_problem(data: bytes) -> str | None:
    if len(data) < 42:
        return _(ENDS_IN_HEADER)
    colours, commands_at, x_at, y_at = (le32(data, at) for at in (8, 20, 24, 28))
    if not 42 + 2 * colours <= commands_at <= x_at <= y_at:
        return _("the parts that its header points to are not in order")
    # One block of the compression takes 54 bits at least and may stand for 65,535 x 258 bytes, so a stream
    # with any bytes at all can hold every number of stitches that is read: only an empty one is refuted here.
    if le32(data, 4) and not commands_at < x_at < y_at < len(data):
        return _("it says that it holds {stitches} stitches, but the bytes for them are missing").format(
            stitches=figure(le32(data, 4))
        )
    return None


def sew_problem(data: bytes) -> str | None:
    if le16(data, 0) > 1000:
        return _("its header counts far too many colours")
    return _(ENDS_IN_HEADER) if len(data) <= SEW_STITCHES_AT else None


def u01_problem(data: bytes) -> str | None:
    return _(ENDS_IN_HEADER) if len(data) <= 0x100 else exp_problem(data)


def tbf_problem(data: bytes) -> str | None:
    if data[0x80:0x83] != b"LA:":
        return _("a TBF file has LA: at byte 128")
    return _(ENDS_IN_HEADER) if len(data) <= 0x600 else None
