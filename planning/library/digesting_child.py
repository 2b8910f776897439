"""The process that reads stitch files for the library: bytes in, a digest or a refusal in words out.

It has each file read as ``planning.stitch_files.child --many`` does, in a process forked for it and under its limits,
and goes on itself to what the library keeps. Its answer is one line of JSON.
"""

import json
import sys
from pathlib import Path
from typing import Any

from inventory.processes.children import ChildAnswer
from planning.library.digests import digest_as_data, digest_of
from planning.stitch_files.child import read_apart, read_many
from planning.stitch_files.formats import FORMATS
from planning.stitch_files.reading import AskedFile, ReadLimits, UnreadableDesign, understood


def digest_apart(order: dict[str, Any], data: bytes) -> tuple[int, bytes]:
    """Return how the process that read the file ended, and the digest; the last words of one that failed."""
    limits, trim_at_jumps = ReadLimits(**order.pop("limits")), order.pop("trim_at_jumps")
    label = order.pop("label")
    asked = AskedFile(Path(label), label, FORMATS[order["extension"]], data)
    status, records = read_apart(order, data)
    if status:
        return status, records
    told: dict[str, Any]
    try:
        read = understood(asked, ChildAnswer(0, records), trim_at_jumps=trim_at_jumps, limits=limits)
        told = {"digest": digest_as_data(digest_of(read))}
    except UnreadableDesign as problem:
        told = {"refused": str(problem)}
    return 0, json.dumps(told).encode()


if __name__ == "__main__":
    read_many(digest_apart)
    sys.exit(0)
