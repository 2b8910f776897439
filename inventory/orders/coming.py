"""What is on its way, and when: what placed orders and drafts still bring of each material. Asked here alone."""

from collections import defaultdict
from collections.abc import Mapping
from datetime import date, timedelta

from inventory.compute.on_the_way import OnTheWay
from inventory.ledger.use_history import bobbin_material, roll_material, shade_material
from inventory.models import (
    BobbinBatch,
    Order,
    OrderLine,
    OrderReceipt,
    Spool,
    SprayCan,
    StabilizerRoll,
    StockItem,
)

# The tables that it rests on.
ON_ORDER = (Order, OrderLine, OrderReceipt)


def on_the_way(*, today: date) -> Mapping[str, tuple[OnTheWay, ...]]:
    """Return what is on its way by material, the soonest first; drafts stand behind what is sent."""
    found: dict[str, list[OnTheWay]] = defaultdict(list)
    waiting = OrderLine.objects.not_all_there().filter(
        order__state__in=[Order.State.PLACED, Order.State.DRAFT]
    )
    for line in waiting.select_related("order__supplier"):
        order, supplier = line.order, line.order.supplier
        is_draft = order.state == Order.State.DRAFT
        expected: date | None = order.expected_on
        assert is_draft or expected is not None  # held by a constraint for placed orders
        material = material_of_line(line)
        found[material].append(
            OnTheWay(
                material=material,
                order=order.number,
                supplier=str(supplier),
                day=today + timedelta(days=supplier.lead_time_days) if is_draft or not expected else expected,
                quantity=float(line.to_come * line.holds),
                is_draft=is_draft,
                width_mm=line.roll_width_mm or 0,
            )
        )
    return {
        key: tuple(sorted(each, key=lambda one: (one.is_draft, one.day, one.order)))
        for key, each in found.items()
    }


def coming_of(item: StockItem, *, today: date) -> tuple[OnTheWay, ...]:
    """Return what is on its way of the material that a thing on the shelf, read as its own kind, is of."""
    if isinstance(item, Spool):
        material = shade_material(item.shade_id)
    elif isinstance(item, BobbinBatch):
        material = bobbin_material(item.style_id, item.shade_id)
    elif isinstance(item, StabilizerRoll | SprayCan):
        material = roll_material(item.product_id)
    else:
        return ()
    return on_the_way(today=today).get(material, ())


def material_of_line(line: OrderLine) -> str:
    """Return the material that an order line is of."""
    if line.product_id is not None:
        return roll_material(line.product_id)
    assert line.shade_id is not None  # held by a constraint
    if line.bobbin_style_id is not None:
        return bobbin_material(line.bobbin_style_id, line.shade_id)
    return shade_material(line.shade_id)
