"""Words of a plan that its page shares with the terminal."""

from collections.abc import Sequence

from django import template

from planning.compute.spools.turns import SpoolUse
from planning.plan import words
from planning.plan.pins import written_block

register = template.Library()


@register.filter
def spool_goes_on(use: SpoolUse) -> str:
    """Return where inside its first piece a spool goes on; empty where it goes on before the piece."""
    return words.spool_goes_on(use)


@register.filter
def block_called(at_block: tuple[int, int], designs: Sequence[object]) -> str:
    """Return what the block of a (design, number) is called: its number, after the design's where there are several."""
    return written_block(at_block, several=len(designs) > 1)
