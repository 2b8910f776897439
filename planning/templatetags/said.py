"""Texts that are kept in one language, said in that of who reads them."""

from django import template

from planning.compute.batch.sentences import said_of_plan as _said_of_plan

register = template.Library()


@register.filter
def said_of_plan(text: str) -> str:
    """Return a note that stands in a plan, or in what was promised, in the reader's language.

    >>> said_of_plan("Keep it dry.")
    'Keep it dry.'
    """
    return _said_of_plan(text)
