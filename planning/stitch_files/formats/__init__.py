"""What is known of each stitch file format: one table, read by everything that touches a file."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal

from planning.compute.stitches.warnings import FileWarning
from planning.stitch_files.formats.claims import (
    HeaderClaims,
    dst_claims,
    hus_claims,
    jef_claims,
    no_claims,
    pec_claims,
    sew_claims,
    tbf_claims,
    u01_claims,
    vp3_claims,
    xxx_claims,
)
from planning.stitch_files.formats.endings import Ending, bytes_end, jef_ends, record_ends, tbf_ends, u01_ends
from planning.stitch_files.formats.layouts import (
    dst_oddities,
    dst_stitches,
    exp_oddities,
    hus_stitches,
    jef_oddities,
    nothing_odd,
    pes_oddities,
    sew_oddities,
    tbf_oddities,
    u01_oddities,
    xxx_oddities,
)
from planning.stitch_files.formats.signatures import (
    dst_problem,
    exp_problem,
    hus_problem,
    jef_problem,
    pec_problem,
    pes_problem,
    sew_problem,
    tbf_problem,
    u01_problem,
    vp3_problem,
    what_it_looks_like,
    xxx_problem,
)
from planning.stitch_files.formats.vp3 import vp3_oddities

__all__ = [
    "FORMATS",
    "PLAIN_COLOUR_WORDS",
    "Ending",
    "HeaderClaims",
    "StitchFormat",
    "plain_colour_name",
    "what_it_looks_like",
]


@dataclass(frozen=True)
class StitchFormat:
    """One format.

    ``record_limit_tenths`` is the longest stitch or jump that writers put into one record. ``check`` returns
    what is wrong with the bytes for this format, or None; ``oddities`` what is odd about them though they
    can be read. ``claims`` reads the header. ``ending`` tells, from the bytes, the place where reading
    stopped and whether bytes ran out, if the file is whole, cut off, or stopped at an unknown code.
    ``least_stitches`` counts from the bytes alone how many stitches there must be or are said to be.
    ``nothing_follows`` the end of the stitches. ``counts`` is what the number of stitches in the header may
    count: stitches or all records; or as well all byte pairs, or the moves to each run, which the format does
    not write; or exactly all records. ``stops_are_changes`` where a stop is written as a thread change is, and
    ``moves_are_stitches`` where a move that lays thread is written as a stitch, however long.
    """

    extension: str
    name: str
    colours: Literal["rgb", "palette", "none"]
    trims: Literal["explicit", "jumps"]
    record_limit_tenths: int
    check: Callable[[bytes], str | None]
    claims: Callable[[bytes], HeaderClaims] = no_claims
    oddities: Callable[[bytes], Iterator[FileWarning]] = nothing_odd
    ending: Callable[[bytes, int, bool], Ending] = record_ends
    least_stitches: Callable[[bytes], int] | None = None
    threads_required: bool = True
    nothing_follows: bool = False
    counts: Literal["records", "byte pairs", "moves too", "exactly"] = "records"
    stops_are_changes: bool = False
    moves_are_stitches: bool = False


FORMATS: dict[str, StitchFormat] = {
    known.extension: known
    for known in (
        StitchFormat(
            "pes",
            "PES",
            colours="rgb",
            trims="explicit",
            record_limit_tenths=2047,
            check=pes_problem,
            claims=pec_claims,
            oddities=pes_oddities,
        ),
        StitchFormat(
            "pec",
            "PEC",
            colours="palette",
            trims="explicit",
            record_limit_tenths=2047,
            check=pec_problem,
            claims=pec_claims,
        ),
        StitchFormat(
            "dst",
            "DST",
            colours="none",
            trims="jumps",
            record_limit_tenths=121,
            check=dst_problem,
            claims=dst_claims,
            oddities=dst_oddities,
            least_stitches=dst_stitches,
            stops_are_changes=True,
            threads_required=False,
            nothing_follows=True,
        ),
        StitchFormat(
            "exp",
            "EXP",
            colours="none",
            trims="explicit",
            record_limit_tenths=127,
            check=exp_problem,
            oddities=exp_oddities,
            ending=bytes_end,
            threads_required=False,
        ),
        StitchFormat(
            "jef",
            "JEF",
            colours="palette",
            trims="jumps",
            record_limit_tenths=127,
            check=jef_problem,
            claims=jef_claims,
            oddities=jef_oddities,
            ending=jef_ends,
            counts="byte pairs",
            nothing_follows=True,
        ),
        StitchFormat(
            "vp3",
            "VP3",
            colours="rgb",
            trims="explicit",
            record_limit_tenths=32767,
            check=vp3_problem,
            claims=vp3_claims,
            oddities=vp3_oddities,
            counts="moves too",
            moves_are_stitches=True,
        ),
        StitchFormat(
            "xxx",
            "XXX",
            colours="rgb",
            trims="explicit",
            record_limit_tenths=124,
            check=xxx_problem,
            claims=xxx_claims,
            oddities=xxx_oddities,
        ),
        StitchFormat(
            "hus",
            "HUS",
            colours="palette",
            trims="explicit",
            record_limit_tenths=127,
            check=hus_problem,
            claims=hus_claims,
            counts="exactly",  # it is the length to which the compressed bytes are expanded
            least_stitches=hus_stitches,
        ),
        StitchFormat(
            "sew",
            "SEW",
            colours="palette",
            trims="jumps",
            record_limit_tenths=127,
            check=sew_problem,
            claims=sew_claims,
            oddities=sew_oddities,
            ending=bytes_end,
        ),
        StitchFormat(
            "u01",
            "U01",
            colours="none",
            trims="explicit",
            record_limit_tenths=127,
            check=u01_problem,
            claims=u01_claims,
            oddities=u01_oddities,
            ending=u01_ends,
            threads_required=False,
            nothing_follows=True,
        ),
        StitchFormat(
            "tbf",
            "TBF",
            colours="rgb",
            trims="explicit",
            record_limit_tenths=127,
            check=tbf_problem,
            claims=tbf_claims,
            oddities=tbf_oddities,
            ending=tbf_ends,
            threads_required=False,
            nothing_follows=True,
        ),
    )
}


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
