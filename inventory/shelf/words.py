"""Items and quantities in the words and units of the person who reads them."""

from collections.abc import Sequence

from django.utils.translation import gettext as _

from inventory.compute.lengths import format_length, format_weight
from inventory.compute.units import Units
from inventory.ledger.posting import SHOWN
from inventory.models import Entry, StockItem

Kind = StockItem.Kind
Known = StockItem.Known

_PIECES = {
    Kind.BOBBINS: ("bobbin", "bobbins"),
    Kind.SHEETS: ("sheet", "sheets"),
    Kind.OFFCUT: ("offcut", "offcuts"),
    Kind.NEEDLES: ("needle", "needles"),
}


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
    return format_length(quantity, unit=unit).partition(" ")[0] if unit else f"{round(quantity):,}"


def in_words(kind: str, quantity: float, units: Units) -> str:
    """Return a quantity of an item of ``kind`` with its unit.

    >>> in_words("spool", 312_000, Units()), in_words("bobbins", 1, Units()), in_words("sheets", 12, Units())
    ('312.0 m', '1 bobbin', '12 sheets')
    """
    number = quantity_number(kind, quantity, units)
    if kind in _PIECES:
        one, many = _PIECES[Kind(kind)]
        return f"{number} {one if quantity == 1 else many}"
    return f"{number} {quantity_unit(kind, units)}"


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
    return f"± {off} {unit}, {known}" if unit else f"± {off}, {known}"


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
    item = entry.item
    moved = in_words(item.kind, abs(entry.quantity), units)
    left = held_in_words(item, units)
    holds = (
        _("{label} holds {left}").format(label=item.label, left=left)
        if item.is_known
        else _("how much {label} holds is not known").format(label=item.label)
    )
    if item.kind == Kind.OFFCUT:
        holds = f"{item.label} is {'there' if item.on_hand else 'gone'}"
    came = _("Brought {moved} onto the shelf as {label}.").format(moved=moved, label=item.label)
    match entry.reason:
        case Entry.Reason.RECEIVE:
            return came
        case Entry.Reason.REVERSE:
            return f"Taken back: {holds}."
        case Entry.Reason.WEIGH | Entry.Reason.COUNT:
            if not item.is_known:
                return _("From now on {holds}.").format(holds=holds)
            return f"{_beginning(holds)}; the books are {_set_right(entry.quantity, moved)}."
        case Entry.Reason.RETIRE:
            return f"{item.label} is off the shelf."
    if entry.quantity > 0:
        return (
            _("Put {moved} back; {holds}.").format(moved=moved, holds=holds)
            if entry.reason == Entry.Reason.USE
            else came
        )
    did = {Entry.Reason.WASTE: _("Wrote off"), Entry.Reason.CUT: "Cut"}.get(
        Entry.Reason(entry.reason), "Took"
    )
    return f"{did} {moved}{' of' if did == 'Wrote off' else ' off'} {item.label}; {_rest(item, left)}."


def _beginning(sentence: str) -> str:
    """Return a sentence with a capital, unless it begins with a label code as people wrote it."""
    return f"H{sentence[1:]}" if sentence.startswith(_("how much ")) else sentence


def _rest(item: StockItem, left: str) -> str:
    return _("{left} left").format(left=left) if item.is_known else _("what is left is not known")


def _set_right(quantity: int, moved: str) -> str:
    if quantity == 0:
        return "right"
    return f"set right by {'+' if quantity > 0 else '−'}{moved}"
