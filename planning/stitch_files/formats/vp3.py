"""How a VP3 file is laid out: blocks within blocks, each with its length.

The block of the whole file holds that of the design, which holds one for each colour, one behind the other, which
holds the thread and one of stitches. The chain of colour blocks leads the reading; what stands inside one (lengths
of names, length of its stitches) is only held against it, for some writers count letters where bytes are meant.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass

from planning.compute.stitches import file_sentences as say
from planning.compute.stitches.warnings import FileWarning, info, look
from planning.stitch_files.formats.signatures import be16, be32

_FILE, _DESIGN, _COLOUR = b"\x00\x02\x00", b"\x00\x03\x00", b"\x00\x05\x00"
_STITCHES = re.compile(rb"\x00\x01\x00.{4}\x0a\xf6\x00", re.DOTALL)
_STITCHES_HEAD = 10  # mark, length, and three bytes that are always the same
_AFTER_STITCHES = 1  # a zero
_FILLER = b"\x00\x1a\x20\xff"
# No thread takes more bytes than this: three names and a few colours.
_MOST_OF_A_THREAD = 2_000
_MOST_OF_A_SLIP = 256


@dataclass(frozen=True)
class Vp3Thread:
    """A thread as the file names it; texts as bytes."""

    rgb: int | None
    code: bytes = b""
    name: bytes = b""


@dataclass(frozen=True)
class Vp3Block:
    """One colour block: where it starts and ends along the chain, and what is in it.

    ``start_hundredths`` is the start in 0.01 of 0.1 mm from the design's centre, y upwards. ``said_end`` is where
    its own length puts its end, ``inner_end`` where the length of its stitches puts theirs.
    """

    at: int
    end: int
    said_end: int
    start_hundredths: tuple[int, int]
    thread: Vp3Thread
    names_fit: bool
    stitches_at: int
    inner_end: int


@dataclass(frozen=True)
class Vp3Layout:
    """The blocks of a file and what its outer blocks say of them."""

    file_at: int
    design_at: int
    counted: int
    centre_hundredths: tuple[int, int]
    blocks: tuple[Vp3Block, ...]

    @property
    def end(self) -> int:
        return self.blocks[-1].end if self.blocks else self.design_at


def vp3_layout(data: bytes) -> Vp3Layout:
    """Return how a VP3 file is laid out, read along its chain of colour blocks."""
    file_at = 8 + be16(data, 6)
    design_at = file_at + 7 + 2 + be16(data, file_at + 7) + 25
    names_at = design_at + 7 + 35
    maker_at = names_at + 2 + be16(data, names_at) + 24
    colours_at = maker_at + 2 + be16(data, maker_at)
    return Vp3Layout(
        file_at=file_at,
        design_at=design_at,
        counted=be16(data, colours_at),
        centre_hundredths=(_signed(data, design_at + 7), _signed(data, design_at + 11)),
        blocks=tuple(_blocks(data, colours_at + 2)),
    )


def vp3_oddities(data: bytes) -> Iterator[FileWarning]:
    """Yield where the lengths in a file disagree, and whether stitches can be missing for it."""
    layout = vp3_layout(data)
    for misplaced, mark, at in (
        (say.FILE_BLOCK_MISPLACED, _FILE, layout.file_at),
        (say.DESIGN_BLOCK_MISPLACED, _DESIGN, layout.design_at),
        (say.COLOUR_BLOCK_MISPLACED, _COLOUR, layout.blocks[0].at if layout.blocks else len(data)),
    ):
        if data[at : at + 3] != mark:
            yield look(misplaced.format(byte=f"{at:,}"))
            return
    if layout.counted != len(layout.blocks):
        yield look(say.OTHER_BLOCKS.format(said=f"{layout.counted:,}", held=f"{len(layout.blocks):,}"))
    chain = list(_chain_oddities(layout))
    yield from chain
    # The chain alone leads the reading; what the outer blocks say of its end cannot lose a stitch.
    if not chain:
        yield from _outer_oddities(data, layout)


def _chain_oddities(layout: Vp3Layout) -> Iterator[FileWarning]:
    """Yield where a colour block, its stitches or its names have another length than they say."""
    blocks = layout.blocks
    slipped = [(number, block) for number, block in enumerate(blocks, 1) if block.said_end != block.end]
    if slipped and len(slipped) == len(blocks) > 1 and len({b.said_end - b.end for b in blocks}) == 1:
        slip = blocks[0].said_end - blocks[0].end
        yield info((say.ALL_LONGER if slip > 0 else say.ALL_SHORTER).format(bytes=f"{abs(slip):,}"))
    elif slipped:
        number, block = slipped[0]
        yield look(
            say.BLOCK_ENDS_ELSEWHERE.format(colour=number, said=f"{block.said_end:,}", held=f"{block.end:,}")
        )
    off = [
        (number, block)
        for number, block in enumerate(blocks, 1)
        if not 0 <= block.end - block.inner_end <= _AFTER_STITCHES
    ]
    if off and len({block.end - block.inner_end for _, block in off}) == 1 and len(off) == len(blocks) > 1:
        yield info(say.ALL_STITCHES_OFF.format(bytes=f"{abs(off[0][1].end - off[0][1].inner_end):,}"))
    elif off:
        number, block = off[0]
        yield look(
            say.STITCHES_END_ELSEWHERE.format(
                colour=number, said=f"{block.inner_end:,}", held=f"{block.end:,}"
            )
        )
    unfit = [str(number) for number, block in enumerate(blocks, 1) if not block.names_fit]
    if unfit:
        yield info(say.NAMES_UNFIT.format(colours=", ".join(unfit[:8])))


def _outer_oddities(data: bytes, layout: Vp3Layout) -> Iterator[FileWarning]:
    """Yield where the blocks of the file and of the design end elsewhere than the last colour."""
    for beyond, before, at in (
        (say.DESIGN_ENDS_BEYOND, say.DESIGN_ENDS_BEFORE, layout.design_at),
        (say.FILE_ENDS_BEYOND, say.FILE_ENDS_BEFORE, layout.file_at),
    ):
        end = _end(data, at)
        if end != layout.end:
            sentence = beyond if end > layout.end else before
            # Writers slip by the length of a text; a length that is nowhere near was damaged.
            tell = info if abs(end - layout.end) <= _MOST_OF_A_SLIP else look
            yield tell(sentence.format(bytes=f"{abs(end - layout.end):,}"))
            return
    if layout.end < len(data) and data[layout.end :].strip(_FILLER):
        yield info(say.BYTES_AFTER_COLOUR.format(bytes=f"{len(data) - layout.end:,}"))


def _blocks(data: bytes, at: int) -> Iterator[Vp3Block]:
    """Yield the colour blocks of the chain that starts at ``at``."""
    if data[at : at + 3] != _COLOUR:
        at = _colour_before(data, 0, _STITCHES.search(data))
    while 0 <= at < len(data) and data[at : at + 3] == _COLOUR:
        block = _block(data, at)
        if block is None:
            return
        yield block
        at = block.end


def _block(data: bytes, at: int) -> Vp3Block | None:
    """Return the colour block that starts at a place; None where it holds no stitches at all."""
    thread, parsed_at = _thread(data, at + 15)
    stitches_at = parsed_at + 8  # how far the block leads from its start
    fits = _STITCHES.match(data, stitches_at) is not None
    if not fits:
        found = _STITCHES.search(data, at + 7, at + 7 + _MOST_OF_A_THREAD)
        if found is not None:
            stitches_at = found.start()
        elif stitches_at >= len(data):
            return None
    inner_end = _end(data, stitches_at)
    said_end = _end(data, at)
    return Vp3Block(
        at=at,
        end=_true_end(data, stitches_at, said_end, inner_end),
        said_end=said_end,
        start_hundredths=(_signed(data, at + 7), _signed(data, at + 11)),
        thread=thread if fits else Vp3Thread(thread.rgb),
        names_fit=fits,
        stitches_at=stitches_at + _STITCHES_HEAD,
        inner_end=inner_end,
    )


def _true_end(data: bytes, stitches_at: int, said_end: int, inner_end: int) -> int:
    """Return where a colour block ends: where it says, if another starts there or the file ends there.

    Else where its stitches say; else before the next block that has stitches; else where it says.
    """
    ends = (said_end, inner_end + _AFTER_STITCHES, inner_end)
    following = _STITCHES.search(data, stitches_at + _STITCHES_HEAD)
    if following is None:
        inside = [end for end in ends if stitches_at < end <= len(data)]
        return next(
            (end for end in inside if not data[end:].strip(_FILLER)), inside[0] if inside else said_end
        )
    for end in ends:
        if stitches_at < end and _starts(data, end, following.start()):
            return end
    found = _colour_before(data, stitches_at + _STITCHES_HEAD, following)
    return found if found > 0 else said_end


def _starts(data: bytes, at: int, stitches_at: int) -> bool:
    """Tell whether a colour block starts at ``at`` whose stitches are those at ``stitches_at``."""
    return data[at : at + 3] == _COLOUR and at < stitches_at <= at + 7 + _MOST_OF_A_THREAD


def _colour_before(data: bytes, after: int, stitches: re.Match[bytes] | None) -> int:
    """Return where the colour block starts whose stitches were found, or -1.

    Its mark may stand among the stitches before it too: the one that leads to the stitches is the true one.
    """
    if stitches is None:
        return -1
    lowest = max(after, stitches.start() - _MOST_OF_A_THREAD)
    at = last = data.rfind(_COLOUR, lowest, stitches.start())
    while at >= 0:
        if _thread(data, at + 15)[1] + 8 == stitches.start():
            return at
        at = data.rfind(_COLOUR, lowest, at + 2)
    return last


def _thread(data: bytes, at: int) -> tuple[Vp3Thread, int]:
    """Return the thread that stands at a place, and where it ends."""
    colours = data[at] if at < len(data) else 0
    rgb = int.from_bytes(data[at + 2 : at + 5], "big") if colours and at + 5 <= len(data) else None
    at += 2 + 6 * colours + 2
    texts = []
    for _ in range(3):
        size = be16(data, at)
        texts.append(data[at + 2 : at + 2 + size])
        at += 2 + size
    return Vp3Thread(rgb, code=texts[0], name=texts[1]), at


def _end(data: bytes, at: int) -> int:
    return at + 7 + be32(data, at + 3)


def _signed(data: bytes, at: int) -> int:
    return int.from_bytes(data[at : at + 4], "big", signed=True)
