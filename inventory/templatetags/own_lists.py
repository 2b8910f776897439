"""What a row of a person's list was understood as, in words."""

from django import template

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
    colour = said.name or (plain_name(said.colour) if said.colour is not None else "")
    which = " ".join(filter(None, [said.maker, said.range_name, said.code, colour]))
    return ", ".join(filter(None, [which, thickness_words(said.weight_label)]))


@register.filter
def how_much_words(said: SpoolInWords, units: Units) -> str:
    """Return how much is on the spool, as the list has it."""
    full = f" of {format_length(said.full_mm, unit=units.length, places=0)}" if said.full_mm else ""
    if said.length_mm is not None:
        return format_length(said.length_mm, unit=units.length, places=0) + full
    if said.gross is not None:
        return f"{format_weight(said.gross.mg, unit=units.weight, places=1)} on the scale"
    if said.is_sealed:
        return f"new{full.replace(' of', ',')}"
    if said.level is not None:
        words = next((word for word, level in FILL_LEVELS.items() if level == said.level), "")
        return f"{words or format(said.level.fraction, '.0%')}{full}"
    return "not said"


@register.simple_tag
def columns_in_words(reading: Reading) -> str:
    """Return what the columns are, in the order of the list."""
    return ", ".join(MEANINGS[each].words.partition(",")[0] for each in reading.meanings if each)
