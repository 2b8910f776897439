"""A design's threads drawn as one band: each block in its colour, as long as its share of the thread."""

from collections.abc import Sequence

from django import template
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from inventory.models import Shade
from planning.library.importing import source_in_words
from planning.models import Block

register = template.Library()

WIDTH, HEIGHT = 160, 14
# Narrower than this a block could not be seen.
LEAST_WIDTH = 3.0


@register.simple_tag
def thread_band(blocks: Sequence[Block]) -> SafeString:
    """Return the band of a design's blocks in the order of sewing; a block without a colour is left open.

    The words that say the same stand beside it, so it is hidden from screen readers.
    """
    total_mm = sum(block.drawn_mm for block in blocks) or 1.0
    room = max(WIDTH - LEAST_WIDTH * len(blocks), 0.0)
    widths = [LEAST_WIDTH + room * block.drawn_mm / total_mm for block in blocks]
    scale = WIDTH / (sum(widths) or WIDTH)
    parts, x = [], 0.0
    for block, width in zip(blocks, widths, strict=True):
        parts.append((f"{x * scale:.2f}", f"{width * scale:.2f}", block.hex or "none"))
        x += width
    return format_html(
        '<svg class="thread-band" viewBox="0 0 {0} {1}" preserveAspectRatio="none" aria-hidden="true" '
        '><rect width="{0}" height="{1}" fill="#bababa"/>{2}</svg>',
        WIDTH,
        HEIGHT,
        format_html_join(
            "",
            '<rect x="{}" y="1.5" width="{}" height="11" fill="{}" stroke="#3a3a3a" stroke-width=".5"/>',
            parts,
        ),
    )


@register.filter
def shade_words(shade: Shade) -> str:
    """Return maker, range and code of a shade, as they stand beside its swatch."""
    return f"{shade.range} · {shade.code}"


@register.filter
def colour_detail(block: Block) -> str:
    """Return what identifies a block's colour beside its name: the code, if it has one, and the screen colour."""
    return " · ".join(part for part in (block.code, block.hex) if part)


@register.filter
def run_source(source: str) -> str:
    """Return where the files of an import come from, in the reader's words."""
    return source_in_words(source)
