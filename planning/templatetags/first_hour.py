"""What the pages of the first hour draw: a spool as full as it is, needles, a design in its hoop."""

from collections.abc import Mapping

from django import template
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

from inventory.compute.weighing import FILL_LEVELS
from planning.first_hour.setting import OfferedHoop
from planning.models import Design

register = template.Library()

GREY = "#9aa39f"
# The ring of thread on a spool, in the drawing's units: from the core to a full winding.
CORE, FULL = 3.0, 15.0
SCALE = mark_safe(
    '<path d="M8 30h32l-4-12H12zM16 18c0-6 16-6 16 0" fill="none" stroke="currentColor" stroke-width="2"/>'
    '<path d="M24 22l4 4" stroke="currentColor" stroke-width="2"/>'
)
RULER = mark_safe(
    '<path d="M5 13h38v11H5zM11 13v5M17 13v7M23 13v5M29 13v7M35 13v5" fill="none" stroke="currentColor" '
    'stroke-width="2"/>'
)


@register.simple_tag
def fullness(colour: str, level: str) -> SafeString:
    """Return a spool seen from the side, wound as full as ``level`` says; a scale or a ruler for the other ways.

    The thread of a spool fills a ring, so that half of it reaches farther than half-way.
    """
    seen = FILL_LEVELS.get(level)
    if seen is None:
        drawn = SCALE if level == "weigh" else RULER
    else:
        reach = (CORE**2 + seen.fraction * (FULL**2 - CORE**2)) ** 0.5
        drawn = format_html(
            '<path d="M11 2h26v3H11zM11 33h26v3H11z" fill="currentColor"/><path d="M21 5h6v28h-6z" fill="{}"/>'
            '<rect x="{}" y="6" width="{}" height="26" fill="{}" stroke="currentColor" stroke-width=".75"/>',
            GREY,
            f"{24 - reach:.1f}",
            f"{2 * reach:.1f}",
            colour or "#ffffff",
        )
    return format_html('<svg class="fullness" viewBox="0 0 48 38" aria-hidden="true">{}</svg>', drawn)


@register.simple_tag
def beside_asked(asked: str, chosen: str) -> SafeString:
    """Return a colour beside the one that is asked for, touching it on neutral grey."""
    return format_html(
        '<svg class="fullness" viewBox="0 0 48 38" aria-hidden="true">'
        '<path d="M0 0H48V38H0z" fill="#bababa"/><path d="M5 6H24V32H5z" fill="{}"/>'
        '<path d="M24 6H43V32H24z" fill="{}"/></svg>',
        asked,
        chosen,
    )


@register.simple_tag
def needle_bar(kind: str, needles_of: Mapping[str, int]) -> SafeString:
    """Return one needle, or several, over a machine's plate; ``needles_of`` has those of the machines that are kept."""
    needles = {"one": 1, "several": 5}.get(kind) or needles_of.get(kind)
    if not needles:
        return mark_safe("")
    apart = min(12, 72 // max(1, needles - 1))
    across = [60 - (needles - 1) * apart / 2 + number * apart for number in range(needles)]
    return format_html(
        '<svg class="needle-bar" viewBox="0 0 120 60" aria-hidden="true">'
        '<rect x="{}" y="8" width="{}" height="18" rx="3" fill="none" stroke="currentColor"/>{}'
        '<path d="M20 55h80" stroke="currentColor" stroke-width="4"/></svg>',
        f"{across[0] - 10:g}",
        f"{across[-1] - across[0] + 20:g}",
        format_html_join(
            "",
            '<path d="M{} 2v{}" stroke="currentColor" stroke-width="2"/>',
            ((f"{x:g}", 38 if number else 46) for number, x in enumerate(across)),
        ),
    )


@register.simple_tag
def hoop_drawing(hoop: OfferedHoop, design: Design) -> SafeString:
    """Return a hoop's field with the rectangle that the design takes of it, both to one scale."""
    scale = 70 / max(300.0, *hoop.field_mm, design.width_mm, design.height_mm)
    wide, high = (side * scale for side in hoop.field_mm)
    own = design.width_mm * scale, design.height_mm * scale
    turned = own[0] > wide or own[1] > high
    if turned and own[1] <= wide and own[0] <= high:
        own = own[1], own[0]
    return format_html(
        '<svg class="hoop-drawing" viewBox="0 0 100 84" aria-hidden="true">'
        '<rect x="{}" y="{}" width="{}" height="{}" rx="5" fill="none" stroke="currentColor" stroke-width="4"/>'
        '<rect x="{}" y="{}" width="{}" height="{}" fill="none" stroke="currentColor" stroke-dasharray="3 2"/></svg>',
        *(f"{value:.1f}" for value in (*_centred(wide + 8, high + 8), *_centred(*own))),
    )


def _centred(width: float, height: float) -> tuple[float, float, float, float]:
    return 50 - width / 2, 42 - height / 2, width, height
