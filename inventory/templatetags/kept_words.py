"""What the books keep in the program's own language, said in the reader's."""

import re

from django import template
from django.utils.translation import get_language, ngettext
from django.utils.translation import gettext as _

from inventory.compute.spoken import N_
from inventory.models import ActOnMany

register = template.Library()

# The fields of records, as their history names them.
FIELD_NAMES = frozenset(
    {
        N_("code"), N_("colour_sigma"), N_("colour_source"), N_("core_diameter_mm"), N_("earlier codes"),
        N_("empty_mg"), N_("fibre"), N_("free_shipping_from"), N_("full_diameter_mm"), N_("label"),
        N_("lab_a"), N_("lab_b"), N_("lab_l"), N_("lead_time_days"), N_("length_mm"), N_("lot"), N_("maker"),
        N_("minimum"), N_("minimum_order"), N_("minimum_packs"), N_("most_stitches_per_minute"), N_("name"),
        N_("needle"), N_("note"), N_("pack"), N_("place"), N_("price"), N_("price_paid"), N_("product"),
        N_("purpose"), N_("put_up"), N_("range"), N_("seen_on"), N_("shade"), N_("shipping"), N_("tare_mg"),
        N_("tex"), N_("tex_is_nominal"), N_("tex_typed"), N_("thickness_mm"), N_("washing"), N_("weight_g_m2"),
        N_("weight_label"), N_("width_mm"), N_("winding_height_mm"),
    }
)  # fmt: skip
# Whole notes that the program itself writes.
NOTES = frozenset(
    {
        N_("put back"),
        N_("found with others"),
        N_("taken back with the others"),
        N_("corrected"),
        N_("no place"),
    }
)
# Notes that name what a movement belongs to.
_NUMBERED = {
    "job": N_("job {number}"),
    "order": N_("order {number}"),
    "stocktake": N_("stocktake {number}"),
    "import": N_("import {number}"),
    "list": N_("list {number}"),
}
_NAMED = re.compile(r"(job|order|stocktake|import|list) ([0-9a-f]+)")


@register.filter
def said(words: str) -> str:
    """Return words of the sums, such as those for a difference of colours, in the reader's language."""
    return _(words) if words else words


@register.filter
def field_name(name: str) -> str:
    """Return what a field of a record is called."""
    return _(name) if name in FIELD_NAMES else name


@register.filter
def note_words(note: str) -> str:
    """Return a note of a movement as the reader says it; what people typed stays as they typed it."""
    if note in NOTES:
        return _(note)
    named = _NAMED.fullmatch(note or "")
    return _(_NUMBERED[named[1]]).format(number=named[2]) if named else note


@register.filter
def act_in_words(act: ActOnMany) -> str:
    """Return what was done with many things at once; it stands in the books as "3 things moved: to the wall"."""
    counted = re.match(r"([0-9]+) things?\b", act.what)
    if counted is None:
        return act.what
    number = int(counted[1])
    match act.kind:
        case ActOnMany.Kind.MOVE:
            said = ngettext("{number} thing moved", "{number} things moved", number)
        case ActOnMany.Kind.RELABEL:
            said = ngettext("{number} thing given other labels", "{number} things given other labels", number)
        case ActOnMany.Kind.FOUND:
            said = ngettext("{number} thing weighed or counted", "{number} things weighed or counted", number)
        case _other:
            said = ngettext(
                "{number} thing taken off the shelf", "{number} things taken off the shelf", number
            )
    said = said.format(number=number)
    _done, _colon, what = act.what.partition(": ")
    if not what:
        return said
    if act.kind == ActOnMany.Kind.MOVE:
        what = _("to {place}").format(place=note_words(what.removeprefix("to ")))
    return f"{said}: {what}"


@register.filter
def in_sentence(name: str) -> str:
    """Return the name of a list as it stands within a sentence: small, where the language writes nouns small."""
    return name.lower() if (get_language() or "en").startswith("en") else name
