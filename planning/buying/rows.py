"""The rows of the shopping list as plain data: what scripts read of needs and of the basket for them."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from planning.buying.basket import BasketLine, BasketPlan
from planning.buying.materials import Material
from planning.buying.needs import MaterialNeed, Needs
from planning.compute.buying.basket import (
    Bought,
)


def shopping_rows_of_all(plan: BasketPlan, needs: Needs) -> list[dict[str, Any]]:
    """Return one row for each thing to buy, and one for each that nobody sells: money as text, lengths in mm."""
    rows = []
    for part in plan.parts:
        for line in part.lines:
            rows.append(_row(line.covers, line))
    rows += [_row((need,), None) for need in plan.unsold]
    return [row | _of_basket(plan) for row in rows]


def _of_basket(plan: BasketPlan) -> dict[str, str | None]:
    """Return what is said of the whole basket, the same in each row: how far it is proven, what one dye lot costs."""
    basket, split = plan.basket, plan.split
    return {
        "basket_total": str(basket.total),
        "basket_proof": str(basket.proof) if basket.proof else None,
        "basket_bound": str(basket.bound) if basket.bound is not None else None,
        "one_lot_costs": str(split.costs) if split else None,
        "split_total": str(split.total) if split and split.costs else None,
    }


def _row(needs: Sequence[MaterialNeed], line: BasketLine | None) -> dict[str, Any]:
    first = needs[0] if needs else None
    material = line.sold.material if line else first.material if first else None
    assert material is not None  # a row is of a line, or of a need
    missing = sum(need.missing for need in needs)
    length_mm = _bobbin_length_mm(material) if material.kind == "bobbins" else 1
    is_length = material.unit == "mm" or material.kind == "bobbins"
    order_by = line.order_by if line else first.order_by if first else None
    days = [need.needed_on for need in needs if need.needed_on]
    return {
        "what": f"{material.detail} {material.name}".strip()
        if material.kind == "thread"
        else "Needles"
        if material.kind == "needles"
        else material.name,
        "need_mm": missing * length_mm if is_length else 0,
        "packs": line.bought.packs if line else 0,
        "put_up": line.put_up if line else "",
        "supplier": line.bought.offer.supplier if line else "",
        "unit_price": str(_unit_price(line.bought)) if line else None,
        "total": str(line.bought.cost) if line else None,
        "order_by": order_by.isoformat() if order_by else None,
        "kind": material.kind,
        "need_pieces": missing if material.unit == "pieces" else 0,
        "need_mg": missing if material.unit == "mg" else 0,
        "needed_on": min(days).isoformat() if days else None,
        "jobs": sorted({job.job for need in needs for job in need.jobs}),
        "kept_for": next((need.kept_for for need in needs if need.kept_for), ""),
    }


def _what(material: Material) -> str:
    """Return what is bought; what the program itself names is alike in every language."""
    if material.kind == "needles":
        return "Needles"
    return f"{material.detail} {material.name}".strip() if material.kind == "thread" else material.name


def _bobbin_length_mm(material: Material) -> int:
    return int(material.record.length_mm)


def _unit_price(bought: Bought) -> Decimal:
    """What a pack costs on average: further packs may be cheaper than the first."""
    return (bought.cost / bought.packs).quantize(Decimal("0.01"))
