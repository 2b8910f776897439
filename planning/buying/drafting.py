"""From the basket to orders: drafted from what is there now, once, and only as it was shown."""

from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.acting import PlanHasChanged, fingerprint_of, planned_act, refuse_if_changed
from inventory.models import Order, Shade
from inventory.orders.orders import OrderedThing, draft_order
from planning.buying.basket import BasketPlan


class AlreadyDrafted(PlanHasChanged):
    """What was to be drafted is on a draft by now; ``orders`` are those that wait to be sent."""

    def __init__(self, orders: Sequence[Order]) -> None:
        self.orders = tuple(orders)
        told = ", ".join(
            _("order {number} to {supplier}").format(number=each.number, supplier=each.supplier)
            for each in self.orders
        )
        super().__init__(
            ngettext(
                "This is drafted already: {orders}. Nothing was drafted again; look it over and send it.",
                "This is drafted already: {orders}. Nothing was drafted again; look them over and send them.",
                len(self.orders),
            ).format(orders=told)
        )


def shown_of(plan: BasketPlan) -> str:
    """Return the fingerprint of a basket and of the drafts there are; the page sends it back with the drafting."""
    return fingerprint_of(_drafted_parts(plan))


def _drafted_parts(plan: BasketPlan, *, own: str = "") -> dict[str, Any]:
    """Return what a person decides on, named as a sentence says it, without the drafts whose key begins with ``own``.

    What is on a draft is not proposed again, so that a list that was drafted meanwhile is another list.
    """
    drafts = Order.objects.filter(state=Order.State.DRAFT).order_by("number")
    return {
        _("what is bought"): [
            (
                part.supplier.pk,
                [(line.sold.offer.pk, line.sold.material.key, line.bought.packs) for line in part.lines],
            )
            for part in plan.parts
        ],
        _("the prices"): [
            (str(part.shipping), [str(line.bought.cost) for line in part.lines]) for part in plan.parts
        ],
        _("the orders that are drafted already"): [
            order.number for order in drafts if not (own and order.key.startswith(own))
        ],
    }


@planned_act
def draft_orders(
    reckon: Callable[[], BasketPlan],
    *,
    key: str,
    at: datetime,
    by: Any,
    only: str = "",
    shown: str | None = None,
) -> list[Order]:
    """Return a draft order for each supplier of the basket that ``reckon`` gives now, or for the one that is named.

    The same key makes them once. ``shown`` is the fingerprint (``shown_of``) of the basket that a person saw:
    PlanHasChanged if it is another by now, or if others have drafted meanwhile; None drafts whatever it is.
    AlreadyDrafted where all that was asked for is on drafts by now.
    """
    alone = f"{key}:only:"
    earlier = _drafted_under(key, alone=alone, only=only)
    if earlier:
        return earlier
    plan = reckon()
    if not any(only in ("", part.supplier.name) for part in plan.parts):
        waiting = Order.objects.filter(state=Order.State.DRAFT).select_related("supplier").order_by("number")
        drafts = [order for order in waiting if only in ("", order.supplier.name)]
        if drafts:
            raise AlreadyDrafted(drafts)
    if shown is not None:
        # The other parts of the same page may have been drafted one by one.
        parts = _drafted_parts(plan, own=alone if only else "")
        refuse_if_changed(shown, parts, look=_("Look at the list as it is now, then draft the orders."))
    return [
        draft_order(
            part.supplier,
            things=[
                OrderedThing(
                    offer=line.sold.offer,
                    packs=line.bought.packs,
                    total=line.bought.cost,
                    shade=line.sold.material.record if isinstance(line.sold.material.record, Shade) else None,
                )
                for line in part.lines
            ],
            key=f"{alone if only else f'{key}:'}{part.supplier.pk}",
            at=at,
            by=by,
            shipping=part.shipping,
        )
        for part in plan.parts
        if only in ("", part.supplier.name)
    ]


def _drafted_under(key: str, *, alone: str, only: str) -> list[Order]:
    """Return what the same request drafted before: for the supplier that was named, or for all of them at once."""
    orders = Order.objects.filter(key__startswith=f"{key}:").order_by("number").select_related("supplier")
    return [
        order
        for order in orders
        if order.key.startswith(alone) == bool(only) and only in ("", order.supplier.name)
    ]
