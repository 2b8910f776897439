"""What changes in a run, drawn from its first piece to its last: a strand that is parted where another goes on.

Places across are shares, so that the letters keep their size however wide the drawing is.
"""

from collections.abc import Sequence
from html import escape
from itertools import pairwise

# Heights in px: the strand, and the line of numbers under it.
TALL, _TOP, _THICK, _LETTERS = 36, 3, 12, 32
# A number has room where the one before it is so far off, in hundredths of the width.
_ROOM = 12.0
_LINE = '<line x1="{at}" x2="{at}" y1="0" y2="{tall}" stroke="currentColor" stroke-width="2"/>'
_TWIST = 'stroke="#000" stroke-opacity=".22" stroke-width="10" stroke-dasharray="1.2 4"'


def turns_drawn(*, pieces: int, changes: Sequence[tuple[int, str]], now: int | None, colour: str = "") -> str:
    """Return the inside of an SVG ``TALL`` px high: a strand of ``pieces``, parted before each of ``changes``.

    ``changes`` are (piece, what is written under its mark), in order; ``now`` is the piece that is stitched next.

    >>> turns_drawn(pieces=20, changes=[(5, "5"), (6, "6"), (15, "15")], now=7).count("<text")
    2
    """
    ends = [0.0, *(_before(piece, pieces) for piece, _written in changes), 100.0]
    drawn = [
        _strand(*span, colour or "#9aa39f", is_other=bool(number % 2))
        for number, span in enumerate(pairwise(ends))
    ]
    free_from = -_ROOM
    for piece, written in changes:
        at = _before(piece, pieces)
        drawn.append(_mark(at))
        if written and at - free_from >= _ROOM:
            drawn.append(_number(at, written))
            free_from = at
    if now:
        here = f"{_before(now, pieces):.4g}%"
        drawn.append(f'<line class="turns-now" x1="{here}" x2="{here}" y1="-3" y2="{TALL - 14}"/>')
    return "".join(drawn)


def _before(piece: int, pieces: int) -> float:
    """Return how far across it is before a piece, in hundredths."""
    return 100 * min(max(piece - 1, 0), pieces) / pieces if pieces else 0.0


def _strand(start: float, end: float, fill: str, *, is_other: bool) -> str:
    opacity = ' fill-opacity=".6"' if is_other else ""
    return (
        f'<rect x="{start:.4g}%" y="{_TOP}" width="{end - start:.4g}%" height="{_THICK}" rx="2" fill="{fill}"{opacity} '
        'stroke="currentColor" stroke-opacity=".55" stroke-width=".8"/>'
        f'<line x1="{start:.4g}%" x2="{end:.4g}%" y1="{_TOP + _THICK / 2:g}" y2="{_TOP + _THICK / 2:g}" {_TWIST}/>'
    )


def _mark(at: float) -> str:
    return _LINE.format(at=f"{at:.4g}%", tall=_TOP * 2 + _THICK)


def _number(at: float, written: str) -> str:
    anchor = "start" if at < 5 else "end" if at > 95 else "middle"
    return f'<text x="{at:.4g}%" y="{_LETTERS}" text-anchor="{anchor}">{escape(written)}</text>'
