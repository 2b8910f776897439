"""Stitch files for tests: one small design, told point by point, and the bytes of it in every format."""

import io
import itertools
import math
import struct
from dataclasses import dataclass

import pyembroidery
from pyembroidery import EmbConstant, EmbPattern, EmbThread

Point = tuple[int, int]  # 0.1 mm, y downwards


@dataclass(frozen=True)
class DrawnBlock:
    """A colour block as its drawer means it: each run is what the thread passes between two cuts."""

    hex: str
    runs: tuple[tuple[Point, ...], ...]

    @property
    def drawn_mm(self) -> float:
        return sum(math.dist(a, b) for run in self.runs for a, b in itertools.pairwise(run)) / 10

    @property
    def penetrations(self) -> int:
        return sum(len(run) for run in self.runs)


def zigzag(x: int, y: int, *, stitches: int, width: int = 30, advance: int = 4) -> tuple[Point, ...]:
    """Return a column that starts at a corner and goes right."""
    return tuple((x + advance * i, y + (width if i % 2 else 0)) for i in range(stitches))


def pennant() -> tuple[DrawnBlock, ...]:
    """Return a harbour pennant: four colours, trims in two blocks, a 17 mm stitch, 37 mm between two runs."""
    return (
        DrawnBlock(
            "#c01020",
            (
                (*zigzag(0, 0, stitches=120), (650, 20)),  # the last stitch is 17 mm long
                zigzag(650, 390, stitches=80),  # 37 mm further down
                zigzag(40, 200, stitches=60),
            ),
        ),
        DrawnBlock("#103070", (zigzag(-300, -150, stitches=150, width=60),)),
        DrawnBlock("#f0c020", (zigzag(100, 300, stitches=70), zigzag(420, 300, stitches=50))),
        DrawnBlock("#107040", (zigzag(0, -200, stitches=90, width=90),)),
    )


def pennant_with_a_dragged_travel() -> tuple[DrawnBlock, ...]:
    """Return the pennant with the 37 mm between its first two runs left untrimmed."""
    first, *others = pennant()
    joined = first.runs[0] + first.runs[1]
    return (DrawnBlock(first.hex, (joined, *first.runs[2:])), *others)


def pattern_of(blocks: tuple[DrawnBlock, ...]) -> EmbPattern:
    """Return the library's pattern of a design: trims between the runs, colour changes between the blocks."""
    pattern = EmbPattern()
    for number, block in enumerate(blocks):
        if number:
            pattern.color_change()
        thread = EmbThread()
        thread.set_hex_color(block.hex)
        thread.description, thread.catalog_number = f"colour {number + 1}", f"{100 + number}"
        pattern.add_thread(thread)
        for place, run in enumerate(block.runs):
            if place:
                pattern.trim()
            for x, y in run:
                pattern.stitch_abs(x, y)
    pattern.end()
    return pattern


SETTINGS: dict[str, dict[str, object]] = {"pes": {"version": 6}, "jef": {"trims": True}, "tbf": {}}


def file_bytes(blocks: tuple[DrawnBlock, ...] | EmbPattern, extension: str, **settings: object) -> bytes:
    """Return the bytes of a design in a format."""
    pattern = blocks if isinstance(blocks, EmbPattern) else pattern_of(blocks)
    if extension == "hus":
        return hus_bytes(pattern)
    if extension == "sew":
        return sew_bytes(pattern)
    stream = io.BytesIO()
    stream.close = lambda: None  # type: ignore[method-assign]  # the library closes what it has written
    writer = next(
        known["writer"] for known in EmbPattern.supported_formats() if known["extension"] == extension
    )
    pyembroidery.write_embroidery(writer, pattern, stream, SETTINGS.get(extension, {}) | settings)
    return stream.getvalue()


def encoded(pattern: EmbPattern) -> list[tuple[int, int, int]]:
    """Return (command, dx, dy) with steps that fit one signed byte, as the two formats below carry them."""
    fitting = pattern.get_normalized_pattern(
        {"max_stitch": 127, "max_jump": 127, "full_jump": True, "round": True}
    )
    steps, x, y = [], 0, 0
    for new_x, new_y, command in fitting.stitches:
        steps.append((command & EmbConstant.COMMAND_MASK, int(new_x) - x, int(new_y) - y))
        x, y = int(new_x), int(new_y)
    return steps


def signed(value: int) -> int:
    return value & 0xFF


def compressed(data: bytes) -> bytes:
    """Return bytes in the compression of a HUS file, every byte as itself: blocks of a count and a flat code."""
    blocks = (data[at : at + 60_000] for at in range(0, len(data), 60_000))
    return b"".join(struct.pack(">H", len(block)) + b"\x02\xa0\x01\xfe" + block for block in blocks)


def hus_file(*, count: int, colours: list[int], commands: bytes, x: bytes, y: bytes) -> bytes:
    """Return a HUS file of three compressed streams."""
    commands_at = 42 + 2 * len(colours)
    x_at = commands_at + len(commands)
    header = struct.pack("<III8xIII", 0x00C8AF5B, count, len(colours), commands_at, x_at, x_at + len(x))
    return header + bytes(10) + struct.pack(f"<{len(colours)}H", *colours) + commands + x + y


def hus_bytes(pattern: EmbPattern) -> bytes:
    codes = {
        EmbConstant.STITCH: 0x80,
        EmbConstant.JUMP: 0x81,
        EmbConstant.COLOR_CHANGE: 0x84,
        EmbConstant.TRIM: 0x88,
        EmbConstant.END: 0x90,
    }
    steps = [step for step in encoded(pattern) if step[0] in codes]  # it knows no stop
    return hus_file(
        count=len(steps),
        colours=[(3 + 5 * place) % 29 for place in range(len(pattern.threadlist))],
        commands=compressed(bytes(codes[command] for command, _, _ in steps)),
        x=compressed(bytes(signed(dx) for _, dx, _ in steps)),
        y=compressed(bytes(signed(-dy) for _, _, dy in steps)),
    )


def sew_bytes(pattern: EmbPattern) -> bytes:
    colours = [(1 + 7 * place) % 60 for place in range(len(pattern.threadlist))]
    body = bytearray(struct.pack(f"<{1 + len(colours)}H", len(colours), *colours).ljust(0x1D78, b"\0"))
    for command, dx, dy in encoded(pattern):
        if command == EmbConstant.STITCH:
            body += bytes((signed(dx), signed(-dy)))
        elif command == EmbConstant.JUMP:
            body += bytes((0x80, 0x04, signed(dx), signed(-dy)))
        elif command == EmbConstant.TRIM:
            body += b"\x80\x04\x00\x00" * 3
        elif command == EmbConstant.COLOR_CHANGE:
            body += b"\x80\x01\x00\x00"
    return bytes(body)
