"""What the verdict of a job hangs on, in a few words, from how it stands: no whole plan is made for a list."""

from collections.abc import Mapping

from inventory.compute.lengths import format_length
from inventory.compute.spoken import _, ngettext
from inventory.compute.units import Units
from planning.compute.season.stand import Stood, StoodThread


def cause_of(stood: Stood, *, names: Mapping[int, str], units: Units) -> str:
    """Return the gravest thing that the verdict hangs on; ``names`` are those of the shades, by their id."""
    if stood.is_too_big:
        return _("too big for every hoop of this machine")
    bare = sum(not (thread.hex or thread.shade is not None) for thread in stood.threads)
    if bare:
        return ngettext("choose {number} colour", "choose {number} colours", bare).format(number=bare)
    if stood.verdict == "enough":
        number = len(stood.threads)
        return ngettext("of its one colour", "of all {number} colours", number).format(number=number)
    wanting = [thread for thread in stood.threads if thread.verdict != "enough"]
    if wanting:
        return _lacking(max(wanting, key=_grave), names, units)
    if any(thread.is_off_colour for thread in stood.threads):
        return _("a thread of another colour than is asked for")
    layers = dict.fromkeys(_(layer.kind) for layer in stood.stabilizer if layer.verdict != "enough")
    return _(" and ").join([*([] if stood.bobbins.verdict == "enough" else [_("bobbins")]), *layers])


def _grave(thread: StoodThread) -> tuple[bool, float]:
    """Where nothing is near comes first, then what lacks most of its need."""
    return thread.shade is None, thread.missing_mm / max(1, thread.needed_mm)


def _lacking(thread: StoodThread, names: Mapping[int, str], units: Units) -> str:
    if thread.shade is None:
        return _("nothing near {colour}").format(colour=thread.name or thread.hex)
    name = names.get(thread.shade, thread.name)
    if not thread.missing_mm:
        return _("{thread}: not measured").format(thread=name)
    length = format_length(thread.missing_mm, unit=units.length, places=0)
    return _("{thread}: {length} more would make it sure").format(thread=name, length=length)
