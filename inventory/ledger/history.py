"""One item's movements, with the balance after each."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, F, QuerySet, Sum, Window

from inventory.ledger.posting import SHOWN
from inventory.models import Entry, StockItem


@dataclass(frozen=True)
class Level:
    """What an item held from a moment on, in its own unit."""

    at: datetime
    held: int


def movements(item: StockItem) -> QuerySet[Entry]:
    """Return the item's entries, newest first, each with ``balance``: what the item held after it."""
    balance = Window(Sum("quantity"), order_by=F("id").asc())
    return (
        Entry.objects.of(item)
        .annotate(balance=balance)
        .select_related("by", "reversed_by", "reverses")
        .order_by("-id")
    )


def levels(item: StockItem, *, most: int = 400) -> list[Level]:
    """Return what the item held over time, oldest first: after each of its last ``most`` movements."""
    balance = Window(Sum("quantity"), order_by=F("id").asc())
    rows = Entry.objects.of(item).order_by("-id").values_list("at", balance)[:most]
    # Movements of past days may have been entered late; a line over time needs them in the order of the days.
    return sorted((Level(at, held) for at, held in reversed(rows)), key=lambda level: level.at)


def act_of(key: str) -> list[Entry]:
    """Return the entries of the act with this key, with their items and the entries that took them back."""
    return list(
        Entry.objects.filter(key=key)
        .select_related("item", "item__place", "reversed_by")
        .order_by("line", "id")
    )


def last_reversible(entries: Sequence[Entry]) -> Entry | None:
    """Return the entry by which an act is taken back, or None where it cannot be (again)."""
    if any(entry.reason == Entry.Reason.REVERSE or hasattr(entry, "reversed_by") for entry in entries):
        return None
    return next((entry for entry in entries if entry.line < SHOWN), None)


def counts_by_kind() -> dict[str, int]:
    """Return how many things of each kind are on the shelf."""
    return dict(StockItem.objects.on_the_shelf().values_list("kind").annotate(Count("id")).order_by("kind"))
