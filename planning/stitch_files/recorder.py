"""What the library's readers write into while they read a stitch file: bounded in every direction."""

import io
from array import array
from typing import Any

from pyembroidery import EmbThread, HusReader
from pyembroidery.EmbCompress import EmbCompress
from pyembroidery.EmbConstant import (
    COLOR_CHANGE,
    COMMAND_MASK,
    JUMP,
    NEEDLE_SET,
    SEQUIN_EJECT,
    SEQUIN_MODE,
    STITCH,
    STOP,
    TRIM,
)

from planning.stitch_files.sentences import (
    MORE_THAN_BYTES,
    TOO_MANY_BLOCKS,
    TOO_MANY_NAMED,
    TOO_MANY_RECORDS,
    TOO_MANY_STITCHES,
)

# Moves and thread changes fill a file too; nothing that is sewn has more of them than stitches.
RECORDS_PER_STITCH = 2
MOST_THREADS = 1000


class Refused(Exception):
    """The file is not read: the ``sentence`` that says why and what to do, with the number it speaks of."""

    def __init__(self, sentence: str, *, most: int | None = None) -> None:
        super().__init__(sentence)
        self.sentence, self.most = sentence, most


class Source(io.BytesIO):
    """The bytes of the file; remembers whether somebody read past their end."""

    ran_out = False

    def read(self, size: int | None = -1, /) -> bytes:
        data = super().read(size)
        if size is not None and len(data) < size:
            self.ran_out = True
        return data


class Expansion(EmbCompress):
    """The library's expansion of compressed bytes, which ends.

    Every token of a sound stream stands for a byte or more; in others millions of them stand for nothing.
    """

    tokens_left = 0

    def get_token(self) -> int:
        self.tokens_left -= 1
        if self.tokens_left < 0:
            raise Refused(MORE_THAN_BYTES)
        if self.block_elements > 0 and self.character_huffman.table is None:
            self.block_elements -= 1  # all tokens of this block are the same and take no bits
            return int(self.character_huffman.default_value)
        return int(super().get_token())


def expand(data: bytes, size: int) -> list[int]:
    """Return at least the first ``size`` bytes that compressed ones stand for, if there are so many."""
    expansion = Expansion()
    expansion.tokens_left = size + 2  # the reader asks for one byte more than there are, and for the end
    expanded: list[int] = expansion.decompress(data, size)
    return expanded


HusReader.expand = expand


class UnknownThread:
    """A thread of which the file gives no colour."""


class Threads(list[Any]):
    """A thread list that answers for threads the file forgot: one reader asks by number without looking."""

    def __getitem__(self, index: Any) -> Any:
        beyond = isinstance(index, int) and index >= len(self)
        return UnknownThread() if beyond else super().__getitem__(index)


class Recorder:
    """What the library's readers write into, instead of the library's own pattern.

    It counts as it is written to, so that no file fills the memory first. It leaves out what the library
    guesses after reading: trims that the file has not, and a stop for two equal neighbouring colours.
    """

    def __init__(self, source: Source, *, stitches: int, blocks: int) -> None:
        self.source = source
        self.x_tenths, self.y_tenths, self.commands = array("i"), array("i"), array("B")
        self.x = self.y = 0
        self.threadlist = Threads()
        self.needles: list[int] = []
        self.penetrations = self.blocks = 0
        self.most_stitches, self.most_blocks = stitches, blocks
        self.most_records = stitches * RECORDS_PER_STITCH
        self.block_is_empty = True
        self.ended_at: tuple[int, bool] | None = None

    def add(self, command: int, dx: int, dy: int) -> None:
        if len(self.commands) >= self.most_records:
            raise Refused(TOO_MANY_RECORDS, most=self.most_records)
        self.x += dx
        self.y += dy
        self.x_tenths.append(self.x)
        self.y_tenths.append(self.y)
        self.commands.append(command)

    def sew(self, command: int, dx: int, dy: int) -> None:
        self.penetrations += 1
        if self.penetrations > self.most_stitches:
            raise Refused(TOO_MANY_STITCHES, most=self.most_stitches)
        if self.block_is_empty:
            self.block_is_empty = False
            self.blocks += 1
            if self.blocks > self.most_blocks:
                raise Refused(TOO_MANY_BLOCKS, most=self.most_blocks)
        self.add(command, dx, dy)

    def stitch(self, dx: int = 0, dy: int = 0) -> None:
        self.sew(STITCH, dx, dy)

    def sequin_eject(self, dx: int = 0, dy: int = 0) -> None:
        self.sew(SEQUIN_EJECT, dx, dy)

    def move(self, dx: int = 0, dy: int = 0) -> None:
        self.add(JUMP, dx, dy)

    def move_abs(self, x: float, y: float) -> None:
        # One format starts blocks at fractions of 0.1 mm: rounded once, here, stitches keep their lengths.
        self.add(JUMP, round(x) - self.x, round(y) - self.y)

    def trim(self, dx: int = 0, dy: int = 0) -> None:
        self.add(TRIM, dx, dy)

    def stop(self, dx: int = 0, dy: int = 0) -> None:
        self.add(STOP, dx, dy)

    def sequin_mode(self, dx: int = 0, dy: int = 0) -> None:
        self.add(SEQUIN_MODE, dx, dy)

    def color_change(self, dx: int = 0, dy: int = 0) -> None:
        self.block_is_empty = True
        self.add(COLOR_CHANGE, dx, dy)

    def needle_change(self, needle: int = 0) -> None:
        self.block_is_empty = True
        self.needles.append(needle)
        self.add(NEEDLE_SET, 0, 0)

    def add_stitch_relative(self, command: int, dx: int = 0, dy: int = 0) -> None:
        self.add(command & COMMAND_MASK, dx, dy)

    def end(self, dx: int = 0, dy: int = 0) -> None:
        self.ended_at = (self.source.tell(), self.source.ran_out)

    def add_thread(self, thread: Any) -> None:
        if len(self.threadlist) >= MOST_THREADS:
            raise Refused(TOO_MANY_NAMED, most=MOST_THREADS)
        if isinstance(thread, dict):
            thread = EmbThread(thread)
        self.threadlist.append(UnknownThread() if thread is None else thread)

    def metadata(self, name: str, data: Any) -> None:
        """Leave names, pictures and the like unread: the planner has no use for them."""

    def interpolate_trims(self, *_: Any) -> None:
        """Leave out the library's guess: its time grows with the square of the file; it drops stitches."""

    def interpolate_duplicate_color_as_stop(self) -> None:
        """Leave equal neighbours two blocks, as every other format has them; planning joins them."""
