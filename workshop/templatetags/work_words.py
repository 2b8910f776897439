"""What a piece of long work is called, which is kept in English, in the reader's language."""

from django import template
from django.utils.translation import gettext as _

from inventory.compute.spoken import N_, said_again

register = template.Library()

# Those that name what they work on; the others are whole texts.
NAMING = (N_("Import of {source}"),)


@register.simple_tag
def work_called(what: str) -> str:
    """Return what a piece of work is called."""
    called = _(what) if what else what
    return said_again(what, NAMING) if called == what else called
