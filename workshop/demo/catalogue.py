"""The demo's catalogue: ranges, shades, put-ups, places, bobbin styles, stabilizers and suppliers.

What is there already stays as it is, so that loading the demo again undoes nobody's changes.
"""

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db.models import Q

from inventory.models import (
    BobbinStyle,
    EarlierCode,
    Offer,
    Place,
    PriceBreak,
    PutUp,
    Shade,
    StabilizerProduct,
    Supplier,
    ThreadRange,
)
from workshop.demo.files import DemoFiles


@dataclass(frozen=True)
class Catalogue:
    """Records by the names that the demo's files use; a code stands for one shade of the demo."""

    shades: dict[str, Shade]
    put_ups: dict[tuple[int, str], PutUp]  # by range and name
    places: dict[str, Place]
    styles: dict[str, BobbinStyle]
    products: dict[str, StabilizerProduct]


def lay_out_catalogue(files: DemoFiles) -> Catalogue:
    """Return the demo's catalogue, with what was missing of it made."""
    workshop = files.workshop
    ranges = _ranges(workshop["ranges"])
    Place.objects.bulk_create([Place(**row) for row in workshop["places"]], ignore_conflicts=True)
    BobbinStyle.objects.bulk_create(
        [BobbinStyle(**row) for row in workshop["bobbin_styles"]], ignore_conflicts=True
    )
    StabilizerProduct.objects.bulk_create(
        [StabilizerProduct(**row) for row in workshop["stabilizers"]], ignore_conflicts=True
    )
    catalogue = Catalogue(
        shades=_shades(files, ranges),
        put_ups=_put_ups(workshop["ranges"], ranges),
        places=Place.objects.in_bulk([row["name"] for row in workshop["places"]], field_name="name"),
        styles=BobbinStyle.objects.in_bulk(
            [row["name"] for row in workshop["bobbin_styles"]], field_name="name"
        ),
        products={
            product.name: product
            for product in StabilizerProduct.objects.filter(_named(workshop["stabilizers"]))
        },
    )
    for row in workshop["suppliers"]:
        _supplier(row, catalogue, ranges)
    return catalogue


def _named(rows: list[dict[str, Any]]) -> Q:
    """Whatever bears the maker and the name of one of the rows."""
    named = Q(pk__in=[])
    for row in rows:
        named |= Q(maker=row["maker"], name=row["name"])
    return named


def _ranges(rows: list[dict[str, Any]]) -> dict[tuple[str, str], ThreadRange]:
    ThreadRange.objects.bulk_create(
        [ThreadRange(**{key: value for key, value in row.items() if key != "put_ups"}) for row in rows],
        ignore_conflicts=True,
    )
    return {(each.maker, each.name): each for each in ThreadRange.objects.filter(_named(rows))}


def _put_ups(
    rows: list[dict[str, Any]], ranges: dict[tuple[str, str], ThreadRange]
) -> dict[tuple[int, str], PutUp]:
    PutUp.objects.bulk_create(
        [
            PutUp(
                range=ranges[row["maker"], row["name"]],
                name=put_up["name"],
                length_mm=put_up["length_m"] * 1000,
                tare_mg=round(put_up["tare_g"] * 1000),
            )
            for row in rows
            for put_up in row["put_ups"]
        ],
        ignore_conflicts=True,
    )
    return {
        (put_up.range_id, put_up.name): put_up for put_up in PutUp.objects.filter(range__in=ranges.values())
    }


def _shades(files: DemoFiles, ranges: dict[tuple[str, str], ThreadRange]) -> dict[str, Shade]:
    Shade.objects.bulk_create(
        [
            Shade(
                range=ranges[row["maker"], row["range"]],
                code=row["code"],
                name=row["name"],
                lab_l=float(row["lab_l"]),
                lab_a=float(row["lab_a"]),
                lab_b=float(row["lab_b"]),
                colour_source=row["colour_source"],
            )
            for row in files.shades
        ],
        ignore_conflicts=True,
    )
    shades = {
        shade.code: shade for shade in Shade.objects.filter(range__in=ranges.values()).select_related("range")
    }
    EarlierCode.objects.bulk_create(
        [
            EarlierCode(shade=shades[row["code"]], code=row["earlier_code"])
            for row in files.shades
            if row["earlier_code"]
        ],
        ignore_conflicts=True,
    )
    return shades


def _supplier(row: dict[str, Any], catalogue: Catalogue, ranges: dict[tuple[str, str], ThreadRange]) -> None:
    supplier, is_new = Supplier.objects.get_or_create(
        name=row["name"],
        defaults={
            "lead_time_days": row["lead_time_days"],
            "shipping": Decimal(row["shipping"]),
            "free_shipping_from": Decimal(row["free_shipping_from"]),
        },
    )
    if not is_new:  # its offers came with it, and may have been edited since
        return
    offers = [
        Offer(
            put_up=catalogue.put_ups[ranges[offer["maker"], offer["range"]].pk, offer["put_up"]],
            **_price(offer),
        )
        for offer in row["thread_offers"]
    ]
    offers += [
        Offer(
            bobbin_style=catalogue.styles[offer["style"]],
            shade=catalogue.shades[offer["shade"]],
            bobbin_length_mm=offer["length_m"] * 1000,
            **_price(offer),
        )
        for offer in row["bobbin_offers"]
    ]
    offers += [
        Offer(
            product=catalogue.products[offer["product"]],
            roll_width_mm=offer["width_mm"],
            roll_length_mm=offer["length_m"] * 1000,
            **_price(offer),
        )
        for offer in row["roll_offers"]
    ]
    for offer in offers:
        offer.supplier = supplier
    Offer.objects.bulk_create(offers)
    rows = [*row["thread_offers"], *row["bobbin_offers"], *row["roll_offers"]]
    PriceBreak.objects.bulk_create(
        PriceBreak(offer=offer, from_packs=int(packs), price=Decimal(price))
        for offer, told in zip(offers, rows, strict=True)
        for packs, price in told.get("steps", {}).items()
    )


def _price(offer: dict[str, Any]) -> dict[str, Any]:
    return {"pack": offer.get("pack", 1), "price": Decimal(offer["price"])}
