"""Plain functions that make what a test needs, each with only the particulars that the test is about."""

import itertools
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from inventory.compute.colour.lab import lab_from_hex
from inventory.ledger import Finding, find, use
from inventory.models import (
    BobbinBatch,
    BobbinStyle,
    Offer,
    Place,
    PutUp,
    Shade,
    Spool,
    StabilizerProduct,
    StabilizerRoll,
    StockItem,
    Supplier,
    ThreadRange,
)
from inventory.shelf.receipts import Delivery, receive_bobbins, receive_rolls, receive_spools

NOW = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
_numbers = itertools.count(1)


def a_key() -> str:
    """Return a request key that no other request has."""
    return f"test-{next(_numbers)}"


def a_delivery(**particulars: Any) -> Delivery:
    return Delivery(**({"key": a_key(), "at": NOW, "by": None} | particulars))


def a_range(maker: str = "Skerry", name: str = "Forty", **particulars: Any) -> ThreadRange:
    defaults = {"tex": 27.0, "fibre": "polyester", "weight_label": "40"} | particulars
    return ThreadRange.objects.get_or_create(maker=maker, name=name, defaults=defaults)[0]


def a_put_up(range: ThreadRange | None = None, *, metres: int = 1000, tare_mg: int | None = 12_000) -> PutUp:
    range = range or a_range()
    return PutUp.objects.get_or_create(
        range=range, name=f"{metres} m spool", defaults={"length_mm": metres * 1000, "tare_mg": tare_mg}
    )[0]


def a_shade(
    code: str | None = None, *, hex: str = "#b01c2e", range: ThreadRange | None = None, name: str = ""
) -> Shade:
    lab = lab_from_hex(hex)
    return Shade.objects.create(
        range=range or a_range(),
        code=code or f"C{next(_numbers)}",
        name=name,
        lab_l=lab.L,
        lab_a=lab.a,
        lab_b=lab.b,
    )


def a_place(name: str = "wall") -> Place:
    return Place.objects.get_or_create(name=name)[0]


def a_spool(
    shade: Shade | None = None, *, metres: int = 1000, left_m: int | None = None, **delivery: Any
) -> Spool:
    """Return a spool of ``metres``, of which ``left_m`` were found on it by weighing where given."""
    shade = shade or a_shade()
    put_up = a_put_up(shade.range, metres=metres)
    spool = receive_spools(shade, put_up=put_up, delivery=a_delivery(**delivery))[0]
    if left_m is not None:
        weighed = Finding(sigma=5_000.0, known=StockItem.Known.WEIGHED)
        find(spool, quantity=left_m * 1000, finding=weighed, key=a_key(), at=NOW, by=None, reason="weigh")
        spool.refresh_from_db()
    return spool


def a_bobbin_style(name: str = "L", *, outer_mm: float = 20.3, width_mm: float = 8.9) -> BobbinStyle:
    return BobbinStyle.objects.get_or_create(
        name=name, defaults={"outer_diameter_mm": outer_mm, "width_mm": width_mm}
    )[0]


def some_bobbins(style: BobbinStyle | None = None, *, count: int = 20, metres: int = 100) -> BobbinBatch:
    thread = a_range("Skerry", "Under", purpose="bobbin", tex=16.67, weight_label="60")
    shade = thread.shades.first() or a_shade("W", hex="#ffffff", range=thread, name="white")
    return receive_bobbins(
        style or a_bobbin_style(), shade=shade, length_mm=metres * 1000, count=count, delivery=a_delivery()
    )


def a_stabilizer(
    kind: str = "tear-away", *, weight_g_m2: float = 50.0, **particulars: Any
) -> StabilizerProduct:
    return StabilizerProduct.objects.get_or_create(
        maker="Skerry",
        name=f"{kind} {weight_g_m2:g}",
        defaults={"kind": kind, "weight_g_m2": weight_g_m2} | particulars,
    )[0]


def a_roll(
    product: StabilizerProduct | None = None, *, width_mm: int = 500, metres: int = 10
) -> StabilizerRoll:
    return receive_rolls(
        product or a_stabilizer(), width_mm=width_mm, length_mm=metres * 1000, delivery=a_delivery()
    )[0]


def an_offer(
    put_up: PutUp, *, price: str = "4.20", lead_time_days: int = 5, supplier: str = "Quay Supplies"
) -> Offer:
    who = Supplier.objects.get_or_create(name=supplier, defaults={"lead_time_days": lead_time_days})[0]
    return Offer.objects.create(supplier=who, put_up=put_up, price=Decimal(price))


def a_roll_offer(
    product: StabilizerProduct | None = None, *, price: str = "30.00", supplier: str = "Quay Supplies"
) -> Offer:
    who = Supplier.objects.get_or_create(name=supplier)[0]
    return Offer.objects.create(
        supplier=who,
        product=product or a_stabilizer(),
        roll_width_mm=500,
        roll_length_mm=10_000,
        price=Decimal(price),
    )


def use_up(item: StockItem, quantity: int, *, at: datetime = NOW) -> None:
    """Take ``quantity`` off an item."""
    use(item, quantity=quantity, key=a_key(), at=at, by=None)
