"""The child process that reads photographs: bytes of a picture in, a small JPEG of its colours alone out."""

import io
import sys

from PIL import Image, ImageOps

from inventory.processes.limits import limit_resources

LONGEST_PX = 1600
MOST_PIXELS = 60_000_000
MEMORY_BYTES, CPU_SECONDS = 1024 * 1024 * 1024, 20
FORMATS = ("JPEG", "PNG", "WEBP")


def small_jpeg(content: bytes) -> bytes:
    """Return the picture as a JPEG of at most 1600 px, turned upright, without place, time or maker.

    Raises OSError or ValueError for what is no picture.
    """
    with Image.open(io.BytesIO(content), formats=FORMATS) as picture:
        if picture.width * picture.height > MOST_PIXELS:
            raise ValueError(f"{picture.width} x {picture.height} pixels are too many")
        upright = ImageOps.exif_transpose(picture).convert("RGB")
    upright.thumbnail((LONGEST_PX, LONGEST_PX))
    out = io.BytesIO()
    upright.save(out, "JPEG", quality=85)
    return out.getvalue()


def main() -> int:
    """Read a picture from standard input and write the small one to standard output."""
    limit_resources(memory_bytes=MEMORY_BYTES, cpu_seconds=CPU_SECONDS)
    sys.stdout.buffer.write(small_jpeg(sys.stdin.buffer.read()))
    return 0


if __name__ == "__main__":
    sys.exit(main())
