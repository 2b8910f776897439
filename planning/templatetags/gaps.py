"""Sums of coordinates in drawings, and words of the map of colours."""

from django import template
from django.utils.translation import gettext as _
from django.utils.translation import pgettext_lazy

from inventory.compute.spoken import N_
from planning.compute.colour.gaps import ColourRegion

register = template.Library()

LIGHTNESS_WORDS = {
    "dark": pgettext_lazy("a colour", "dark"),
    "middle": pgettext_lazy("a colour", "middle"),
    "light": pgettext_lazy("a colour", "light"),
}
FAMILY_WORDS = {
    "grey": N_("grey"),
    "red": N_("red"),
    "orange": N_("orange"),
    "yellow": N_("yellow"),
    "green": N_("green"),
    "turquoise": N_("turquoise"),
    "blue": N_("blue"),
    "violet": N_("violet"),
    "pink": N_("pink"),
}


@register.filter
def lightness_words(lightness: str) -> str:
    """Return how light the colours of a plane or a region are, in the reader's words."""
    return str(LIGHTNESS_WORDS[lightness])


@register.filter
def region_words(region: ColourRegion | tuple[str, str]) -> str:
    """Return what a region of the map is called: how light, and which family of colours."""
    lightness, family = region if isinstance(region, tuple) else (region.lightness, region.family)
    return _("{lightness} {family}").format(
        lightness=lightness_words(lightness), family=_(FAMILY_WORDS[family])
    )


@register.filter
def add_to(value: float, more: float) -> str:
    """Return a coordinate moved by ``more``, as SVG writes it in every language.

    >>> add_to(2.5, "-7")
    '-4.5'
    """
    return f"{float(value) + float(more):g}"
