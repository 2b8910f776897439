"""How the stitches of a file end: whole, cut off, or at a code that nobody knows."""

from typing import Literal

Ending = Literal["whole", "cut", "stopped"]

# Fewer bytes than these after an end are filler that some writer left.
MOST_FILLER = 16
_FILLER = b"\x00\x1a\x20\xff"


def record_ends(data: bytes, at: int, ran_out: bool) -> Ending:
    """Return how a file ended whose last stitch is followed by an end record."""
    return "cut" if ran_out else "whole"


def bytes_end(data: bytes, at: int, ran_out: bool) -> Ending:
    """Return how a file ended whose format knows no end record: a cut-off one looks whole."""
    return "whole" if ran_out or len(data) - at <= MOST_FILLER else "stopped"


def jef_ends(data: bytes, at: int, ran_out: bool) -> Ending:
    if ran_out:
        return "whole" if data.rstrip(b"\0").endswith(b"\x80\x10") else "cut"
    return "whole" if data[at - 4 : at - 2] == b"\x80\x10" else "stopped"


def u01_ends(data: bytes, at: int, ran_out: bool) -> Ending:
    if ran_out:
        return "cut"
    return "whole" if data[at - 3] & 0x1F == 0x18 else "stopped"


def tbf_ends(data: bytes, at: int, ran_out: bool) -> Ending:
    if ran_out:
        return "cut"
    return "whole" if data[at - 1] == 0x8F else "stopped"


def left_over(data: bytes, at: int) -> int:
    """Return how many bytes after an end at ``at`` are more than filler.

    >>> left_over(b"stitches, end" + bytes(400), 13), left_over(b"stitches, end, and more of them", 13)
    (0, 18)
    """
    rest = len(data[at:].strip(_FILLER))
    return rest if rest > MOST_FILLER else 0
