"""Things drawn: wound thread for a colour, a strand for a stock, a shape for a verdict, icons.

Every drawing stands beside the words that say the same, so all of them are hidden from screen readers.
Colours are presentation attributes of the SVG: the pages allow no inline style.
"""

import re

from django import template
from django.templatetags.static import static
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from inventory.compute.names.plain import plain_name_of_hex
from inventory.compute.spoken import N_

register = template.Library()

HEX_COLOUR = re.compile(r"#[0-9a-fA-F]{6}")
SWATCH_SIZES = {"s", "m", "l"}
# The winding between the two flanges of its spool, in the swatch's own units.
LEFT, RIGHT, TOP, BOTTOM = 6.0, 42.0, 5.0, 31.0
# Light falls from the upper left. Layers lie on each other, so that the edges darken and the light swells in
# steps; each layer is a paint and the stretches from x to x that it covers.
LAYERS = (
    ("#000", ((6, 11), (30, 42))),
    ("#000", ((6, 9), (33.5, 42))),
    ("#000", ((6, 7.4), (37, 42))),
    ("#000", ((6, 6.6), (39.6, 42))),
    ("#fff", ((13, 26),)),
    ("#fff", ((15, 23.5),)),
    ("#fff", ((17, 21),)),
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
    # Two that should lie on each other and do not.
    "off colour": mark_safe(
        '<circle cx="8.5" cy="12" r="6.5" fill="none" stroke="currentColor" stroke-width="2.5"/>'
        '<circle cx="16" cy="12" r="6.5" fill="currentColor"/>'
    ),
}
# What a verdict is called on pages.
SAID = {
    "enough": N_("Enough"),
    "tight": N_("Tight"),
    "short": N_("Short"),
    "unknown": N_("Not known"),
    "off colour": N_("No match"),
}


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


SURROUND = mark_safe(
    '<rect width="48" height="36" fill="#bababa"/><path d="M4 2.6H44V5H4zM4 31H44V33.4H4z" fill="#6a6a6a"/>'
)
FLAT_SURROUND = mark_safe('<rect width="48" height="36" fill="#bababa"/>')
FURROWS = _slanted(step=2.3, rise=4)
RIDGES = _slanted(step=2.3, rise=4, offset=1.1)
HATCHES = _slanted(step=5.2, rise=26)
# The same for every colour: it stands once, as "winding", on the sheet of icons, and a swatch refers to it.
WINDING = format_html(
    '<path d="{}" fill="none" stroke="#000" stroke-opacity=".32" stroke-width=".8"/>'
    '<path d="{}" fill="none" stroke="#fff" stroke-opacity=".26" stroke-width=".7"/>{}',
    FURROWS,
    RIDGES,
    format_html_join(
        "",
        '<path d="{}" fill="{}" fill-opacity=".11"/>',
        (
            ("".join(f"M{left} {TOP:g}H{right}V{BOTTOM:g}H{left}z" for left, right in stretches), paint)
            for paint, stretches in LAYERS
        ),
    ),
)
NO_COLOUR = format_html(
    '<path d="M6 5H42V31H6z" fill="#fff"/>'
    '<path d="{}" fill="none" stroke="#3a3a3a" stroke-width=".9" stroke-dasharray="3 1.6"/>',
    HATCHES,
)


@register.simple_tag
def swatch(
    colour: str | None, name: str, *, detail: str = "", size: str = "m", asked: bool = False
) -> SafeString:
    """Return thread wound in ``colour`` (``#rrggbb``, or None for no colour) with its name in words.

    A colour that is only ``asked`` for is no thread: it is flat satin. ``detail`` is a second, smaller line such as
    maker, range and code; ``size`` is s, m or l. The colour is told in plain words as well.
    """
    if size not in SWATCH_SIZES:
        raise ValueError(f"A swatch is s, m or l, not {size!r}.")
    return format_html(
        '<span class="swatch swatch-{}"><svg viewBox="0 0 48 36" aria-hidden="true">'
        "{}{}</svg>"
        '<span class="swatch-words"><span class="swatch-name">{}</span>{}{}</span></span>',
        size,
        SURROUND if not asked else FLAT_SURROUND,
        _satin(colour) if asked else _wound(colour),
        name,
        format_html('<span class="swatch-detail">{}</span>', detail) if detail else "",
        _in_plain_words(colour, name),
    )


def _in_plain_words(colour: str | None, name: str) -> SafeString | str:
    """Return what the colour is called, unless its name says so already."""
    plain = plain_name_of_hex(colour) if colour else ""
    if not plain or name.strip().casefold() in (plain, _(plain).casefold()):
        return ""
    return format_html('<span class="swatch-plain">{}</span>', _(plain))


def _wound(colour: str | None) -> SafeString:
    if not colour:
        return NO_COLOUR
    if not HEX_COLOUR.fullmatch(colour):
        raise ValueError(f"{colour!r} is not a colour of the form #rrggbb.")
    return _covered(colour, by="winding")


def _covered(colour: str, *, by: str) -> SafeString:
    """Return the body in a colour with what lies on it, which the sheet of icons has; as large as it is drawn there."""
    return format_html(
        '<path d="M6 5H42V31H6z" fill="{}"/><use href="{}#{}" width="48" height="36"/>',
        colour,
        static("workshop/icons.svg"),
        by,
    )


# Satin stitched in a colour that is asked for: flat, in slanting stitches; thread that exists is wound. Like the
# winding it stands on the sheet of icons.
STITCHES = _slanted(step=3.1, rise=9)
SATIN = format_html(
    '<path d="{}" fill="none" stroke="#000" stroke-opacity=".2" stroke-width=".7"/>'
    '<path d="{}" fill="none" stroke="#fff" stroke-opacity=".22" stroke-width=".7"/>',
    STITCHES,
    _slanted(step=3.1, rise=9, offset=1.3),
)


def _satin(colour: str | None) -> SafeString:
    if not colour:
        return NO_COLOUR
    if not HEX_COLOUR.fullmatch(colour):
        raise ValueError(f"{colour!r} is not a colour of the form #rrggbb.")
    return _covered(colour, by="satin")


@register.simple_tag
def satin(colour: str | None) -> SafeString:
    """Return a colour that is asked for as a patch of satin on neutral grey; its name stands beside it."""
    return format_html(
        '<svg class="satin" viewBox="2 1 44 34" aria-hidden="true">'
        '<path d="M2 1H46V35H2z" fill="#bababa"/>{}</svg>',
        _satin(colour),
    )


@register.simple_tag
def asked_and_chosen(asked: str | None, chosen: str | None, *, measured: bool = True) -> SafeString:
    """Return the colour asked for as satin and, touching it, the chosen thread as it is wound, on neutral grey.

    A thread of which nobody knows how much there is has a broken edge.
    """
    edge = (
        mark_safe("")
        if measured
        else mark_safe(
            '<path d="M40 5H76V31H40z" fill="none" stroke="#17211f" stroke-width="1.5" stroke-dasharray="4 2.5"/>'
        )
    )
    return format_html(
        '<svg class="pair" viewBox="0 0 82 36" aria-hidden="true">'
        '<path d="M0 0H82V36H0z" fill="#bababa"/><g transform="translate(-2 0)">{}</g>'
        '<g transform="translate(34 0)"><path d="M5 2.6H43V5H5zM5 31H43V33.4H5z" fill="#6a6a6a"/>{}</g>{}</svg>',
        _satin(asked),
        _wound(chosen),
        edge,
    )


@register.simple_tag
def verdict(word: str, text: str = "") -> SafeString:
    """Return the shape of the verdict ``word`` and, beside it, ``text`` (the word itself if empty)."""
    if word not in VERDICT_SHAPES:
        raise ValueError(f"A verdict is one of {', '.join(VERDICT_SHAPES)}, not {word!r}.")
    return format_html(
        '<span class="verdict verdict-{}">'
        '<svg viewBox="0 0 24 24" aria-hidden="true">{}</svg>'
        '<span class="verdict-words">{}</span></span>',
        word.replace(" ", "-"),
        VERDICT_SHAPES[word],
        text or _(SAID[word]),
    )


@register.simple_tag
def verdict_at(word: str, across: str) -> SafeString:
    """Return the shape of the verdict ``word`` as a part of a drawing, so far ``across`` it; its word stands beside."""
    return format_html(
        '<svg x="{}" y="50%" overflow="visible" class="verdict-{}">'
        '<svg x="-8" y="-8" width="16" height="16" viewBox="0 0 24 24">{}</svg></svg>',
        across,
        word.replace(" ", "-"),
        VERDICT_SHAPES[word],
    )


@register.simple_tag
def icon(name: str) -> SafeString:
    """Return the drawing ``name`` from the sheet of icons."""
    return format_html(
        '<svg class="icon" viewBox="0 0 24 24" aria-hidden="true"><use href="{}#{}"/></svg>',
        static("workshop/icons.svg"),
        name,
    )
