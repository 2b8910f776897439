"""The child process that reads one stitch file: bytes in, compact records or a refusal in words out.

It is started by ``planning.reading`` and holds the reading library, and whatever a hostile file makes of it,
under a memory and a CPU limit. Its order is JSON in the one argument, its standard input the file's bytes.
It answers on standard output: one line of JSON, then x and y as 4-byte integers and the commands as bytes.
"""

import io
import json
import re
import sys
from array import array
from typing import Any

from pyembroidery import (
    DstReader,
    EmbThread,
    ExpReader,
    HusReader,
    JefReader,
    PecReader,
    PesReader,
    SewReader,
    TbfReader,
    U01Reader,
    Vp3Reader,
    XxxReader,
)
from pyembroidery.EmbConstant import (
    COLOR_CHANGE,
    COMMAND_MASK,
    END,
    JUMP,
    NEEDLE_SET,
    SEQUIN_EJECT,
    SEQUIN_MODE,
    STITCH,
    STOP,
    TRIM,
)

from planning.formats import FORMATS, plain_colour_name

READERS = {
    "pes": PesReader,
    "pec": PecReader,
    "dst": DstReader,
    "exp": ExpReader,
    "jef": JefReader,
    "vp3": Vp3Reader,
    "xxx": XxxReader,
    "hus": HusReader,
    "sew": SewReader,
    "u01": U01Reader,
    "tbf": TbfReader,
}
# The library's guesses, all off: no jumps dropped, no trims invented.
SETTINGS = {"clipping": False, "trim_distance": None, "trim_at": sys.maxsize, "trims": False}

# Moves and thread changes fill a file too; nothing that is sewn has more of them than stitches.
RECORDS_PER_STITCH = 2
MOST_THREADS = 1000
LONGEST_NAME, LONGEST_CODE = 80, 40


class Refused(Exception):
    """The file is not read; the text says why and what to do, without the file's name."""


class Source(io.BytesIO):
    """The bytes of the file; remembers whether somebody read past their end."""

    ran_out = False

    def read(self, size: int | None = -1, /) -> bytes:
        data = super().read(size)
        if size is not None and len(data) < size:
            self.ran_out = True
        return data


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
            raise Refused(
                f"has more than {self.most_records:,} records, most of them moves without a stitch. "
                "Split the design into parts, or export it again."
            )
        self.x += dx
        self.y += dy
        self.x_tenths.append(self.x)
        self.y_tenths.append(self.y)
        self.commands.append(command)

    def sew(self, command: int, dx: int, dy: int) -> None:
        self.penetrations += 1
        if self.penetrations > self.most_stitches:
            raise Refused(
                f"has more than {self.most_stitches:,} stitches, the most that is read. "
                "Split the design into parts."
            )
        if self.block_is_empty:
            self.block_is_empty = False
            self.blocks += 1
            if self.blocks > self.most_blocks:
                raise Refused(
                    f"has more than {self.most_blocks:,} colour blocks, the most that is read. "
                    "Split the design into parts, or join blocks of equal colour."
                )
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
            raise Refused(
                f"names more than {MOST_THREADS:,} threads: it is damaged. Copy or export it again."
            )
        if isinstance(thread, dict):
            thread = EmbThread(thread)
        self.threadlist.append(UnknownThread() if thread is None else thread)

    def metadata(self, name: str, data: Any) -> None:
        """Leave names, pictures and the like unread: the planner has no use for them."""

    def interpolate_trims(self, *_: Any) -> None:
        """Leave out the library's guess: its time grows with the square of the file; it drops stitches."""

    def interpolate_duplicate_color_as_stop(self) -> None:
        """Leave equal neighbours two blocks, as every other format has them; planning joins them."""


def read(data: bytes, *, extension: str, stitches: int, blocks: int) -> tuple[dict[str, Any], Recorder]:
    """Return what the file holds: the first line of the answer, and the recorder with its arrays.

    Raises Refused.
    """
    source = Source(mask_broken_colour_lines(data) if extension == "dst" else data)
    recorder = Recorder(source, stitches=stitches, blocks=blocks)
    fault = ""
    try:
        READERS[extension].read(source, recorder, SETTINGS)
    except (Refused, MemoryError):
        raise
    except OverflowError as error:
        raise Refused("reaches further than any hoop: it is damaged. Copy or export it again.") from error
    except Exception as error:
        # The readers take a file at its word, so a damaged one makes them fail in any way there is.
        fault = f"{type(error).__name__}: {error}"
        if not source.ran_out or not recorder.penetrations:
            raise Refused("cannot be read: it is damaged or cut off. Copy or export it again.") from error

    # What comes after the stitches (pictures, colours) may be missing without harm to the stitches.
    ending = FORMATS[extension].ending(data, *recorder.ended_at) if recorder.ended_at else "cut"
    if ending != "cut":
        recorder.commands.append(END)
        recorder.x_tenths.append(recorder.x)
        recorder.y_tenths.append(recorder.y)
    threads = threads_in_order(recorder.threadlist, recorder.needles, extension=extension)[:MOST_THREADS]
    header = {
        "records": len(recorder.commands),
        "threads": [thread_words(thread) for thread in threads],
        "ending": ending,
        "fault": fault,
    }
    return header, recorder


def mask_broken_colour_lines(data: bytes) -> bytes:
    """Return the file with those colour lines of its header blanked that the reader would fall over.

    >>> mask_broken_colour_lines(b"TC:#ff0000,red,12\\rTC:red\\r".ljust(512))[:26]
    b'TC:#ff0000,red,12\\r      \\r '
    """

    def keep_or_blank(line: re.Match[bytes]) -> bytes:
        whole = re.fullmatch(rb"TC.\s*#?[0-9A-Fa-f]{6}\s*,[^,]*,.*", line[0].strip())
        return line[0] if whole else b" " * len(line[0])

    return re.sub(rb"(?<![^\r\n])[ ]*TC[^\r\n]*", keep_or_blank, data[:512]) + data[512:]


def threads_in_order(threads: list[Any], needles: list[int], *, extension: str) -> list[Any]:
    """Return the threads in the order in which the file puts them on.

    One format lists what is on the needles, and apart from that the order of the needles; where the list is
    as long as the order, it is the order. Another writes no thread at all as 256 of them.
    """
    if extension in ("pes", "pec") and len(threads) == 256:
        return []
    if extension != "tbf" or len(threads) == len(needles):
        return threads
    if not all(1 <= needle <= len(threads) for needle in needles):
        return threads
    return [threads[needle - 1] for needle in needles]


def thread_words(thread: Any) -> tuple[str | None, str, str]:
    """Return colour, name and code of a thread as far as the file itself carries them.

    A number of a palette stands for a colour; name and code are the library's, from somebody's colour card.
    """
    if thread is None or isinstance(thread, UnknownThread) or thread.color is None:
        return (None, "", "")
    colour = f"#{thread.color & 0xFFFFFF:06x}"
    if type(thread) is not EmbThread:
        if thread.description == "Unknown":
            return (None, "", "")
        return (colour, plain_colour_name(thread.description or ""), "")
    name = clean_text(thread.description)[:LONGEST_NAME]
    return (colour, "" if name.lower() == colour else name, clean_text(thread.catalog_number)[:LONGEST_CODE])


def clean_text(text: str | None) -> str:
    """Return a printable text; some writers put "None" where there was nothing.

    >>> clean_text("  Signal\\x00 red "), clean_text("None"), clean_text(None)
    ('Signal red', '', '')
    """
    printable = "".join(character for character in text or "" if character.isprintable()).strip()
    return "" if printable == "None" else printable


def limit_resources(*, memory_bytes: int, cpu_seconds: int) -> None:
    """Limit what this process may use, where the system can."""
    try:
        import resource
    except ImportError:  # Windows has no such limits: there the parent's clock is the only one
        return
    for what, most in ((resource.RLIMIT_AS, memory_bytes), (resource.RLIMIT_CPU, cpu_seconds)):
        _, hard = resource.getrlimit(what)
        soft = most if hard == resource.RLIM_INFINITY else min(most, hard)
        try:
            resource.setrlimit(what, (soft, hard))
        except (ValueError, OSError):  # some systems know the memory limit but refuse to set it
            continue


def main() -> int:
    """Read the file on standard input as the order says, and write the answer."""
    order = json.loads(sys.argv[1])
    limit_resources(memory_bytes=order.pop("memory_bytes"), cpu_seconds=order.pop("cpu_seconds"))
    arrays: list[array[int]] = []
    try:
        header, recorder = read(sys.stdin.buffer.read(), **order)
        arrays = [recorder.x_tenths, recorder.y_tenths, recorder.commands]
    except Refused as refusal:
        header = {"refused": str(refusal), "fault": repr(refusal.__cause__) if refusal.__cause__ else ""}
    except MemoryError as error:
        header = {
            "refused": "needs more memory to read than a sound file would. Copy or export it again.",
            "fault": repr(error),
        }
    sys.stdout.buffer.write(json.dumps(header).encode() + b"\n")
    for part in arrays:
        sys.stdout.buffer.write(part)
    return 0


if __name__ == "__main__":
    sys.exit(main())
