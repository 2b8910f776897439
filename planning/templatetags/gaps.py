"""Sums of coordinates in drawings."""

from django import template

register = template.Library()


@register.filter
def add_to(value: float, more: float) -> str:
    """Return a coordinate moved by ``more``, as SVG writes it in every language.

    >>> add_to(2.5, "-7")
    '-4.5'
    """
    return f"{float(value) + float(more):g}"
