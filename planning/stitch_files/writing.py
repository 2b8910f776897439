"""The other way over the edge: points in; out comes a stitch file.

As with reading, the library stays out of this process: ``planning.stitch_files.writing_child`` has it.
"""

import json
import subprocess
import sys
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _, plainly
from inventory.processes.children import PACKAGE_ROOT, child_environment

# The formats that can be written as well as read.
WRITTEN = ("pes", "dst", "exp", "jef", "vp3", "xxx", "pec", "u01")
WALL_SECONDS = 60.0


class CannotWrite(WorkshopError):
    """The design cannot be written in that format."""


def stitch_file(blocks_mm: Sequence[NDArray[np.float64]], *, extension: str, colours: Sequence[str]) -> bytes:
    """Return a stitch file with these blocks, each of shape (penetrations, 2) and sewn without a cut.

    Positions are rounded to 0.1 mm, as the formats keep them; ``colours`` are ``#rrggbb``, kept where a format
    keeps colours. Raises CannotWrite.
    """
    return stitch_file_of_runs([[block] for block in blocks_mm], extension=extension, colours=colours)


def stitch_file_of_runs(
    blocks_mm: Sequence[Sequence[NDArray[np.float64]]], *, extension: str, colours: Sequence[str]
) -> bytes:
    """Return a stitch file whose blocks are runs, each of shape (penetrations, 2), with a trim after each.

    As ``stitch_file`` otherwise. Raises CannotWrite.
    """
    extension = extension.lower().lstrip(".")
    if extension not in WRITTEN:
        names = ", ".join(each.upper() for each in WRITTEN)
        raise CannotWrite(
            _("{format} files cannot be written; choose one of {names}.").format(
                format=extension.upper(), names=names
            )
        )
    points = [[np.rint(run * 10).astype(int).tolist() for run in block] for block in blocks_mm]
    order = json.dumps({"extension": extension, "colours": list(colours)})
    try:
        child = subprocess.run(
            [sys.executable, "-m", "planning.stitch_files.writing_child", order],
            input=json.dumps(points).encode(),
            capture_output=True,
            timeout=WALL_SECONDS,
            cwd=PACKAGE_ROOT,
            env=child_environment(),
        )
    except subprocess.TimeoutExpired:
        raise CannotWrite(
            _("The {format} file was not written within {seconds} seconds; draw it smaller.").format(
                format=extension.upper(), seconds=plainly(WALL_SECONDS)
            )
        ) from None
    if child.returncode:
        last = child.stderr.decode(errors="replace").strip().rpartition("\n")[2][:200]
        raise CannotWrite(
            _("The {format} file was not written: the writing program failed ({problem}).").format(
                format=extension.upper(), problem=last
            )
        )
    return child.stdout
