"""What a person scanned or typed into the scan box: a label code, then what was done with the thing."""

import re
from dataclasses import dataclass
from urllib.parse import unquote

from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.compute.lengths import UnknownUnit, parse_count, parse_length, parse_weight
from inventory.compute.units import Units, reader
from inventory.compute.weighing import FILL_LEVELS
from inventory.models import StockItem
from inventory.shelf.words import word_meant

# A QR code holds fewer squares when its text is in capitals, so an address may be all in capitals.
_ADDRESS = re.compile(r"https?://[^/\s]+/(?:\S*/)?s/(?P<code>[^/?#\s]+)/?(?:[?#].*)?", re.IGNORECASE)
_MINUS_SIGNS = ("-", "−", "–")
_BARE = re.compile(r"[0-9.,\s]+")
_WEIGHABLE = frozenset({StockItem.Kind.SPOOL})


class NotAMovement(WorkshopError):
    """The text beside a label code does not say what was done with the thing."""


@dataclass(frozen=True)
class Scanned:
    """A label code and, where more was typed after it, that."""

    code: str
    rest: str = ""


@dataclass(frozen=True)
class Meant:
    """What was done: ``act`` is take, weigh, count or judge; ``quantity`` in the item's unit, or mg on the scale."""

    act: str
    quantity: int = 0
    level: str = ""


def read_code(text: str) -> Scanned:
    """Return the label code in what was scanned: the code, or the address of a QR code, and what follows it.

    >>> read_code("HTTPS://THREAD.EXAMPLE/S/S0042"), read_code("s0042 12 m")
    (Scanned(code='S0042', rest=''), Scanned(code='s0042', rest='12 m'))
    """
    typed = " ".join(text.split())
    address = _ADDRESS.fullmatch(typed)
    if address:
        return Scanned(unquote(address["code"]))
    code, _space, rest = typed.partition(" ")
    return Scanned(code, rest)


def movement_meant(text: str, *, kind: str, units: Units) -> Meant:
    """Return what a person means by ``text`` for an item of ``kind``; its unit decides.

    A length or a number of pieces is taken, a weight is what the scale shows, ``= 40`` is what was found, a word
    such as *half* is what it looks like, and ``-`` is one piece. Raises NotAMovement where two things could be meant.

    >>> movement_meant("12,5 m", kind="spool", units=Units()), movement_meant("52.4 g", kind="spool", units=Units())
    (Meant(act='take', quantity=12500, level=''), Meant(act='weigh', quantity=52400, level=''))
    >>> movement_meant("= 18", kind="bobbins", units=Units())
    Meant(act='count', quantity=18, level='')
    """
    typed = " ".join(text.split())
    word = word_meant(typed)
    if word in FILL_LEVELS or word == "empty":
        return _looked_at(word, kind=kind)
    if typed.startswith("="):
        return Meant("count", _quantity(typed[1:], kind=kind, units=units))
    if typed in _MINUS_SIGNS:
        return Meant("take", _one(kind))
    if typed.startswith(_MINUS_SIGNS):
        return Meant("take", _quantity(typed[1:], kind=kind, units=units))
    if kind in StockItem.WEIGHED_IN_MG:
        raise NotAMovement(
            _(
                "A weight alone may be what was sprayed or what is left. Type - {typed} for what was "
                "sprayed, or = {typed} for what is left in it."
            ).format(typed=typed)
        )
    if kind not in StockItem.MEASURED_IN_MM:
        return Meant("take", _quantity(typed, kind=kind, units=units))
    if _BARE.fullmatch(typed) and kind in _WEIGHABLE:
        raise NotAMovement(
            _(
                "Is {typed} what you took or what the scale shows? Type {typed} {length} for a length, "
                "or {typed} {weight} for a weight."
            ).format(typed=typed, length=units.length, weight=units.weight)
        )
    try:
        return Meant("take", _quantity(typed, kind=kind, units=units))
    except UnknownUnit:
        return _weighed(typed, kind=kind, units=units)


def _weighed(typed: str, *, kind: str, units: Units) -> Meant:
    try:
        weight_mg = parse_weight(typed, unit=units.weight)
    except UnknownUnit:
        raise NotAMovement(
            _(
                '"{typed}" is neither a length nor a weight. Type it like 12 {length} or 52.4 {weight}.'
            ).format(typed=typed, length=units.length, weight=units.weight)
        ) from None
    if kind not in _WEIGHABLE:
        raise NotAMovement(
            _("Only spools are weighed. Type a length such as 12 {length}.").format(length=units.length)
        )
    return Meant("weigh", weight_mg)


def _looked_at(word: str, *, kind: str) -> Meant:
    if word == "empty":
        return Meant("count", 0)
    if kind not in _WEIGHABLE:
        raise NotAMovement(
            _('Only spools are judged by eye; "{word}" says nothing of this. Type a number.').format(
                word=word
            )
        )
    return Meant("judge", level=word)


def _quantity(typed: str, *, kind: str, units: Units) -> int:
    if kind == StockItem.Kind.ROLL:
        return parse_length(typed, unit=units.size)
    if kind in StockItem.MEASURED_IN_MM:
        return parse_length(typed, unit=units.length)
    if kind in StockItem.WEIGHED_IN_MG:
        return parse_weight(typed, unit=units.weight)
    return parse_count(typed)


def _one(kind: str) -> int:
    if kind in StockItem.MEASURED_IN_MM | StockItem.WEIGHED_IN_MG:
        raise NotAMovement(
            _(
                "A minus sign alone takes one piece. Of thread, a roll or a can, say how much: type it "
                "like {example}."
            ).format(example=f"12 {reader().length}")
        )
    return 1
