"""Needles taken from their pack."""

from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.ledger import use
from inventory.models import Entry, NeedlePack, StockItem


def use_needle(
    pack: StockItem, *, key: str, at: datetime, by: Any, count: int = 1, reference: str = ""
) -> Entry:
    """Return the entry that takes ``count`` needles, one unless said otherwise, out of ``pack``."""
    if pack.kind != StockItem.Kind.NEEDLES or not NeedlePack.objects.filter(pk=pack.pk).exists():
        raise WorkshopError(_("{pack} is no pack of needles. Scan the label on the pack.").format(pack=pack))
    if count < 1:
        raise WorkshopError(_("{count} needles is none; give how many were put in.").format(count=count))
    return use(pack, quantity=count, key=key, at=at, by=by, reference=reference)
