"""The child process that reads stitch files: bytes in, compact records or a refusal in words out.

It is started by ``inventory.processes`` and holds the reading library, and whatever a hostile file
makes of it, under a memory and a CPU limit. Its order for one file is JSON in the one argument, its standard
input the file's bytes. It answers on standard output: one line of JSON, then x and y as 4-byte integers and
the commands as bytes.

With ``--many`` it reads one file after the other, each in a process forked for it, so that the library is
loaded once and a file takes nobody down but its own process. Each order then is a line of JSON with the
``size`` of the file and then the file; each answer is a line with the ``status`` of the process that read
the file and the ``size`` of what it wrote, and then that.
"""

import gc
import json
import os
import re
import sys
import traceback
from array import array
from collections.abc import Callable
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
    XxxReader,
)
from pyembroidery.EmbConstant import END

from inventory.processes.limits import limit_resources
from planning.stitch_files import vp3_reader
from planning.stitch_files.formats import FORMATS, plain_colour_name
from planning.stitch_files.recorder import MOST_THREADS, Recorder, Refused, Source, UnknownThread
from planning.stitch_files.sentences import DAMAGED, TOO_FAR, TOO_MUCH_MEMORY

READERS = {
    "pes": PesReader,
    "pec": PecReader,
    "dst": DstReader,
    "exp": ExpReader,
    "jef": JefReader,
    "vp3": vp3_reader,
    "xxx": XxxReader,
    "hus": HusReader,
    "sew": SewReader,
    "u01": U01Reader,
    "tbf": TbfReader,
}
# The library's guesses, all off: no jumps dropped, no trims invented.
SETTINGS = {"clipping": False, "trim_distance": None, "trim_at": sys.maxsize, "trims": False}

LONGEST_NAME, LONGEST_CODE = 80, 40


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
        raise Refused(TOO_FAR) from error
    except Exception as error:
        # The readers take a file at its word, so a damaged one makes them fail in any way there is.
        fault = f"{type(error).__name__}: {error}"
        if not source.ran_out or not recorder.penetrations:
            raise Refused(DAMAGED) from error

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
        "ended_at": recorder.ended_at[0] if recorder.ended_at else None,
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


def thread_words(thread: Any) -> tuple[str | None, str, str, bool]:
    """Return colour, name and code of a thread as far as the file itself carries them, and if it is of a palette.

    A number of a palette stands for a colour; name and code are the library's, from somebody's colour card.
    """
    if thread is None or isinstance(thread, UnknownThread) or thread.color is None:
        return (None, "", "", False)
    colour = f"#{thread.color & 0xFFFFFF:06x}"
    if type(thread) is not EmbThread:
        if thread.description == "Unknown":
            return (None, "", "", False)
        return (colour, plain_colour_name(thread.description or ""), "", True)
    name = clean_text(thread.description)[:LONGEST_NAME]
    shown = "" if name.lower() == colour else name
    return (colour, shown, clean_text(thread.catalog_number)[:LONGEST_CODE], False)


def clean_text(text: str | None) -> str:
    """Return a printable text; some writers put "None" where there was nothing.

    >>> clean_text("  Signal\\x00 red "), clean_text("None"), clean_text(None)
    ('Signal red', '', '')
    """
    printable = "".join(character for character in text or "" if character.isprintable()).strip()
    return "" if printable == "None" else printable


def answer_to(order: dict[str, Any], data: Callable[[], bytes]) -> list[bytes]:
    """Return the answer for a file, in parts. Limits what this process may use from here on."""
    limit_resources(memory_bytes=order.pop("memory_bytes"), cpu_seconds=order.pop("cpu_seconds"))
    arrays: list[array[int]] = []
    try:
        header, recorder = read(data(), **order)
        arrays = [recorder.x_tenths, recorder.y_tenths, recorder.commands]
    except Refused as refusal:
        header = {
            "refused": [refusal.sentence, refusal.most],
            "fault": repr(refusal.__cause__) if refusal.__cause__ else "",
        }
    except MemoryError as error:
        header = {
            "refused": [TOO_MUCH_MEMORY, None],
            "fault": repr(error),
        }
    return [json.dumps(header).encode() + b"\n", *(part.tobytes() for part in arrays)]


def read_one() -> None:
    """Read the file on standard input as the argument says, and write the answer."""
    sys.stdout.buffer.writelines(answer_to(json.loads(sys.argv[1]), sys.stdin.buffer.read))


def read_many(tell: Callable[[dict[str, Any], bytes], tuple[int, bytes]]) -> None:
    """Read orders and files on standard input until there is no more; answer each with what ``tell`` tells of it."""
    gc.freeze()  # what is there now is the same for every file: no fork need look at it again
    while line := sys.stdin.buffer.readline():
        order = json.loads(line)
        data = sys.stdin.buffer.read(order.pop("size"))
        status, answer = tell(order, data)
        sys.stdout.buffer.write(json.dumps({"status": status, "size": len(answer)}).encode() + b"\n")
        sys.stdout.buffer.write(answer)
        sys.stdout.buffer.flush()


def read_apart(order: dict[str, Any], data: bytes) -> tuple[int, bytes]:
    """Return how the process that read the file ended, and its answer; the last words of one that failed."""
    inlet, outlet = os.pipe()
    child = os.fork()
    if not child:
        status = 1
        try:
            # Whoever waits on the other end of these must not wait for this process when the one above is gone.
            for end in (inlet, sys.stdin.fileno(), sys.stdout.fileno()):
                os.close(end)
            with open(outlet, "wb") as pipe:
                pipe.writelines(answer_to(order, lambda: data))
            status = 0
        except BaseException:
            traceback.print_exc()
            sys.stderr.flush()
        finally:
            os._exit(status)  # never back into the loop above, whatever happened
    os.close(outlet)
    with open(inlet, "rb") as written:
        answer = written.read()
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), answer


def main() -> int:
    """Read what comes as the argument says."""
    if sys.argv[1:] == ["--many"]:
        read_many(read_apart)
    else:
        read_one()
    return 0


if __name__ == "__main__":
    sys.exit(main())
