"""What the commands about orders share: from a number to its order, and an order as data."""

from typing import Any

from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.models import Order


def order_numbered(number: int) -> Order:
    """Return the order with this number, with its lines, or refuse with those there are."""
    order = Order.objects.with_lines().filter(number=number).first()
    if order is None:
        known = ", ".join(str(each.number) for each in Order.objects.all()[:10]) or _("none yet")
        raise WorkshopError(
            _("There is no order {number}. There are: {known}.").format(number=number, known=known)
        )
    return order


def order_as_data(order: Order) -> dict[str, Any]:
    """Return an order as JSON-ready data: money as text, days in ISO 8601."""
    return {
        "order": order.number,
        "supplier": order.supplier.name,
        "stands": order.stands,
        "expected_on": order.expected_on.isoformat() if order.expected_on else None,
        "goods": str(order.goods),
        "shipping": str(order.shipping),
        "total": str(order.total),
        "lines": [
            {
                "line": line.number,
                "what": line.what,
                "sold_as": line.sold_as,
                "packs": line.packs,
                "pieces": line.things,
                "received": line.received,
                "given_up": line.given_up,
                "to_come": line.to_come,
                "total": str(line.total),
            }
            for line in order.lines.all()
        ],
    }
