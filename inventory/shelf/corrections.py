"""A spool that was entered as something else: its shade and put-up put right in one act, and its length with them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _

from inventory.acting import held, whole_act
from inventory.compute.errors import WorkshopError
from inventory.compute.knowing import sealed_sigma
from inventory.compute.weighing import length_from_weight, weight_of_length
from inventory.ledger import Finding, entries_of, find
from inventory.ledger.changes import change
from inventory.models import Change, Entry, PutUp, Reservation, Shade, Spool, StockItem
from inventory.shelf.weights import sigma_by_weight

Known = StockItem.Known


class ShadeNotClear(WorkshopError):
    """No shade, or more than one, is meant by what was typed."""


@dataclass(frozen=True)
class Corrected:
    """What was put right: the record of it, the entry that set the length (None where that stayed), who is told.

    ``holders`` are the names under which something of the spool is set aside: their plans rested on what it was.
    """

    change: Change | None
    entry: Entry | None
    holders: tuple[str, ...]


@whole_act
def correct_spool(
    spool: StockItem,
    *,
    shade: Shade,
    put_up: PutUp | None,
    key: str,
    at: datetime,
    by: Any,
    why: str = "",
) -> Corrected:
    """Return what making ``spool`` one of ``shade`` in ``put_up`` changed, recorded as one act.

    What was weighed is weighed anew, from the same weight: with another tex or another empty weight it tells another
    length. A sealed spool holds what its put-up says. A length that was measured or judged stays. Sent again it
    changes nothing. Raises WorkshopError where the put-up is no put-up of the shade's range.
    """
    if put_up is not None and put_up.range_id != shade.range_id:
        raise WorkshopError(
            _("{other_range} is sold as {put_up}, and {range} is not. Choose a length of {range}.").format(
                put_up=put_up, other_range=put_up.range, range=shade.range
            )
        )
    held(StockItem.objects.filter(pk=spool.pk)).get()
    before = Spool.objects.select_related("shade__range", "put_up").get(pk=spool.pk)
    if before.retired_at is not None:
        raise WorkshopError(
            _("{before} has left the shelf. Put it back there first, then correct it.").format(before=before)
        )
    holders = tuple(
        Reservation.objects.filter(item_id=spool.pk)
        .order_by("holder")
        .values_list("holder", flat=True)
        .distinct()
    )
    written = entries_of(key)
    made = change(
        Spool.objects.get(pk=spool.pk),
        changes={"shade": shade, "put_up": put_up},
        at=at,
        by=by,
        key=key,
        what=f"{before}, entered as {before.shade}{f': {why}' if why else ''}",
    )
    if written or made is None:
        return Corrected(made, written[0] if written else None, holders)
    after = Spool.objects.select_related("shade__range", "put_up").get(pk=spool.pk)
    length_mm = _length_now(before, after)
    if length_mm is None or (length_mm == before.on_hand and before.known != Known.WEIGHED):
        return Corrected(made, None, holders)
    entry = find(
        after,
        quantity=length_mm,
        finding=Finding(_sigma_now(after, length_mm), before.known),
        key=key,
        at=at,
        by=by,
        reference=f"corrected: {why}"[:120] if why else "corrected",
    )
    return Corrected(made, entry, holders)


def _length_now(before: Spool, after: Spool) -> int | None:
    """Return what is on a spool that is something else than was thought; None where that tells nothing new of it."""
    if before.known == Known.WEIGHED and None not in (before.empty_weight_mg, after.empty_weight_mg):
        gross_mg = weight_of_length(
            length_mm=before.on_hand, tex=before.shade.range.tex, tare_mg=before.empty_weight_mg or 0
        )
        tare_mg = after.empty_weight_mg or 0
        return round(
            length_from_weight(
                gross_mg=max(round(gross_mg), tare_mg), tare_mg=tare_mg, tex=after.shade.range.tex
            )
        )
    never_used = before.opened_on is None and before.put_up is not None
    if before.known == Known.SEALED and never_used and after.put_up is not None:
        return after.put_up.length_mm
    return None


def _sigma_now(after: Spool, length_mm: int) -> float:
    if after.known == Known.SEALED:
        return sealed_sigma(length_mm)
    # The step of the scale is not kept; a gram is the coarsest in use: common practice, no source.
    return sigma_by_weight(after, length_mm, 1000)


def shade_meant(text: str) -> Shade:
    """Return the shade that a person types: its code, with maker and range before it where the code is not enough."""
    words = text.split()
    found: Sequence[Shade] = list(
        Shade.objects.filter(code__iexact=words[-1]).select_related("range") if words else []
    )
    wanted = " ".join(words).casefold()
    exact = [each for each in found if f"{each.range} {each.code}".casefold() == wanted]
    chosen = exact or (list(found) if len(words) == 1 else [])
    if len(chosen) == 1:
        return chosen[0]
    some = "; ".join(f"{each.range} {each.code}" for each in found[:5])
    hint = _("Did you mean {some}?").format(some=some) if some else _("Type maker, range and code.")
    raise ShadeNotClear(
        _('"{text}" means several shades. Type it in full: {some}.').format(text=text.strip(), some=some)
        if len(chosen) > 1
        else _('No shade is called "{text}". {hint}').format(text=text.strip(), hint=hint)
    )
