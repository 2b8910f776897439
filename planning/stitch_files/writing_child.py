"""The child process that writes stitch files: points in, the bytes of a file out.

It is started by ``planning.stitch_files.writing`` and holds the writing library. Its order is JSON in the one argument:
the ``extension`` and the ``colours`` of the blocks, as hex. Its standard input is one line of JSON with the points of
each run of each block in 0.1 mm; its standard output the file.
"""

import io
import json
import sys

from pyembroidery import (
    DstWriter,
    EmbPattern,
    ExpWriter,
    JefWriter,
    PecWriter,
    PesWriter,
    U01Writer,
    Vp3Writer,
    XxxWriter,
)

WRITERS = {
    "pes": PesWriter,
    "pec": PecWriter,
    "dst": DstWriter,
    "exp": ExpWriter,
    "jef": JefWriter,
    "vp3": Vp3Writer,
    "xxx": XxxWriter,
    "u01": U01Writer,
}


def file_of(blocks: list[list[list[list[int]]]], *, extension: str, colours: list[str]) -> bytes:
    """Return the file of blocks of runs of penetrations, each run sewn without a cut and trimmed at its end."""
    pattern = EmbPattern()
    longest = WRITERS[extension].MAX_STITCH_DISTANCE
    for number, (runs, colour) in enumerate(zip(blocks, colours, strict=True)):
        if number:
            pattern.color_change()
        pattern.add_thread({"hex": colour})
        for points in runs:
            before = points[0]
            pattern.move_abs(*before)
            for x, y in points:
                # No record of the format carries a longer stitch: the needle moves without sewing, then sews there.
                if max(abs(x - before[0]), abs(y - before[1])) > longest:
                    pattern.move_abs(x, y)
                pattern.stitch_abs(x, y)
                before = [x, y]
            pattern.trim()
    pattern.end()
    out = io.BytesIO()
    # Version 6 carries the colours themselves; version 1 only numbers of a palette.
    EmbPattern.write_embroidery(WRITERS[extension], pattern, out, {"pes version": 6})
    return out.getvalue()


def main() -> int:
    """Write what comes as the argument says."""
    order = json.loads(sys.argv[1])
    sys.stdout.buffer.write(file_of(json.load(sys.stdin), **order))
    return 0


if __name__ == "__main__":
    sys.exit(main())
