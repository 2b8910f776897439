"""How long a thread lasts, drawn as thread: twisted where sure, stitched where perhaps, holes where it is missing.

The scale is pieces, so that all bars of a plan share one finish; what is more than enough fades beyond it.
"""

import math
from collections.abc import Iterator

WIDTH, HEIGHT = 400.0, 20.0
FINISH = 282.0
_TOP, _THICK = 4.0, 12.0
_TWIST, _LEAN = 5.0, 4.0
_STITCH, _GAP = 11.0, 5.0
_HOLES = 8.0
_FADES = (0.8, 0.55, 0.35, 0.18, 0.08)


def thread_bar(*, total: int, sure: int, perhaps: int, reach: float | None, colour: str = "") -> str:
    """Return the bar as the inside of an SVG of ``WIDTH`` × ``HEIGHT``: ``sure`` and ``perhaps`` of ``total`` pieces.

    ``reach`` is what is there as a share of what is needed (None: not known); it only tells how far a bar that is
    enough goes on. ``colour`` is #rrggbb, or empty for none.

    >>> thread_bar(total=63, sure=19, perhaps=34, reach=0.44).count("<rect")
    5
    """
    sure_at, perhaps_at = (FINISH * pieces / total if total else 0.0 for pieces in (sure, perhaps))
    fill = colour or "#9aa39f"
    drawn = []
    if sure >= total and reach is not None:
        end = FINISH * max(1.0, min(reach, 1.2))
        drawn += [_strand(0.0, end, fill), _twist(0.0, end)]
        if reach > 1.2:
            drawn += _fade(end, fill)
    else:
        if sure_at > 0:
            drawn += [_strand(0.0, sure_at, fill), _twist(0.0, sure_at)]
        drawn += _stitches(sure_at, perhaps_at, fill)
        drawn += _holes(max(sure_at, perhaps_at))
    finish = f'<path d="M{FINISH:g} 0V{HEIGHT:g}" stroke="currentColor" stroke-width="2"/>'
    return "".join([*drawn, finish])


def bar_of(part: str) -> str:
    """Return 44 units of a bar of one kind, for its key: sure, perhaps or missing.

    >>> bar_of("missing").count("<circle")
    5
    """
    fill, end = "#c9a15f", 44.0
    if part == "sure":
        return _strand(1.0, end - 1, fill) + _twist(1.0, end - 1)
    if part == "perhaps":
        return "".join(_stitches(-_GAP, end - 1, fill))
    return "".join(_holes(0.0, end))


def _strand(start: float, end: float, fill: str) -> str:
    return (
        f'<rect x="{start:.1f}" y="{_TOP:g}" width="{end - start:.1f}" height="{_THICK:g}" rx="2" fill="{fill}" '
        'stroke="currentColor" stroke-opacity=".55" stroke-width=".8"/>'
    )


def _twist(start: float, end: float) -> str:
    """Return the turns of a thread that is twisted, as slanting lines across the strand."""
    turns = max(0, math.ceil((end - _LEAN - start) / _TWIST) - 1)
    # Each begins where the one before ended, so far to the side and down again.
    turn = f"l{_LEAN:g}{2 - _THICK:g}"
    path = (
        f"M{start + _TWIST:.4g} {_TOP + _THICK - 1:g}{turn}"
        + f"m{_TWIST - _LEAN:g} {_THICK - 2:g}{turn}" * (turns - 1)
    )
    if not turns:
        return ""
    return (
        f'<path d="{path}" stroke="#000" stroke-opacity=".34" stroke-width="1"/>'
        f'<path d="{path}" stroke="#fff" stroke-opacity=".3" stroke-width=".8" transform="translate(1.3 0)"/>'
    )


def _fade(start: float, fill: str) -> Iterator[str]:
    step = (WIDTH - start) / len(_FADES)
    for number, opacity in enumerate(_FADES):
        yield (
            f'<rect x="{start + number * step:.1f}" y="{_TOP:g}" width="{step:.1f}" height="{_THICK:g}" '
            f'fill="{fill}" fill-opacity="{opacity}"/>'
        )


def _stitches(start: float, end: float, fill: str) -> Iterator[str]:
    x = start + _GAP
    while x < end:
        width = min(_STITCH, end - x)
        yield (
            f'<rect x="{x:.1f}" y="{_TOP + 1:g}" width="{width:.1f}" height="{_THICK - 2:g}" rx="1.5" fill="{fill}" '
            'stroke="currentColor" stroke-opacity=".7" stroke-width=".8"/>'
        )
        x += _STITCH + _GAP


def _holes(start: float, end: float = FINISH) -> Iterator[str]:
    x = start + _HOLES
    while x < end - 3:
        yield f'<circle cx="{x:.1f}" cy="{HEIGHT / 2:g}" r="1.3" fill="currentColor"/>'
        x += _HOLES
