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
    # The edge is as the ground is: on a thread of the line's own colour the line would not be seen.
    line = f'd="M{FINISH:g} 0V{HEIGHT:g}"'
    finish = f'<path class="bar-edge" {line}/><path {line} stroke="currentColor" stroke-width="2"/>'
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
    """Return the turns of a thread that is twisted, as slanting lines across the strand.

    One broad dashed line, leaned over: a path with every turn in it would be most of a page of many threads.
    """
    turns = max(0, math.ceil((end - _LEAN - start) / _TWIST) - 1)
    if not turns:
        return ""
    return _turns(start, turns, width=1.0, colour="#000", opacity=".34") + _turns(
        start + 1.3, turns, width=0.8, colour="#fff", opacity=".3"
    )


def _turns(start: float, turns: int, *, width: float, colour: str, opacity: str) -> str:
    middle = HEIGHT / 2
    lean = math.degrees(math.atan2(_LEAN, _THICK - 2))
    # What leans about the top edge comes to lie to the left by as much as the middle of the strand leans.
    first = start + _TWIST + _LEAN / 2 + middle * _LEAN / (_THICK - 2) - width / 2
    return (
        f'<path d="M{first:.4g} {middle:g}h{(turns - 1) * _TWIST + width:g}" stroke="{colour}" '
        f'stroke-opacity="{opacity}" stroke-width="{_THICK - 2:g}" stroke-dasharray="{width:g} {_TWIST - width:g}" '
        f'transform="skewX({-lean:.1f})"/>'
    )


def _fade(start: float, fill: str) -> Iterator[str]:
    step = (WIDTH - start) / len(_FADES)
    yield f'<g fill="{fill}">'
    for number, opacity in enumerate(_FADES):
        at = start + number * step
        yield f'<path d="M{at:.1f} {_TOP:g}h{step:.1f}v{_THICK:g}h-{step:.1f}z" fill-opacity="{opacity}"/>'
    yield "</g>"


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
