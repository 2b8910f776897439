"""Things drawn: wound thread for a colour, a strand for a stock, a shape for a verdict, icons.

Every drawing stands beside the words that say the same, so all of them are hidden from screen readers.
Colours are presentation attributes of the SVG: the pages allow no inline style.
"""

import re

from django import template
from django.templatetags.static import static
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

register = template.Library()

HEX_COLOUR = re.compile(r"#[0-9a-fA-F]{6}")
SWATCH_SIZES = {"s", "m", "l"}
# The body of the winding in the swatch's own units; the shading of its bands goes from left to right.
LEFT, RIGHT, TOP, BOTTOM = 6.0, 42.0, 5.0, 31.0
BODY = "M6 5Q24 3.4 42 5Q43 18 42 31Q24 32.6 6 31Q5 18 6 5Z"
BANDS = (  # x, width, paint, opacity
    (5.5, 2.5, "#000", 0.26),
    (8, 3, "#000", 0.1),
    (14, 10, "#fff", 0.1),
    (17, 4, "#fff", 0.12),
    (31, 5, "#000", 0.07),
    (36, 4, "#000", 0.16),
    (40, 2.5, "#000", 0.3),
)
VERDICT_SHAPES = {
    "enough": mark_safe('<circle cx="12" cy="12" r="10" fill="currentColor"/>'),
    "tight": mark_safe(
        '<circle cx="12" cy="12" r="9" fill="none" stroke="currentColor" stroke-width="2.5"/>'
        '<path d="M3 12a9 9 0 0 0 18 0z" fill="currentColor"/>'
    ),
    # A ring that does not close: the thread ends before the round is done.
    "short": mark_safe(
        '<path d="M12 3a9 9 0 1 0 9 9" fill="none" stroke="currentColor" stroke-width="3.5" '
        'stroke-linecap="round"/>'
    ),
    "unknown": mark_safe(
        '<circle cx="12" cy="12" r="9" fill="none" stroke="currentColor" stroke-width="2.5" '
        'stroke-dasharray="3.6 3.47"/>'
    ),
}
STRAND_LENGTH, STRAND_ROOM = 100, 120


def _slanted(*, step: float, rise: float, offset: float = 0.0) -> str:
    """Return path data of parallel strands across the body, cut where they leave it above or below."""
    slope = -rise / (RIGHT - LEFT)
    low, high = TOP + 0.3, BOTTOM - 0.3
    pieces = []
    start = low + offset - abs(rise)
    while start < high + abs(rise):
        x1, y1, x2, y2 = LEFT, start, RIGHT, start - rise
        if max(y1, y2) > low and min(y1, y2) < high:
            if not low <= y1 <= high:
                edge = low if y1 < low else high
                x1, y1 = LEFT + (edge - start) / slope, edge
            if not low <= y2 <= high:
                edge = low if y2 < low else high
                x2, y2 = LEFT + (edge - start) / slope, edge
            pieces.append(f"M{x1:.3g} {y1:.3g}L{x2:.3g} {y2:.3g}")
        start += step
    return "".join(pieces)


SHADED = _slanted(step=2.4, rise=5)
LIT = _slanted(step=2.4, rise=5, offset=0.9)
HATCHED = _slanted(step=4.8, rise=24)
SHADING = format_html_join(
    "", '<rect x="{}" y="4.8" width="{}" height="26.4" fill="{}" fill-opacity="{}"/>', BANDS
)
WINDING = format_html(
    '<path d="{}" fill="none" stroke="#000" stroke-opacity=".34" stroke-width=".7"/>'
    '<path d="{}" fill="none" stroke="#fff" stroke-opacity=".3" stroke-width=".6"/>{}',
    SHADED,
    LIT,
    SHADING,
)
NO_COLOUR = format_html(
    '<path d="{}" fill="#fff" stroke="#333" stroke-width="1" stroke-dasharray="2.4 1.8"/>'
    '<path d="{}" fill="none" stroke="#333" stroke-width=".8"/>',
    BODY,
    HATCHED,
)


@register.simple_tag
def swatch(colour: str | None, name: str, *, detail: str = "", size: str = "m") -> SafeString:
    """Return thread wound in ``colour`` (``#rrggbb``, or None for no colour) with its name in words.

    ``detail`` is a second, smaller line such as maker, range and code; ``size`` is s, m or l.
    """
    if size not in SWATCH_SIZES:
        raise ValueError(f"A swatch is s, m or l, not {size!r}.")
    return format_html(
        '<span class="swatch swatch-{}"><svg viewBox="0 0 48 36" aria-hidden="true" focusable="false">'
        '<rect width="48" height="36" fill="#b9b9b9"/>{}</svg>'
        '<span class="swatch-words"><span class="swatch-name">{}</span>{}</span></span>',
        size,
        _wound(colour),
        name,
        format_html('<span class="swatch-detail">{}</span>', detail) if detail else "",
    )


def _wound(colour: str | None) -> SafeString:
    if not colour:
        return NO_COLOUR
    if not HEX_COLOUR.fullmatch(colour):
        raise ValueError(f"{colour!r} is not a colour of the form #rrggbb.")
    return format_html('<path d="{}" fill="{}"/>{}', BODY, colour, WINDING)


@register.simple_tag
def verdict(word: str, text: str = "") -> SafeString:
    """Return the shape of the verdict ``word`` and, beside it, ``text`` (the word itself if empty)."""
    if word not in VERDICT_SHAPES:
        raise ValueError(f"A verdict is one of {', '.join(VERDICT_SHAPES)}, not {word!r}.")
    return format_html(
        '<span class="verdict verdict-{}"><svg viewBox="0 0 24 24" aria-hidden="true" focusable="false">{}</svg>'
        '<span class="verdict-words">{}</span></span>',
        word,
        VERDICT_SHAPES[word],
        text or word.capitalize(),
    )


@register.simple_tag
def strand(free: float | None, needed: float | None) -> SafeString:
    """Return the stitches that are needed and, laid over them, the strand that is free.

    The strand ends where the stock ends; one that is a fifth longer than needed, or more, runs out of the
    picture. Nothing is drawn where either is not known.
    """
    if free is None or not needed:
        return mark_safe("")
    end = round(min(free / needed * STRAND_LENGTH, STRAND_ROOM), 1)
    return format_html(
        '<svg class="strand" viewBox="-2 0 124 12" aria-hidden="true" focusable="false">'
        '<path class="strand-needed" d="M0 6H{length}" fill="none" stroke="currentColor" stroke-width="1.5" '
        'stroke-dasharray="5 3"/><path d="M{length} 1V11" stroke="currentColor" stroke-width="1.5"/>{laid}</svg>',
        length=STRAND_LENGTH,
        laid=format_html(
            '<path class="strand-free" d="M0 6H{}" fill="none" stroke="currentColor" stroke-width="4" '
            'stroke-linecap="round"/>',
            end,
        )
        if end > 0
        else "",
    )


@register.simple_tag
def icon(name: str) -> SafeString:
    """Return the drawing ``name`` from the sheet of icons."""
    return format_html(
        '<svg class="icon" viewBox="0 0 24 24" aria-hidden="true" focusable="false"><use href="{}#{}"/></svg>',
        static("workshop/icons.svg"),
        name,
    )
