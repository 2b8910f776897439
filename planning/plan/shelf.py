"""What the planner reads from the shelf, in a number of queries that does not grow with it."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from types import MappingProxyType

from django.db.models import BooleanField, ExpressionWrapper, Q, QuerySet

from inventory.compute.knowing import NOTHING_CUT
from inventory.compute.left_out import LeftOut, Why, spools_of
from inventory.compute.names.weight_labels import same_weight
from inventory.compute.spoken import _
from inventory.compute.units import told_mass_plainly, told_roll
from inventory.models import (
    BobbinBatch,
    BobbinStyle,
    Offcut,
    Offer,
    PartBobbin,
    Reservation,
    Shade,
    SheetPack,
    Spool,
    SprayCan,
    StabilizerProduct,
    StabilizerRoll,
    StockItem,
    ThreadRange,
)
from inventory.schema.unchanged import read_as, while_unchanged
from inventory.shelf.offcuts import cut_of_open
from planning.compute.batch.asked import BobbinStock, Shelf
from planning.compute.buying.packs import PackOffer
from planning.compute.colour.choice import OwnedShade, OwnedSpool
from planning.compute.stabilizer.cutting import Flat, Roll
from planning.compute.stabilizer.spraying import Can
from planning.compute.stabilizer.supply import StabilizerStock
from planning.plan.bobbins import bobbins_by_kind
from planning.plan.spools_read import SpoolsRead, owned, spools_on_the_shelf, unit_price
from planning.plan.suits import ranges_without_a_weight

_SEALED_LAST = ExpressionWrapper(Q(opened_on__isnull=True), BooleanField())
NOTHING: Mapping[int, int] = MappingProxyType({})
_STABILIZER = {
    StockItem.Kind.ROLL: "rolls of stabilizer",
    StockItem.Kind.SHEETS: "packs of stabilizer",
    StockItem.Kind.OFFCUT: "offcuts of stabilizer",
    StockItem.Kind.CAN: "cans of spray",
}


def shelf(
    *,
    fibre: str = "",
    weight_label: str = "",
    bobbin_style: BobbinStyle | None = None,
    holder: str = "",
    own: Mapping[int, int] | None = None,
) -> Shelf:
    """Return what is free: needle thread of this fibre and weight (empty: any), bobbins of the style, stabilizer.

    What is set aside for the ``holder`` counts as free, or what ``own`` says of each item instead. It is read once for
    as long as nothing is committed.
    """
    own = set_aside_for(holder) if own is None else own
    return while_unchanged(
        # What packs are called, and the notes, are words.
        (
            "shelf",
            read_as(),
            fibre,
            weight_label,
            getattr(bobbin_style, "pk", None),
            frozenset(own.items()),
        ),
        lambda: _shelf(fibre=fibre, weight_label=weight_label, bobbin_style=bobbin_style, own=own),
    )


def _shelf(
    *, fibre: str, weight_label: str, bobbin_style: BobbinStyle | None, own: Mapping[int, int]
) -> Shelf:
    known = _known_shades()
    spools = spools_on_the_shelf()
    wanted = [shade for shade in known if _unwanted(shade, fibre=fibre, weight_label=weight_label) is None]
    shades = _with_spools(wanted, spools, own)
    offers = thread_offers(shades)
    return Shelf(
        shades=tuple(shade for shade in shades if shade.spools),
        bobbins=bobbin_stock(bobbin_style, own=own),
        stabilizer=stabilizer_stock(own=own),
        thread_offers=offers,
        on_offer=tuple(shade for shade in shades if not shade.spools and offers[shade.id]),
        left_out=(
            *_spools_left_out(known, spools, own, fibre=fibre, weight_label=weight_label),
            *_never_sold(shades, offers),
            *_not_counted_on(),
        ),
        notes=ranges_without_a_weight(wanted, set(spools.shades), weight_label=weight_label),
    )


def set_aside_for(*holders: str) -> dict[int, int]:
    """Return the quantity of each item that is set aside for these ``holders`` together."""
    own: dict[int, int] = defaultdict(int)
    if any(holders):
        held = Reservation.objects.filter(holder__in=holders)
        for item_id, quantity in held.values_list("item_id", "quantity"):
            own[item_id] += quantity
    return own


def needle_shades(
    *, fibre: str = "", weight_label: str = "", own: Mapping[int, int] = NOTHING
) -> tuple[OwnedShade, ...]:
    """Return the needle shades that are known, owned or not, each with its spools in shelf order."""
    spools = spools_on_the_shelf()
    wanted = [
        shade for shade in _known_shades() if _unwanted(shade, fibre=fibre, weight_label=weight_label) is None
    ]
    return _with_spools(wanted, spools, own)


def _known_shades() -> list[Shade]:
    return list(Shade.objects.prefetch_related("range"))


def _unwanted(shade: Shade, *, fibre: str, weight_label: str) -> Why | None:
    """Return why a shade is not to choose from; a weight that nobody wrote down may be the wanted one."""
    if shade.range.purpose != ThreadRange.Purpose.NEEDLE:
        return "purpose"
    if fibre and shade.range.fibre != fibre:
        return "fibre"
    return "weight" if weight_label and same_weight(shade.range.weight_label, weight_label) is False else None


def _with_spools(
    shades: Iterable[Shade], spools: SpoolsRead, own: Mapping[int, int]
) -> tuple[OwnedShade, ...]:
    by_shade: dict[int, list[OwnedSpool]] = defaultdict(list)
    for shade_id, spool in spools.for_holder(own):
        by_shade[shade_id].append(spool)
    return tuple(
        OwnedShade(
            id=shade.pk,
            range_id=shade.range_id,
            maker=shade.range.maker,
            range=shade.range.name,
            code=shade.code,
            name=shade.name,
            hex=shade.hex,
            lab=shade.lab,
            spools=tuple(by_shade[shade.pk]),
            sigma=shade.sigma,
            fibre=shade.range.fibre,
        )
        for shade in shades
    )


def _spools_left_out(
    known: Iterable[Shade],
    spools: SpoolsRead,
    own: Mapping[int, int],
    *,
    fibre: str,
    weight_label: str,
) -> list[LeftOut]:
    """Return the spools on the shelf that a plan cannot choose from, by range and reason."""
    by_id = {shade.pk: shade for shade in known}
    found: dict[tuple[str, Why], list[str]] = defaultdict(list)
    for spool, shade_id in zip(spools.spools, spools.shades, strict=True):
        shade = by_id[shade_id]
        why = _unwanted(shade, fibre=fibre, weight_label=weight_label)
        if why is None and shade.lab is None:
            why = "colour"
        if why is None and spool.id in spools.unknown:
            why = "quantity"
        if why is None and spools.reserved.get(spool.id, 0) > own.get(spool.id, 0):
            why = "set aside"
        if why is not None:
            found[spools_of(shade.range.maker, shade.range.name), why].append(spool.label)
    return [LeftOut(what, len(labels), why, tuple(labels)) for (what, why), labels in found.items()]


def _never_sold(shades: Iterable[OwnedShade], offers: Mapping[int, tuple[PackOffer, ...]]) -> list[LeftOut]:
    """Return how many shades of the wanted kind are neither owned nor sold by anybody."""
    count = sum(not shade.spools and not offers[shade.id] for shade in shades)
    return [LeftOut("shades of the catalogue", count, "no seller")] if count else []


def _not_counted_on() -> list[LeftOut]:
    """Return the stabilizer on the shelf of which nobody knows how much it is, and how many spools are off it."""
    retired = Q(kind=StockItem.Kind.SPOOL, retired_at__isnull=False)
    unknown = Q(kind__in=_STABILIZER, retired_at__isnull=True, known=StockItem.Known.UNKNOWN)
    found: dict[str, list[str]] = defaultdict(list)
    for kind, label in (
        StockItem.objects.filter(retired | unknown).order_by("label").values_list("kind", "label")
    ):
        found[kind].append(label)
    gone = len(found.pop(StockItem.Kind.SPOOL, ()))
    return [
        *(
            LeftOut(_STABILIZER[StockItem.Kind(kind)], len(labels), "quantity", tuple(labels))
            for kind, labels in found.items()
        ),
        *([LeftOut("spools", gone, "retired")] if gone else []),
    ]


def thread_offers(shades: Iterable[OwnedShade]) -> dict[int, tuple[PackOffer, ...]]:
    """Return for each shade the packs it can be bought in."""
    by_range = offers_by_range(Offer.objects.filter(put_up__isnull=False).cheapest_first())
    return {
        shade.id: tuple(
            _pack(offer, holds=offer.put_up.length_mm)
            for offer in by_range.get(shade.range_id, ())
            if offer.put_up is not None and is_of(offer, shade.id)
        )
        for shade in shades
    }


def bobbin_stock(style: BobbinStyle | None, *, own: Mapping[int, int] = NOTHING) -> BobbinStock | None:
    """Return the full bobbins of ``style`` with most thread free; None where the machine's style is not known."""
    if style is None:
        return None

    def free(batch: BobbinBatch) -> int:
        return batch.free + own.get(batch.pk, 0)

    batches = BobbinBatch.objects.filter(style=style, retired_at__isnull=True).select_related("shade__range")
    kinds = bobbins_by_kind(batches, free=free)
    if not kinds:
        return None
    chosen = kinds[0]
    shade_id, length_mm = chosen[0].shade_id, chosen[0].length_mm
    offers = Offer.objects.filter(bobbin_style=style, shade_id=shade_id).cheapest_first()
    paid = [price for batch in chosen if (price := unit_price(batch)) is not None]
    shade = chosen[0].shade
    return BobbinStock(
        thread=f"{shade.range} {shade.code} {shade.name}".strip() + f", {style}",
        count=sum(map(free, chosen)),
        length_mm=float(length_mm),
        sigma=sum(batch.sigma or 0.0 for batch in chosen),
        offers=tuple(_pack(offer, holds=1) for offer in offers),
        price_each=max(paid, default=None),
        range_id=shade.range_id,
        style_id=style.pk,
        shade_id=shade_id,
        parts=tuple(
            owned(part, own)
            for part in PartBobbin.objects.filter(style=style, shade_id=shade_id, retired_at__isnull=True)
            .select_related("place")
            .order_by("on_hand", "label")
            if part.free + own.get(part.pk, 0)
        ),
        wind_from=tuple(
            owned(spool, own)
            for spool in Spool.objects.on_the_shelf()
            .filter(shade_id=shade_id)
            .select_related("place")
            .in_shelf_order()
        ),
    )


def stabilizer_stock(*, own: Mapping[int, int] = NOTHING) -> tuple[StabilizerStock, ...]:
    """Return every product with its free rolls, sheets, offcuts and cans.

    In the order in which they are cut where it makes no difference to the length: opened rolls first, of those the
    shortest, so that the rest that is of no use is least.
    """
    rolls = _by_product(StabilizerRoll.objects.order_by(_SEALED_LAST, "on_hand", "label"))
    sheets = _by_product(SheetPack.objects.order_by("label"))
    offcuts = _by_product(Offcut.objects.order_by("label"))
    cans = _by_product(SprayCan.objects.order_by(_SEALED_LAST, "on_hand", "label"))
    cut = cut_of_open([roll for of_product in rolls.values() for roll in of_product])
    offers: dict[int, list[tuple[int, PackOffer]]] = defaultdict(list)
    for offer in Offer.objects.filter(product__isnull=False, can_mg__isnull=True).cheapest_first():
        assert offer.product_id
        assert offer.roll_width_mm
        assert offer.roll_length_mm
        offers[offer.product_id].append((offer.roll_width_mm, _pack(offer, holds=offer.roll_length_mm)))
    return tuple(
        StabilizerStock(
            product=str(product),
            kind=product.kind,
            weight_g_m2=product.weight_g_m2,
            has_grain=product.has_grain,
            rolls=tuple(
                Roll(
                    roll.label,
                    roll.width_mm,
                    roll.free + own.get(roll.pk, 0),
                    roll.sigma or 0.0,
                    unit_price(roll),
                    cut.get(roll.pk, NOTHING_CUT),
                )
                for roll in rolls[product.pk]
            ),
            flats=tuple(
                Flat(
                    flat.label,
                    flat.width_mm,
                    flat.height_mm,
                    flat.free + own.get(flat.pk, 0),
                    unit_price(flat),
                )
                for flat in [*offcuts[product.pk], *sheets[product.pk]]
                if flat.free + own.get(flat.pk, 0)
            ),
            roll_offers=tuple(offers[product.pk]),
            price_per_mm2=_price_per_mm2(rolls[product.pk], offers[product.pk]),
            product_id=product.pk,
            holds_by=product.holds_by,
            comes_off=product.comes_off,
            cans=tuple(
                Can(can.label, can.free + own.get(can.pk, 0), can.sigma or 0.0, unit_price(can))
                for can in cans[product.pk]
            ),
        )
        for product in StabilizerProduct.objects.all()
        # Fabric and spray are asked for by name: of those it is known that there are none.
        if product.kind not in StabilizerProduct.CHOSEN_BY_WEIGHT
        or any(found[product.pk] for found in (rolls, sheets, offcuts, cans))
    )


def _by_product(items: QuerySet) -> dict[int, list]:
    found: dict[int, list] = defaultdict(list)
    for item in items.filter(retired_at__isnull=True):
        if item.is_known:
            found[item.product_id].append(item)
    return found


def _price_per_mm2(rolls: list[StabilizerRoll], offers: list[tuple[int, PackOffer]]) -> float | None:
    paid = [price / roll.width_mm for roll in rolls if (price := unit_price(roll)) is not None]
    offered = [float(pack.price) / pack.holds / width for width, pack in offers]
    return max(paid, default=None) if paid else min(offered, default=None)


def sold_as(offer: Offer) -> str:
    """Return what a pack of an offer is called: a spool, a bobbin or a roll, or so many of them."""
    if offer.put_up is not None:
        one = offer.put_up.name
    elif offer.bobbin_style is not None:
        one = _("{style} bobbin").format(style=offer.bobbin_style)
    elif offer.can_mg:
        one = _("can with {weight}").format(weight=told_mass_plainly(offer.can_mg))
    else:
        one = _("roll {size}").format(size=told_roll(offer.roll_width_mm or 0, offer.roll_length_mm or 0))
    return one if offer.pack == 1 else f"{offer.pack} × {one}"


def offers_by_range(offers: Iterable[Offer]) -> dict[int, list[Offer]]:
    """Return the offers of needle thread by the range they are of, in their order."""
    by_range: dict[int, list[Offer]] = defaultdict(list)
    for offer in offers:
        if offer.put_up is not None:
            by_range[offer.put_up.range_id].append(offer)
    return by_range


def is_of(offer: Offer, shade_id: int) -> bool:
    """Return whether an offer of a shade's range brings that shade: of all shades, or of it alone."""
    return offer.shade_id in (None, shade_id)


def _pack(offer: Offer, *, holds: int) -> PackOffer:
    return PackOffer(
        supplier=offer.supplier.name,
        put_up=sold_as(offer),
        holds=holds * offer.pack,
        pack=offer.pack,
        price=offer.price,
        lead_time_days=offer.supplier.lead_time_days,
    )
