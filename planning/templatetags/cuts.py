"""Words of the sheets that stabilizer is cut by."""

from django import template
from django.utils.translation import ngettext

from planning.cutting.rings import RingStrips

register = template.Library()


@register.filter
def strips_words(rings: RingStrips) -> str:
    """Return how many strips of each stabilizer the rings give."""
    return ", ".join(
        ngettext("{count} strip of {product}", "{count} strips of {product}", count).format(
            count=count, product=product
        )
        for product, count in rings.counts
    )
