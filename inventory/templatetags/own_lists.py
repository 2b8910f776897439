"""What a row of a person's list was understood as, in words."""

from django import template
from django.utils.translation import gettext as _

from inventory.catalogue.in_own_words import SpoolInWords
from inventory.compute.lengths import format_length, format_weight
from inventory.compute.names.plain import plain_name
from inventory.compute.names.weight_labels import thickness_words
from inventory.compute.units import Units
from inventory.compute.weighing import FILL_LEVELS
from inventory.files.listening.meanings import MEANINGS
from inventory.files.listening.rows import Reading

register = template.Library()


@register.filter
def spool_words(said: SpoolInWords, units: Units) -> str:
    """Return whose thread it is, which colour, and how thick."""
    colour = said.name or (_(plain_name(said.colour)) if said.colour is not None else "")
    which = " ".join(filter(None, [said.maker, said.range_name, said.code, colour]))
    return ", ".join(filter(None, [which, thickness_words(said.weight_label)]))


@register.filter
def how_much_words(said: SpoolInWords, units: Units) -> str:
    """Return how much is on the spool, as the list has it."""
    full = format_length(said.full_mm, unit=units.length, places=0) if said.full_mm else ""
    if said.length_mm is not None:
        return _of(format_length(said.length_mm, unit=units.length, places=0), full)
    if said.gross is not None:
        return _("{weight} on the scale").format(
            weight=format_weight(said.gross.mg, unit=units.weight, places=1)
        )
    if said.is_sealed:
        return _("new, {full}").format(full=full) if full else _("new")
    if said.level is not None:
        words = next((word for word, level in FILL_LEVELS.items() if level == said.level), "")
        return _of(_(words) if words else format(said.level.fraction, ".0%"), full)
    return _("not said")


def _of(left: str, full: str) -> str:
    return _("{left} of {full}").format(left=left, full=full) if full else left


@register.simple_tag
def columns_in_words(reading: Reading) -> str:
    """Return what the columns are, in the order of the list."""
    return ", ".join(_(MEANINGS[each].words).partition(",")[0] for each in reading.meanings if each)
