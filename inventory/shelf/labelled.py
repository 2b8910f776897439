"""From a label code to the item that carries it."""

from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.models import StockItem
from inventory.shelf.reads import described, item_by_label


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
