"""Sums of coordinates in drawings, and words of the map of colours."""

from django import template
from django.utils.translation import gettext as _

from planning.compute.colour.gaps import ColourRegion

register = template.Library()


@register.filter
def region_words(region: ColourRegion | tuple[str, str]) -> str:
    """Return what a region of the map is called: how light, and which family of colours."""
    lightness, family = region if isinstance(region, tuple) else (region.lightness, region.family)
    return _("{lightness} {family}").format(lightness=_(lightness), family=_(family))


@register.filter
def add_to(value: float, more: float) -> str:
    """Return a coordinate moved by ``more``, as SVG writes it in every language.

    >>> add_to(2.5, "-7")
    '-4.5'
    """
    return f"{float(value) + float(more):g}"
