"""Reads the stitches of a VP3 file along its chain of colour blocks.

The library's own reader takes the lengths of names at their word, and reads on into what follows where one is wrong.
"""

from typing import Any

from pyembroidery import EmbThread

from planning.stitch_files.formats.vp3 import Vp3Thread, vp3_layout
from planning.stitch_files.recorder import Recorder, Source, UnknownThread

_COMMAND, _LONG, _TRIM = 0x80, 0x01, 0x03
_LONG_BYTES = 8  # the command, x and y of two bytes each, and the mark behind them


def read(source: Source, out: Recorder, settings: dict[str, Any]) -> None:
    """Read all colour blocks into ``out``."""
    data = source.getvalue()
    layout = vp3_layout(data)
    centre_x, centre_y = layout.centre_hundredths[0] / 100, -layout.centre_hundredths[1] / 100
    for number, block in enumerate(layout.blocks):
        if number:
            out.color_change()
        x = block.start_hundredths[0] / 100 + centre_x
        y = -block.start_hundredths[1] / 100 + centre_y
        if (round(x), round(y)) != (out.x, out.y):
            out.move_abs(x, y)
        out.add_thread(_thread(block.thread))
        _stitches(data[block.stitches_at : block.end], source, out)
    source.seek(layout.end)
    source.ran_out = (
        source.ran_out or not layout.blocks or len(layout.blocks) < layout.counted or layout.end > len(data)
    )
    out.end()


def _stitches(data: bytes, source: Source, out: Recorder) -> None:
    """Read the stitches of one colour: two bytes each, or a command."""
    at, last = 0, len(data) - 1
    while at < last:
        x, y = data[at], data[at + 1]
        if x != _COMMAND:
            out.stitch(_signed(x, 0x80), _signed(y, 0x80))
        elif y == _LONG:
            if at + _LONG_BYTES - 2 > len(data):
                source.ran_out = True
                return
            out.stitch(
                _signed(int.from_bytes(data[at + 2 : at + 4], "big"), 0x8000),
                _signed(int.from_bytes(data[at + 4 : at + 6], "big"), 0x8000),
            )
            at += _LONG_BYTES - 2
        elif y == _TRIM:
            out.trim()
        at += 2


def _signed(value: int, sign: int) -> int:
    return value - 2 * sign if value & sign else value


def _thread(thread: Vp3Thread) -> EmbThread | UnknownThread:
    if thread.rgb is None:
        return UnknownThread()
    known = EmbThread()
    known.color = thread.rgb
    known.catalog_number, known.description = _text(thread.code), _text(thread.name)
    return known


def _text(data: bytes) -> str | None:
    try:
        return data.decode()
    except UnicodeDecodeError:
        return None
