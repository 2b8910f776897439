"""Items and quantities in the words and units of the person who reads them."""

from collections.abc import Sequence

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.compute.lengths import format_length, format_weight
from inventory.compute.names.fullness import level_called
from inventory.compute.spoken import N_, figure
from inventory.compute.units import Units
from inventory.ledger.posting import SHOWN
from inventory.models import Entry, StockItem

Kind = StockItem.Kind
Known = StockItem.Known

# How full a spool looks and what it is measured with, as somebody chooses it, and what is typed instead of a number.
LEVELS = (
    N_("full"), N_("three quarters"), N_("half"), N_("quarter"), N_("nearly empty"), N_("empty"),
    N_("unknown"), N_("not known"),
)  # fmt: skip
TOOLS_USED = (N_("ruler"), N_("ruler to half a mm, twice"), N_("calipers"), N_("calipers, three turns"))


def word_meant(typed: str) -> str:
    """Return the word for how full a thing looks as it is kept, whether it was typed so or in the reader's language.

    >>> word_meant(" Nearly  empty"), word_meant("12 m")
    ('nearly empty', '12 m')
    """
    text = " ".join(typed.casefold().split())
    return level_called(text) or next((word for word in LEVELS if text in (word, _(word).casefold())), text)


def quantity_unit(kind: str, units: Units) -> str:
    """Return the unit a person types and reads a quantity of ``kind`` in, or an empty string for pieces.

    >>> quantity_unit("roll", Units()), quantity_unit("spool", Units(length="yd")), quantity_unit("sheets", Units())
    ('cm', 'yd', '')
    >>> quantity_unit("can", Units(weight="oz"))
    'oz'
    """
    if kind in StockItem.WEIGHED_IN_MG:
        return units.weight
    if kind == Kind.ROLL:
        return units.size
    return units.length if kind in StockItem.MEASURED_IN_MM else ""


def quantity_number(kind: str, quantity: float, units: Units) -> str:
    """Return a quantity of an item of ``kind`` without its unit.

    >>> quantity_number("spool", 312_000, Units()), quantity_number("bobbins", 1200, Units())
    ('312.0', '1,200')
    """
    unit = quantity_unit(kind, units)
    if kind in StockItem.WEIGHED_IN_MG:
        return format_weight(quantity, unit=unit).partition(" ")[0]
    return format_length(quantity, unit=unit).partition(" ")[0] if unit else figure(round(quantity))


def in_words(kind: str, quantity: float, units: Units) -> str:
    """Return a quantity of an item of ``kind`` with its unit.

    >>> in_words("spool", 312_000, Units()), in_words("bobbins", 1, Units()), in_words("sheets", 12, Units())
    ('312.0 m', '1 bobbin', '12 sheets')
    """
    number = quantity_number(kind, quantity, units)
    # Half a bobbin is one of several, as nought is.
    count = 1 if quantity == 1 else max(2, round(quantity))
    match kind:
        case Kind.BOBBINS:
            said = ngettext("{number} bobbin", "{number} bobbins", count)
        case Kind.SHEETS:
            said = ngettext("{number} sheet", "{number} sheets", count)
        case Kind.OFFCUT:
            said = ngettext("{number} offcut", "{number} offcuts", count)
        case Kind.NEEDLES:
            said = ngettext("{number} needle", "{number} needles", count)
        case _other:
            return f"{number} {quantity_unit(kind, units)}"
    return said.format(number=number)


def held_in_words(item: StockItem, units: Units) -> str:
    """Return what an item holds, or that nobody knows."""
    return in_words(item.kind, item.on_hand, units) if item.is_known else _("not known")


def how_sure(item: StockItem, units: Units) -> str:
    """Return how far the quantity may be off (one standard deviation) and how it is known."""
    if item.known == Known.UNKNOWN:
        return _("nobody has measured it; the books have {quantity} left over").format(
            quantity=in_words(item.kind, item.on_hand, units)
        )
    known = _known(item)
    if item.sigma is None:
        return _("how far it may be off is not known; {known}").format(known=known)
    # Less than the last figure that is shown is nothing a person could see.
    off = quantity_number(item.kind, item.sigma, units)
    if not any(figure in "123456789" for figure in off):
        return known
    unit = quantity_unit(item.kind, units)
    return _("good to {off}, {known}").format(off=f"{off} {unit}" if unit else off, known=known)


def _known(item: StockItem) -> str:
    if item.known == Known.SEALED and item.opened_on:
        return _("reckoned from what was taken since it was sealed")
    if item.known == Known.COUNTED and item.sigma and not item.is_measured:
        return _("reckoned from what jobs took since it was counted")
    return item.get_known_display()


def outcome(entries: Sequence[Entry], units: Units) -> list[str]:
    """Return what an act did, a sentence an entry, as it is said to the person who did it.

    The entries come from ``inventory.ledger.entries_of``; what is left is as things stand now.
    """
    return [_said(entry, units) for entry in entries if entry.line < SHOWN]


def _said(entry: Entry, units: Units) -> str:
    item, words = entry.item, {"label": entry.item.label, "moved": ""}
    words |= {"moved": in_words(item.kind, abs(entry.quantity), units), "left": held_in_words(item, units)}
    match entry.reason:
        case Entry.Reason.RECEIVE:
            said = _("Brought {moved} onto the shelf as {label}.")
        case Entry.Reason.REVERSE:
            said = _taken_back(item)
        case Entry.Reason.WEIGH | Entry.Reason.COUNT:
            said = _set_right(item, entry.quantity)
        case Entry.Reason.RETIRE:
            said = _("{label} is off the shelf.")
        case _other:
            said = _moved(item, entry)
    return said.format(**words)


def _taken_back(item: StockItem) -> str:
    if item.kind == Kind.OFFCUT:
        return _("Taken back: {label} is there.") if item.on_hand else _("Taken back: {label} is gone.")
    if item.is_known:
        return _("Taken back: {label} holds {left}.")
    return _("Taken back: how much {label} holds is not known.")


def _set_right(item: StockItem, quantity: int) -> str:
    if not item.is_known:
        return _("From now on how much {label} holds is not known.")
    if item.kind == Kind.OFFCUT:
        holds = _("{label} is there") if item.on_hand else _("{label} is gone")
    else:
        holds = _("{label} holds {left}")
    if quantity == 0:
        return _("{holds}; the books are right.").replace("{holds}", holds)
    if quantity > 0:
        return _("{holds}; the books are set right by +{moved}.").replace("{holds}", holds)
    return _("{holds}; the books are set right by −{moved}.").replace("{holds}", holds)


def _moved(item: StockItem, entry: Entry) -> str:
    if entry.quantity > 0:
        if entry.reason != Entry.Reason.USE:
            return _("Brought {moved} onto the shelf as {label}.")
        if item.kind == Kind.OFFCUT:
            return (
                _("Put {moved} back; {label} is there.")
                if item.on_hand
                else _("Put {moved} back; {label} is gone.")
            )
        if item.is_known:
            return _("Put {moved} back; {label} holds {left}.")
        return _("Put {moved} back; how much {label} holds is not known.")
    if entry.reason == Entry.Reason.WASTE:
        if item.is_known:
            return _("Wrote off {moved} of {label}; {left} left.")
        return _("Wrote off {moved} of {label}; what is left is not known.")
    if entry.reason == Entry.Reason.CUT:
        if item.is_known:
            return _("Cut {moved} off {label}; {left} left.")
        return _("Cut {moved} off {label}; what is left is not known.")
    if item.is_known:
        return _("Took {moved} off {label}; {left} left.")
    return _("Took {moved} off {label}; what is left is not known.")
