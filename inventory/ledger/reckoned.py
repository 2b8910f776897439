"""What of a thing was only reckoned: taken by estimate since somebody last looked at it.

Errors of estimates of one kind add up straight: a machine that draws more than was thought does so on every job, and
scissors that cut long cut every strip long. So what a further estimate adds to what is not known of a thing depends on
how much of it was estimated before.
"""

import math
from collections.abc import Callable, Collection, Iterable
from functools import partial
from itertools import groupby, pairwise
from operator import attrgetter

from inventory.compute.knowing import NOTHING_CUT, StripsCut, sigma_after_cut, strips_of
from inventory.ledger.posting import SHOWN
from inventory.models import Entry, StockItem

Reason = Entry.Reason

_LOOKED = frozenset({Reason.WEIGH, Reason.COUNT})
_RECKONED = frozenset({Reason.USE, Reason.CUT, Reason.WIND})


def added_sigma(share: float, quantity: float, *, before: float) -> float:
    """Return by how much ``quantity`` more, off by ``share`` as all ``before`` it was, widens what is not known.

    To be added in squares to the sigma there is, which has what was reckoned ``before`` in it.

    >>> added_sigma(0.1, 100.0, before=0.0)
    10.0
    >>> round(math.hypot(10.0, added_sigma(0.1, 100.0, before=100.0)), 6)
    20.0
    """
    return share * math.sqrt(max((before + quantity) ** 2 - before**2, 0.0))


def reckoned_since_looked(items: Iterable[int]) -> dict[int, int]:
    """Return what was taken of each item, by its id, since it was last weighed, counted or judged; in its unit.

    What was taken back does not count; nor does a look that was. One query for all.
    """
    found: dict[int, int] = {}
    for pk, entries in _newest_first(items).items():
        taken = 0
        for entry, looked in entries:
            if looked:
                break
            if entry.reason in _RECKONED and entry.line < SHOWN:
                taken -= entry.quantity
        found[pk] = max(taken, 0)
    return found


def cut_since_looked(items: Iterable[int]) -> dict[int, StripsCut]:
    """Return what was cut of each roll, by its id, since it was last measured; what was taken back does not count.

    Of cuts of which nobody kept the strips it is taken that they were as usual. One query for all.
    """
    return {pk: _cut(entries) for pk, entries in _newest_first(items).items()}


def sigma_without_cut(entry: Entry) -> Callable[[float], float] | None:
    """Return what makes of a roll's sigma the one without ``entry``, a cut of it; None where it is none.

    A cut before the last look at the roll had no part in the sigma any more.
    """
    if entry.reason != Reason.CUT or entry.quantity >= 0 or entry.item.kind != StockItem.Kind.ROLL:
        return None
    entries = _newest_first([entry.item_id])[entry.item_id]
    without = [pair for pair in entries if pair[0].pk != entry.pk]
    return partial(sigma_after_cut, before=_cut(entries), after=_cut(without))


def _cut(entries: Iterable[tuple[Entry, bool]]) -> StripsCut:
    so_far = NOTHING_CUT
    for entry, looked in entries:
        if looked:
            break
        if entry.reason == Reason.CUT and entry.line < SHOWN:
            so_far += strips_of(-entry.quantity, strips=entry.strips)
    return so_far


def sigma_without(item: StockItem, keys: Collection[str]) -> float | None:
    """Return one sigma of ``item`` as if the acts with these ``keys`` had taken exactly what they took."""
    if item.sigma is None:
        return None
    variance = item.sigma**2
    entries = sorted(_along([item.pk]), key=attrgetter("id"))
    after = [each.sigma_before for each in entries[1:]] + [item.sigma]
    for entry, sigma in zip(entries, after, strict=True):
        if entry.key in keys and sigma is not None and entry.sigma_before is not None:
            variance -= sigma**2 - entry.sigma_before**2
    return math.sqrt(max(variance, 0.0))


def _newest_first(items: Iterable[int]) -> dict[int, list[tuple[Entry, bool]]]:
    """Return the entries of each item that stand, newest first, each with whether it says what was found of the item.

    What takes an entry back is an entry of the same item, so that no other need be read.
    """
    wanted = set(items)
    if not wanted:
        return {}
    things = StockItem.objects.filter(pk__in=wanted).only("sigma", "kind").in_bulk()
    known = {pk: item.sigma for pk, item in things.items()}
    found = {}
    for pk, entries in groupby(_along(known), key=attrgetter("item_id")):
        own = sorted(entries, key=attrgetter("id"), reverse=True)
        after = [known[pk], *(later.sigma_before for later, _ in pairwise(own))]
        taken_back = {entry.reverses_id for entry in own}
        found[pk] = [
            (entry, _is_look(entry, sigma_after, measured=things[pk].is_measured))
            for entry, sigma_after in zip(own, after, strict=True)
            if entry.reason != Reason.REVERSE and entry.pk not in taken_back
        ]
    return found


def _along(items: Collection[int]) -> Iterable[Entry]:
    """Return the entries of ``items``, item by item, as their index has them.

    The order has a database go along that index; by their numbers it reads all entries there are and sorts them where
    these items had most of the entries when it counted its rows last.
    """
    return Entry.objects.filter(item_id__in=items).order_by("-item_id", "-at")


def _is_look(entry: Entry, sigma_after: float | None, *, measured: bool) -> bool:
    """Return whether ``entry`` says what was found: a correction that keeps what is known of the item says nothing.

    Pieces that were counted are known to the piece; less than that was a count of what one job took of them.
    """
    tells = sigma_after != entry.sigma_before if measured else sigma_after == 0.0
    return entry.reason in _LOOKED and entry.line < SHOWN and tells
