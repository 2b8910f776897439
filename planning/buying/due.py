"""What of buying is due: what is to be ordered today or was to be, and which orders wait for a word."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.utils.translation import gettext as _

from inventory.acting.days import near_day
from inventory.models import Order
from planning.buying.basket import BasketLine, BasketPlan
from planning.buying.needs import MaterialNeed, Needs

# What is to be ordered within so many days is told on the first page. Judged, no source.
SOON_DAYS = 2


@dataclass(frozen=True)
class WaitingOrder:
    """A draft that is to be sent, or an order whose day has passed; ``send_by`` is None where nothing hurries it."""

    order: Order
    send_by: date | None
    days_late: int


def waiting_orders(needs: Needs, *, today: date) -> list[WaitingOrder]:
    """Return the drafts and the orders that are overdue, the most pressing first."""
    send_by: dict[int, date] = {}
    for need in needs.needs:
        for each in need.material.orders:
            if each.is_draft and need.send_by:
                send_by[each.order] = min(need.send_by, send_by.get(each.order, need.send_by))
    found = []
    for order in Order.objects.with_lines().filter(state__in=[Order.State.DRAFT, Order.State.PLACED]):
        late = (today - order.expected_on).days if order.is_open and order.expected_on else 0
        if order.state == Order.State.DRAFT or late > 0:
            found.append(WaitingOrder(order, send_by.get(order.number), late))
    return sorted(found, key=lambda each: (each.send_by or date.max, -each.days_late, each.order.number))


def to_order(needs: Needs, *, today: date) -> Sequence[MaterialNeed]:
    """Return what has to be ordered by now, what is late first: it is missing, and on no order and no draft."""
    due = [
        need for need in needs.to_buy if need.order_by and need.order_by <= today + timedelta(days=SOON_DAYS)
    ]
    return sorted(due, key=lambda need: need.order_by or date.max)


def headline(plan: BasketPlan, *, today: date) -> str:
    """Return in a few words what is to be ordered first, and by when."""
    lines = sorted(
        (line for part in plan.parts for line in part.lines), key=lambda line: line.order_by or date.max
    )
    first = [line for line in lines if line.order_by == lines[0].order_by or _is_due(line, today)]
    name = first[0].sold.material.name
    more = len(first) - 1
    what = _("{name} and {more} more").format(name=name, more=more) if more else name
    by = lines[0].order_by
    if by is None:
        return _("Order {what}").format(what=what)
    if by <= today:
        return _("Order {what} today").format(what=what)
    return _("Order {what} by {day}").format(what=what, day=near_day(by))


def _is_due(line: BasketLine, today: date) -> bool:
    return line.order_by is not None and line.order_by <= today
