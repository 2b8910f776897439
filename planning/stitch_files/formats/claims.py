"""What the header of a stitch file says of its stitches, and where that is not so."""

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from planning.compute.stitches import file_sentences as say
from planning.compute.stitches.warnings import FileWarning, info, look
from planning.stitch_files.formats.endings import MOST_FILLER
from planning.stitch_files.formats.signatures import be16, be32, le16, le32, pec_block_at

Span = tuple[int, int]

# Writers round, and some measure to the edge of the stitches and some to that of the moves.
SLACK_TENTHS, SLACK_SHARE = 10, 0.02


@dataclass(frozen=True)
class HeaderClaims:
    """What a file's header says of its content; None where it says nothing.

    ``records`` counts in whatever way the writer counts. ``extents_*`` are distances from the start to both
    sides, smaller first; ``size_tenths`` is width and height; ``end_tenths`` is the last place.
    ``stitches_end`` is the byte after the last stitch.
    """

    records: int | None = None
    colour_changes: int | None = None
    extents_x_tenths: Span | None = None
    extents_y_tenths: Span | None = None
    size_tenths: Span | None = None
    end_tenths: Span | None = None
    stitches_end: int | None = None


@dataclass(frozen=True)
class Content:
    """What a file was found to hold, in the ways in which writers count and measure it.

    ``boxes_tenths`` are the spans in x and y of the stitches, of all records, and of all records with the
    start. ``ends_tenths`` are the last stitch and the last record. ``least_counted`` and ``most_counted`` are
    what a writer may make of the records. ``ended_at`` is the byte where reading ended. Where
    ``stops_are_changes``, the format writes a stop as it writes a thread change, and headers count only these.
    """

    stitches: int
    least_counted: float
    most_counted: float
    changes: int
    stops: int
    boxes_tenths: tuple[tuple[Span, Span], ...]
    ends_tenths: tuple[Span, ...]
    ended_at: int | None
    stops_are_changes: bool = False


def disagreements(claims: HeaderClaims, content: Content) -> Iterator[FileWarning]:
    """Yield where a header disagrees with the content by more than writers differ in counting.

    Some count every record, some only stitches, some the thread changes and some the threads. Some write the size
    of the canvas for that of the design: that is no alarm where the count, the end or the last place says that
    nothing is missing.
    """
    missing = [*_missing(claims, content)]
    confirmed = not missing and any(
        each is not None for each in (claims.records, claims.stitches_end, claims.end_tenths)
    )
    yield from missing
    fewest, most = content.changes, content.changes + content.stops + 1
    if claims.colour_changes is not None and not fewest <= claims.colour_changes <= most:
        tell = info if content.stops_are_changes and claims.colour_changes < fewest else look
        yield tell(say.OTHER_CHANGES.format(said=f"{claims.colour_changes:,}", held=f"{content.changes:,}"))
    yield from _other_size(claims, content, confirmed=confirmed)


def _missing(claims: HeaderClaims, content: Content) -> Iterator[FileWarning]:
    """Yield where the count, the last place or the last byte of the stitches is not the header's."""
    if claims.records is not None and not (
        content.least_counted - 1 <= claims.records <= content.most_counted + 1
    ):
        yield look(say.OTHER_COUNT.format(said=f"{claims.records:,}", held=f"{content.stitches:,}"))
    if claims.end_tenths and not any(_same_place(claims.end_tenths, end) for end in content.ends_tenths):
        yield look(
            say.OTHER_END.format(
                said=_mm(claims.end_tenths, say.PAIR), held=_mm(content.ends_tenths[-1], say.PAIR)
            )
        )
    end, ended = claims.stitches_end, content.ended_at
    if end is not None and ended is not None and not end - MOST_FILLER <= ended <= end + MOST_FILLER:
        yield look(say.OTHER_LAST_BYTE.format(said=f"{end:,}", held=f"{ended:,}"))


def _other_size(claims: HeaderClaims, content: Content, *, confirmed: bool) -> Iterator[FileWarning]:
    """Yield that the size is another than the header says, once."""
    reach = [
        (axis, claimed, [sorted(map(abs, box[axis])) for box in content.boxes_tenths])
        for axis, claimed in enumerate((claims.extents_x_tenths, claims.extents_y_tenths))
        if claimed
    ]
    off = [
        (claimed, sides[-1]) for _, claimed, sides in reach if not any(_near(claimed, each) for each in sides)
    ]
    if off:
        inside = all(_holds(claimed, sides[-1]) for _, claimed, sides in reach)
        yield _size_warning(
            (say.OTHER_REACH_CANVAS, say.OTHER_REACH),
            _mm(off[0][0], say.PAIR),
            _mm(off[0][1], say.PAIR),
            is_canvas=confirmed and inside,
        )
        return
    sizes = [tuple(high - low for low, high in box) for box in content.boxes_tenths]
    if claims.size_tenths and not any(_near(claims.size_tenths, each) for each in sizes):
        yield _size_warning(
            (say.OTHER_SIZE_CANVAS, say.OTHER_SIZE),
            _mm(claims.size_tenths),
            _mm(sizes[-1]),
            is_canvas=confirmed and _holds(claims.size_tenths, sizes[-1]),
        )


def _size_warning(sentences: tuple[str, str], said: str, held: str, *, is_canvas: bool) -> FileWarning:
    of_canvas, grave = sentences
    if is_canvas:
        return info(of_canvas.format(said=said, held=held))
    return look(grave.format(said=said, held=held))


def _holds(said: Iterable[int], true: Sequence[int]) -> bool:
    """Tell whether the size that is said has room for the true one."""
    slack = SLACK_TENTHS + SLACK_SHARE * max(true)
    return all(one >= other - slack for one, other in zip(said, true, strict=True))


def _near(said: Iterable[int], true: Sequence[int]) -> bool:
    slack = SLACK_TENTHS + SLACK_SHARE * max(true)
    return all(abs(one - other) <= slack for one, other in zip(said, true, strict=True))


def _same_place(said: Span, true: Span) -> bool:
    """Tell whether two places are one; writers differ in whether y grows upwards."""
    off_x, off_y = abs(said[0] - true[0]), min(abs(said[1] - true[1]), abs(said[1] + true[1]))
    return max(off_x, off_y) <= SLACK_TENTHS


def _mm(pair: Sequence[int], between: str = say.SIZE) -> str:
    one, other = (f"{each / 10:.1f}" for each in pair)
    return between.format(one=one, other=other)


def no_claims(data: bytes) -> HeaderClaims:
    return HeaderClaims()


_HEADER_LINE = re.compile(rb"(?:^|[\r\n])(ST|CO|[+-][XY]|A[XY]):[ \0]*([+-]?)[ \0]*(\d{1,9})[ \0]*(?=[\r\n])")


def text_claims(header: bytes) -> HeaderClaims:
    """Return what a header of lines such as ``ST:   1234`` says.

    >>> text_claims(b"LA:x\\rST:     42\\rCO:  3\\r+X:  10\\r-X:   5\\r").extents_x_tenths
    (5, 10)
    """
    found = {key.decode(): int(sign + digits) for key, sign, digits in _HEADER_LINE.findall(header)}

    def pair(one: str, other: str) -> Span | None:
        return (found[one], found[other]) if one in found and other in found else None

    def extents(axis: str) -> Span | None:
        sides = pair(f"+{axis}", f"-{axis}")
        return (min(sides), max(sides)) if sides else None

    # Writers that know no last place write zeros, as those do whose design ends where it starts.
    end = pair("AX", "AY")
    return HeaderClaims(
        records=found.get("ST"),
        colour_changes=found.get("CO"),
        extents_x_tenths=extents("X"),
        extents_y_tenths=extents("Y"),
        end_tenths=end if end and any(end) else None,
    )


def dst_claims(data: bytes) -> HeaderClaims:
    return text_claims(data[:512])


def tbf_claims(data: bytes) -> HeaderClaims:
    return text_claims(data[0x80:0x106])


def u01_claims(data: bytes) -> HeaderClaims:
    """Return what the second half of the header says, if it is filled in as numbers that can be true."""
    left, top, right, bottom, end_x, end_y = (
        int.from_bytes(data[at : at + 2], "little", signed=True)
        for at in (0x80, 0x82, 0x84, 0x86, 0x90, 0x92)
    )
    count = le32(data, 0x8C)
    if not count or le32(data, 0x88) or left > right or top > bottom:
        return HeaderClaims()
    return HeaderClaims(
        records=count,
        extents_x_tenths=_sides(left, right),
        extents_y_tenths=_sides(top, bottom),
        end_tenths=(end_x, end_y) if end_x or end_y else None,
    )


def _sides(one: int, other: int) -> Span:
    """Return how far two places lie from the start, the nearer first.

    >>> _sides(-120, 40)
    (40, 120)
    """
    return min(abs(one), abs(other)), max(abs(one), abs(other))


def pec_claims(data: bytes) -> HeaderClaims:
    at = pec_block_at(data)
    colours = data[at + 48]
    width, height = le16(data, at + 520), le16(data, at + 522)
    length = int.from_bytes(data[at + 514 : at + 517], "little")
    return HeaderClaims(
        colour_changes=colours if colours != 0xFF else None,
        size_tenths=(width, height) if width and height else None,
        stitches_end=at + 512 + length,
    )


def jef_claims(data: bytes) -> HeaderClaims:
    left, top, right, bottom = (le32(data, at) for at in (36, 40, 44, 48))
    return HeaderClaims(
        records=le32(data, 28) or None,
        size_tenths=(left + right, top + bottom) if max(left, top, right, bottom) < 1 << 16 else None,
    )


def xxx_claims(data: bytes) -> HeaderClaims:
    return HeaderClaims(
        records=le32(data, 0x17) or None,
        stitches_end=le32(data, 0xFC) or None,
    )


def sew_claims(data: bytes) -> HeaderClaims:
    """Return how many thread changes its list of colours stands for: the one count of the format."""
    colours = le16(data, 0)
    return HeaderClaims(colour_changes=colours - 1 if colours else None)


def hus_claims(data: bytes) -> HeaderClaims:
    right, up, left, down = (
        int.from_bytes(data[at : at + 2], "little", signed=True) for at in (12, 14, 16, 18)
    )
    return HeaderClaims(
        records=le32(data, 4),
        size_tenths=(right - left, up - down) if right > left and up > down else None,
    )


def vp3_claims(data: bytes) -> HeaderClaims:
    """Return what the block for the whole file says; its lengths in 0.001 mm."""
    at = 8 + be16(data, 6) + 7
    at += 2 + be16(data, at)
    right, top, left, bottom = (
        int.from_bytes(data[at + place : at + place + 4], "big", signed=True) // 100
        for place in (0, 4, 8, 12)
    )
    blocks = data[at + 21 : at + 22]
    return HeaderClaims(
        records=be32(data, at + 16) or None,
        colour_changes=blocks[0] - 1 if blocks and blocks[0] else None,
        size_tenths=(right - left, top - bottom) if right > left and top > bottom else None,
    )
