"""The basket for what must be bought: offers brought to market, the comparisons, the rows."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal

import numpy as np
from django.utils.translation import gettext as _

from inventory.compute.colour.lab import delta_e_00
from inventory.models import Offer, Shade, Supplier
from planning.buying.materials import Material
from planning.buying.needs import MaterialNeed, Needs
from planning.compute.buying.basket import (
    Basket,
    BasketNeed,
    BasketOffer,
    Bought,
    Market,
    NoBasket,
    PriceStep,
    SupplierTerms,
    Surplus,
)
from planning.compute.buying.basket_program import (
    buy_each_where_cheapest,
    from_one_supplier,
    from_suppliers,
    solve_basket,
    split_basket,
)
from planning.compute.buying.in_time import order_by
from planning.compute.search.proof import Proof, SecondsLeft
from planning.models import Rules
from planning.plan.shelf import is_of, offers_by_range, sold_as

# Within a thousandth of the cheapest, nobody looks further.
GAP = 0.001
# From this share of the basket on, what one dye lot costs is worth a person's decision. Common practice, no source.
SPLIT_MATTERS = Decimal("0.02")


@dataclass(frozen=True)
class Sold:
    """What a number on the market stands for: an offer, and the shade that is meant."""

    offer: Offer
    material: Material


@dataclass(frozen=True)
class BasketLine:
    """One thing in a basket with the needs that it covers, and the last day to order it."""

    sold: Sold
    bought: Bought
    covers: tuple[MaterialNeed, ...]
    order_by: date | None

    @property
    def put_up(self) -> str:
        return self.bought.offer.put_up


@dataclass(frozen=True)
class SupplierPart:
    """What of the basket is bought from one supplier."""

    supplier: Supplier
    lines: tuple[BasketLine, ...]
    goods: Decimal
    shipping: Decimal

    @property
    def total(self) -> Decimal:
        return self.goods + self.shipping

    @property
    def order_by(self) -> date | None:
        return min((line.order_by for line in self.lines if line.order_by), default=None)


@dataclass(frozen=True)
class Alone:
    """What everything would cost from one supplier only; ``extra`` against the basket."""

    supplier: str
    total: Decimal
    extra: Decimal


@dataclass(frozen=True)
class SplitOffer:
    """What the basket would cost if a material could come from several suppliers, and which ones then do.

    ``costs`` is what keeping each material to one supplier costs; it is the *least* that can be said of it where the
    search for the split was not done (``proof``).
    """

    total: Decimal
    costs: Decimal
    materials: tuple[str, ...]
    proof: Proof | None
    matters: bool


@dataclass(frozen=True)
class BasketPlan:
    """The basket, supplier by supplier, with what it saves and what it cannot do.

    ``saves`` is against buying each thing where it is cheapest, None where that cannot be done. ``late`` are the
    needs that nobody delivers by their day, with the day on which the quickest does; ``unsold`` those that nobody
    of these suppliers sells. ``split`` says what one dye lot of each material costs, None where nobody asked.
    """

    basket: Basket
    parts: tuple[SupplierPart, ...]
    saves: Decimal | None
    alone: tuple[Alone, ...]
    late: tuple[tuple[MaterialNeed, date], ...]
    unsold: tuple[MaterialNeed, ...]
    split: SplitOffer | None = None

    @property
    def order_by(self) -> date | None:
        return min((part.order_by for part in self.parts if part.order_by), default=None)


def plan_basket(
    needs: Needs,
    *,
    today: date,
    only: Iterable[str] = (),
    one_supplier: bool = False,
    may_split: bool = False,
    compare: bool = True,
    seconds_left: SecondsLeft = None,
) -> BasketPlan:
    """Return the cheapest basket for what must be bought, from ``only`` these suppliers if any are named.

    With ``one_supplier`` all of it comes from the cheapest who has everything; where it ``may_split``, a material may
    come from several, in several dye lots. Raises NoBasket.
    """
    names = set(only)
    _refuse_unknown(names)
    at_market = _to_market(needs.to_buy, only=names, today=today)
    market = at_market.market
    alone = from_one_supplier(market) if market.needs and (compare or one_supplier) else {}
    split: SplitOffer | None = None
    if one_supplier and market.needs:
        if not alone:
            raise NoBasket(_("No supplier alone has everything that is needed. Buy from several."))
        # What is proven of it is so among baskets of one supplier: the list of those stands beside it.
        basket = replace(min(alone.values(), key=lambda each: each.net), bound=None, proof=None)
    else:
        basket = solve_basket(market, gap=GAP, seconds_left=seconds_left)
        cheaper = split_basket(market, seconds_left=seconds_left) if market.needs else None
        split = None if cheaper is None else _split_offer(basket, cheaper, at_market)
        if may_split and cheaper is not None and split is not None and split.costs > 0:
            basket = cheaper
    return BasketPlan(
        basket=basket,
        parts=_parts(basket, at_market, today=today),
        saves=_saves(market, basket) if compare else None,
        alone=tuple(
            Alone(name, each.total, each.total - basket.total)
            for name, each in sorted(alone.items(), key=lambda pair: pair[1].total)
        ),
        late=at_market.late,
        unsold=at_market.unsold,
        split=split,
    )


def _split_offer(basket: Basket, cheaper: Basket, at_market: "_AtMarket") -> SplitOffer:
    """Return what one dye lot of each material costs: the difference of what is to be paid, not of the worth left."""
    if cheaper.net >= basket.net or cheaper.total >= basket.total:
        return SplitOffer(basket.total, Decimal("0.00"), (), cheaper.proof, matters=False)
    sellers: dict[str, set[str]] = {}
    for each in cheaper.bought:
        sellers.setdefault(each.offer.material, set()).add(each.offer.supplier)
    names = {sold.material.key: sold.material.name for sold in at_market.sold.values()}
    costs = basket.total - cheaper.total
    return SplitOffer(
        total=cheaper.total,
        costs=costs,
        materials=tuple(names[key] for key, who in sellers.items() if len(who) > 1),
        proof=cheaper.proof,
        matters=costs >= SPLIT_MATTERS * basket.total,
    )


def _refuse_unknown(names: set[str]) -> None:
    known = list(Supplier.objects.values_list("name", flat=True))
    for name in sorted(names.difference(known)):
        raise NoBasket(
            _("There is no supplier called {name}. There are: {names}.").format(
                name=name, names=", ".join(known) or _("none yet")
            )
        )


def _saves(market: Market, basket: Basket) -> Decimal | None:
    try:
        greedy = buy_each_where_cheapest(market)
    except NoBasket:
        return None
    return (greedy.net - basket.net).quantize(Decimal("0.01"))


@dataclass(frozen=True)
class _AtMarket:
    market: Market
    needs: tuple[MaterialNeed, ...]
    sold: dict[int, Sold]
    late: tuple[tuple[MaterialNeed, date], ...]
    unsold: tuple[MaterialNeed, ...]


def _to_market(needs: Sequence[MaterialNeed], *, only: set[str], today: date) -> _AtMarket:
    rules = Rules.current()
    equals = _equals(needs, within=rules.equivalent_within)
    offers: list[BasketOffer] = []
    sold: dict[int, Sold] = {}
    brought: set[str] = set()

    def bring(material: Material, need: MaterialNeed) -> list[BasketOffer]:
        if material.key not in brought:
            brought.add(material.key)
            for offer in material.offers:
                holds = _holds(offer, need)
                if holds and (not only or offer.supplier.name in only):
                    offers.append(_basket_offer(len(offers) + 1, offer, material, holds))
                    sold[offers[-1].number] = Sold(offer, material)
        return [offer for offer in offers if offer.material == material.key]

    wanted, kept, late, unsold, surplus = [], [], [], [], {}
    for need in needs:
        sellers = bring(need.material, need)
        equivalents = tuple(
            each.key for each in equals.get(need.key, ()) if bring(each, need) or each.key in brought
        )
        equivalents = tuple(key for key in equivalents if any(offer.material == key for offer in offers))
        sellers = sellers + [offer for offer in offers if offer.material in equivalents]
        if not sellers:
            unsold.append(need)
            continue
        days = None if need.needed_on is None else max(0, (need.needed_on - today).days)
        quickest = min(offer.lead_time_days for offer in sellers)
        if days is not None and quickest > days:
            days = quickest
            late.append((need, today + timedelta(days=quickest)))
        wanted.append(BasketNeed(need.key, need.missing, days, equivalents))
        kept.append(need)
        cheapest = min(offer.price / offer.holds for offer in sellers)
        if need.useful_surplus:
            worth = cheapest * Decimal(str(rules.surplus_worth))
            surplus[need.key] = Surplus(worth, need.useful_surplus)
    suppliers = {each.offer.supplier.name: _terms(each.offer.supplier) for each in sold.values()}
    market = Market(tuple(wanted), tuple(offers), suppliers, surplus)
    return _AtMarket(
        from_suppliers(market, only) if only else market, tuple(kept), sold, tuple(late), tuple(unsold)
    )


def _equals(needs: Sequence[MaterialNeed], *, within: float) -> dict[str, list[Material]]:
    """Return shades that may be bought for one of which nothing is there, by the key of that.

    Of the same fibre and weight, no further off than ``within`` and than the strictest job that wants it bears,
    and sold by somebody.
    """
    if within <= 0:
        return {}
    shades = {need.key: need for need in needs if need.material.lab is not None}
    if not shades:
        return {}
    others = list(Shade.objects.for_needle().select_related("range").exclude(lab_l=None))
    labs = np.array([(each.lab_l, each.lab_a, each.lab_b) for each in others], dtype=float)
    sold = Offer.objects.cheapest_first().filter(put_up__isnull=False).prefetch_related("breaks")
    on_offer = offers_by_range(sold)
    found: dict[str, list[Material]] = {}
    for key, need in shades.items():
        mine = need.material.record
        if need.material.free > 0 or need.material.orders:
            continue
        distances = delta_e_00(np.array([mine.lab_l, mine.lab_a, mine.lab_b], dtype=float), labs)
        for other, distance in zip(others, distances, strict=True):
            alike = (other.range.fibre, other.range.weight_label) == (
                mine.range.fibre,
                mine.range.weight_label,
            )
            near = distance <= min(within, need.colour_limit)
            if other.pk != mine.pk and alike and near and other.range_id in on_offer:
                found.setdefault(key, []).append(_as_material(other, on_offer[other.range_id]))
    return found


def _as_material(shade: Shade, offers: Sequence[Offer]) -> Material:
    return Material(
        key=f"shade {shade.pk}",
        kind="thread",
        name=shade.name or shade.code,
        detail=f"{shade.range} {shade.code}",
        hex=shade.hex or None,
        free=0.0,
        free_sigma=0.0,
        offers=tuple(offer for offer in offers if is_of(offer, shade.pk)),
        record=shade,
    )


def _holds(offer: Offer, need: MaterialNeed) -> int:
    """Return what a pack brings in the unit of the need, mg of spray too; 0 where it does not suit.

    Of a roll, the length counts by how many pieces lie across it, against the widest roll that is known.
    """
    if offer.put_up is not None:
        return offer.put_up.length_mm * offer.pack
    if offer.bobbin_style_id is not None:
        return offer.pack
    if offer.can_mg:
        return offer.can_mg * offer.pack
    length, width = (offer.roll_length_mm or 0) * offer.pack, offer.roll_width_mm or 0
    if not need.width_mm:
        return length
    known = [each.roll_width_mm or 0 for each in need.material.offers] + list(need.material.widths_mm)
    return length * (width // need.width_mm) // max(1, max(known) // need.width_mm)


def _basket_offer(number: int, offer: Offer, material: Material, holds: int) -> BasketOffer:
    return BasketOffer(
        number=number,
        supplier=offer.supplier.name,
        material=material.key,
        holds=holds,
        price=offer.price,
        lead_time_days=offer.supplier.lead_time_days,
        steps=tuple(PriceStep(each.from_packs, each.price) for each in offer.breaks.all()),
        incremental=offer.steps_for == Offer.Steps.INCREMENTAL,
        minimum_packs=offer.minimum_packs,
        put_up=sold_as(offer),
    )


def _terms(supplier: Supplier) -> SupplierTerms:
    return SupplierTerms(
        supplier.name, supplier.shipping, supplier.free_shipping_from, supplier.minimum_order
    )


def _parts(basket: Basket, at_market: _AtMarket, *, today: date) -> tuple[SupplierPart, ...]:
    covers: dict[str, list[MaterialNeed]] = {}
    for need, material in zip(at_market.needs, basket.covered_by, strict=True):
        covers.setdefault(material, []).append(need)
    parts = []
    for name, bought in basket.by_supplier().items():
        lines = []
        for each in bought:
            needs = tuple(covers.get(each.offer.material, ()))
            days = [need.needed_on for need in needs if need.needed_on is not None]
            due = order_by(min(days), lead_time_days=each.offer.lead_time_days) if days else None
            if due is None and any(need.kept_for for need in needs):
                due = today  # what is kept in stock lacks already
            lines.append(BasketLine(at_market.sold[each.offer.number], each, needs, due))
        goods = sum((each.cost for each in bought), Decimal("0.00"))
        parts.append(
            SupplierPart(
                supplier=lines[0].sold.offer.supplier,
                lines=tuple(lines),
                goods=goods,
                shipping=at_market.market.suppliers[name].shipping_for(goods),
            )
        )
    return tuple(parts)


def without(needs: Needs, keys: Iterable[str]) -> Needs:
    """Return the needs without those that a person does not want bought now."""
    left = set(keys)
    return replace(needs, needs=tuple(need for need in needs.needs if need.key not in left))
