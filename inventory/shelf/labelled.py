"""From a label code to the item that carries it, and the codes that nothing carries yet."""

from django.db.models import F, Q
from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.models import LabelSeries, StockItem
from inventory.shelf.reads import described, item_by_label

PREFIXES = {
    StockItem.Kind.SPOOL: "S",
    StockItem.Kind.BOBBINS: "B",
    StockItem.Kind.PART_BOBBIN: "P",
    StockItem.Kind.ROLL: "R",
    StockItem.Kind.SHEETS: "H",
    StockItem.Kind.OFFCUT: "C",
    StockItem.Kind.NEEDLES: "N",
    StockItem.Kind.CAN: "A",
}


class NoSuchLabel(WorkshopError):
    """No item carries the label code."""


def item_labelled(code: str) -> StockItem:
    """Return the item with label ``code``, in capitals or not, as the spool, roll or whatever it is."""
    found = item_by_label(code)
    if found is None:
        raise NoSuchLabel(
            _('No item carries the label "{code}". Scan it again, or look it up by its name.').format(
                code=code.strip()
            )
        )
    return found.item


def as_its_kind(item: StockItem) -> StockItem:
    """Return ``item`` as it stands, as the spool, roll or whatever it is."""
    return described([item.pk], kind=item.kind)[0].item


def next_labels(kind: str, count: int) -> list[str]:
    """Return ``count`` label codes that nothing carries yet, such as S0042; call it inside a transaction."""
    prefix = PREFIXES[StockItem.Kind(kind)]
    LabelSeries.objects.get_or_create(prefix=prefix)
    free: list[str] = []
    # A person may have given out codes of the series by hand: those are passed over.
    while len(free) < count:
        wanted = count - len(free)
        LabelSeries.objects.filter(prefix=prefix).update(last=F("last") + wanted)
        last = LabelSeries.objects.get(prefix=prefix).last
        drawn = [f"{prefix}{number:04}" for number in range(last - wanted + 1, last + 1)]
        carried = Q(label__in=[*drawn, *(label.lower() for label in drawn)])
        taken = {label.upper() for label in StockItem.objects.filter(carried).values_list("label", flat=True)}
        free += [label for label in drawn if label not in taken]
    return free
