"""What must hold of the ledger, and every place where it does not."""

from collections.abc import Iterator
from dataclasses import dataclass

from django.db import connection
from django.db.models import Count, F, IntegerField, OuterRef, Subquery, Sum
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _

from inventory.models import Entry, Reservation, StockItem

# The triggers of migration 0002 under which no entry can be changed or deleted. SQLite drops them without a
# word when a later migration rebuilds the table of entries, so that their presence is worth a look.
GUARDS = {
    "sqlite": ("inventory_entry_no_update", "inventory_entry_no_delete"),
    "postgresql": ("inventory_entry_for_good",),
}
GUARDS_THERE = {
    "sqlite": "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'inventory_entry'",
    # A trigger may also be there and switched off.
    "postgresql": "SELECT tgname FROM pg_trigger "
    "WHERE tgrelid = 'inventory_entry'::regclass AND tgenabled IN ('O', 'A')",
}


@dataclass(frozen=True)
class LedgerProblem:
    """One broken invariant: which, and of what."""

    invariant: str
    concerns: str
    found: str

    def __str__(self) -> str:
        return f"{self.invariant}: {self.concerns}: {self.found}"


def ledger_problems() -> list[LedgerProblem]:
    """Return every breach of the ledger's invariants; an empty list is a sound ledger.

    The database does the sums and only breaches come back, so that memory stays flat however long the ledger is.
    """
    return [*_sums(), *_bounds(), *_keys(), *_reversals(), *_guards()]


def _sums() -> Iterator[LedgerProblem]:
    entered = _sum_of(Entry)
    for item in StockItem.objects.annotate(entered=entered).exclude(on_hand=F("entered")).iterator():
        found = _("{number} on hand, {entered} entered").format(number=item.on_hand, entered=item.entered)
        yield LedgerProblem(_("on hand is the sum of entries"), item.label, found)
    held = _sum_of(Reservation)
    for holding in StockItem.objects.annotate(held=held).exclude(reserved=F("held")).iterator():
        found = _("{number} against {other}").format(number=holding.reserved, other=holding.held)
        yield LedgerProblem(_("reserved is the sum of reservations"), holding.label, found)


def _sum_of(model: type[Entry] | type[Reservation]) -> Coalesce:
    # One sum an item through the index, where a join would have the database sort all entries with all columns.
    rows = model._default_manager.filter(item=OuterRef("pk")).order_by().values("item")
    return Coalesce(
        Subquery(rows.annotate(sum=Sum("quantity")).values("sum")), 0, output_field=IntegerField()
    )


def _bounds() -> Iterator[LedgerProblem]:
    for item in StockItem.objects.filter(on_hand__lt=0).iterator():
        yield LedgerProblem(
            _("nothing is below zero"), item.label, _("{number} on hand").format(number=item.on_hand)
        )
    for item in StockItem.objects.filter(reserved__gt=F("on_hand")).iterator():
        yield LedgerProblem(
            _("reserved is within on hand"),
            item.label,
            _("{number} of {all}").format(number=item.reserved, all=item.on_hand),
        )
    for item in StockItem.objects.filter(retired_at__isnull=False, on_hand__gt=0).iterator():
        yield LedgerProblem(
            _("what left the shelf holds nothing"),
            item.label,
            _("{number} on hand").format(number=item.on_hand),
        )


def _keys() -> Iterator[LedgerProblem]:
    twice = Entry.objects.order_by().values("key", "line").annotate(times=Count("pk")).filter(times__gt=1)
    for row in twice.iterator():
        yield LedgerProblem(
            _("a key is used once"),
            row["key"],
            _("line {line} is there {times} times").format(line=row["line"], times=row["times"]),
        )
    held = Reservation.objects.order_by().values("key").annotate(times=Count("pk")).filter(times__gt=1)
    for holding in held.iterator():
        yield LedgerProblem(
            _("a key is used once"),
            holding["key"],
            _("set aside {times} times").format(times=holding["times"]),
        )


def _reversals() -> Iterator[LedgerProblem]:
    reversals = Entry.objects.filter(reverses__isnull=False)
    unequal = reversals.exclude(quantity=-F("reverses__quantity"), item=F("reverses__item"))
    for entry in unequal.iterator():
        yield LedgerProblem(_("a reversal is the opposite of its entry"), str(entry.pk), f"{entry.quantity}")
    twice = reversals.order_by().values("reverses").annotate(times=Count("pk")).filter(times__gt=1)
    for row in twice.iterator():
        yield LedgerProblem(
            _("an entry is reversed at most once"),
            str(row["reverses"]),
            _("{times} times").format(times=row["times"]),
        )


def _guards() -> Iterator[LedgerProblem]:
    with connection.cursor() as cursor:
        cursor.execute(GUARDS_THERE[connection.vendor])
        there = {name for (name,) in cursor.fetchall()}
    for name in GUARDS[connection.vendor]:
        if name not in there:
            yield LedgerProblem(
                _("no entry is ever changed or deleted"), name, _("the trigger is not in force")
            )
