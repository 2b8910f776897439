"""Small stitch files, each another drawing."""

import tempfile
from functools import cache
from pathlib import Path

import pyembroidery


@cache
def small_design(number: int) -> bytes:
    """Return a small VP3 file; another number makes another drawing."""
    pattern = pyembroidery.EmbPattern()
    pattern.add_thread({"hex": "#b01c2e", "name": "harbour red"})
    for step in range(120):
        pattern.stitch_abs(20 * (step % 12) + number, 25 * (step // 12))
    pattern.end()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "drawing.vp3"
        pyembroidery.write(pattern, str(path))
        return path.read_bytes()
