"""What is to be bought, from whom, in how many packs: the parts of a basket, its cost, and its checker.

All of a material comes from one supplier, so that it can be of one dye lot and comes on one day.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cached_property

from inventory.compute.errors import WorkshopError
from planning.compute.search.proof import Proof

NOTHING, CENT = Decimal("0.00"), Decimal("0.01")


@dataclass(frozen=True)
class BasketNeed:
    """So much of a material, in its own unit, there within ``days`` (None: whenever).

    ``equivalents`` are other materials that may cover it, whole and not in part.
    """

    material: str
    quantity: int
    days: int | None = None
    equivalents: tuple[str, ...] = ()


@dataclass(frozen=True)
class PriceStep:
    """From so many packs on, a pack costs ``price``."""

    from_packs: int
    price: Decimal


@dataclass(frozen=True)
class BasketOffer:
    """A pack that holds ``holds`` of a material, there ``lead_time_days`` after it is ordered.

    With ``steps`` more packs are cheaper: all of them (all-units), or only those from the step on (incremental).
    """

    number: int
    supplier: str
    material: str
    holds: int
    price: Decimal
    lead_time_days: int = 0
    steps: tuple[PriceStep, ...] = ()
    incremental: bool = False
    minimum_packs: int = 1
    put_up: str = ""

    @property
    def prices(self) -> tuple[PriceStep, ...]:
        """All price steps, the first from one pack."""
        return (PriceStep(1, self.price), *self.steps)

    def cost(self, packs: int) -> Decimal:
        """Return what ``packs`` packs cost.

        >>> from dataclasses import replace
        >>> steps = (PriceStep(5, Decimal("3.60")),)
        >>> offer = BasketOffer(1, "Quay", "red", 1000, Decimal("4.00"), steps=steps)
        >>> str(offer.cost(4)), str(offer.cost(5))
        ('16.00', '18.00')
        >>> str(replace(offer, incremental=True).cost(5))
        '19.60'
        """
        if not self.incremental:
            price = next(
                (step.price for step in reversed(self.prices) if packs >= step.from_packs), self.price
            )
            return packs * price
        total, ends = NOTHING, [step.from_packs for step in self.steps] + [packs + 1]
        for step, end in zip(self.prices, ends, strict=True):
            total += max(0, min(packs + 1, end) - step.from_packs) * step.price
        return total


@dataclass(frozen=True)
class SupplierTerms:
    """What an order from a supplier costs beside its goods; ``free_from`` None: shipping is always charged."""

    name: str
    shipping: Decimal = NOTHING
    free_from: Decimal | None = None
    minimum_order: Decimal = NOTHING

    def shipping_for(self, goods: Decimal) -> Decimal:
        return NOTHING if self.free_from is not None and goods >= self.free_from else self.shipping


@dataclass(frozen=True)
class Surplus:
    """What is left over of a material is worth ``value`` a unit, up to ``useful`` units."""

    value: Decimal
    useful: int


@dataclass(frozen=True)
class Market:
    """Everything that a basket is chosen from."""

    needs: tuple[BasketNeed, ...]
    offers: tuple[BasketOffer, ...]
    suppliers: Mapping[str, SupplierTerms]
    surplus: Mapping[str, Surplus] = field(default_factory=dict)

    @cached_property
    def offers_of(self) -> Mapping[str, list[BasketOffer]]:
        """The offers of each material."""
        offers: dict[str, list[BasketOffer]] = defaultdict(list)
        for offer in self.offers:
            offers[offer.material].append(offer)
        return offers


@dataclass(frozen=True)
class Bought:
    offer: BasketOffer
    packs: int

    @property
    def cost(self) -> Decimal:
        return self.offer.cost(self.packs)


@dataclass(frozen=True)
class Basket:
    """What is bought, and which material covers each need, in the order of the needs.

    ``bound`` is what no basket can cost less than, net of the surplus, and ``proof`` says what that makes of this
    one; None where nobody looked for one.
    """

    bought: tuple[Bought, ...]
    covered_by: tuple[str, ...]
    goods: Decimal
    shipping: Decimal
    surplus: Decimal
    bound: Decimal | None = None
    proof: Proof | None = None

    @property
    def total(self) -> Decimal:
        """What is to be paid."""
        return self.goods + self.shipping

    @property
    def net(self) -> Decimal:
        """What is to be paid less what the surplus is worth: the least of this is sought."""
        return self.total - self.surplus

    @property
    def gap(self) -> float | None:
        """By which share of it the net cost may lie above the least possible."""
        if self.bound is None:
            return None
        return max(0.0, float(self.net - self.bound)) / float(self.net) if self.net > 0 else 0.0

    def by_supplier(self) -> dict[str, list[Bought]]:
        parts: dict[str, list[Bought]] = defaultdict(list)
        for each in self.bought:
            parts[each.offer.supplier].append(each)
        return dict(sorted(parts.items()))


class NoBasket(WorkshopError):
    """Nothing on offer covers the needs under the conditions asked for."""


def most_packs(offer: BasketOffer, quantity: int) -> int:
    """Return the most packs of ``offer`` that a basket may hold where ``quantity`` is wanted of its material.

    Enough for all of it and one more, or what the last price step or the smallest sale asks for: nobody fills a
    shelf for the sake of free shipping.
    """
    return max(-(-quantity // offer.holds) + 1, offer.minimum_packs, offer.prices[-1].from_packs)


def basket_of(
    market: Market, packs: Mapping[int, int], covered_by: Sequence[str], *, bound: Decimal | None = None
) -> Basket:
    """Return the basket with so many ``packs`` by offer number, reckoned to the cent."""
    offers = {offer.number: offer for offer in market.offers}
    bought = tuple(Bought(offers[number], count) for number, count in sorted(packs.items()) if count)
    goods: dict[str, Decimal] = defaultdict(lambda: NOTHING)
    for each in bought:
        goods[each.offer.supplier] += each.cost
    shipping = sum((market.suppliers[name].shipping_for(worth) for name, worth in goods.items()), NOTHING)
    return Basket(
        bought=bought,
        covered_by=tuple(covered_by),
        goods=sum(goods.values(), NOTHING),
        shipping=shipping,
        surplus=_surplus(market, bought, covered_by),
        bound=bound,
    )


def _surplus(market: Market, bought: Sequence[Bought], covered_by: Sequence[str]) -> Decimal:
    left: dict[str, int] = defaultdict(int)
    for each in bought:
        left[each.offer.material] += each.packs * each.offer.holds
    for need, material in zip(market.needs, covered_by, strict=True):
        left[material] -= need.quantity
    return sum(
        (
            worth.value * max(0, min(left[material], worth.useful))
            for material, worth in market.surplus.items()
        ),
        NOTHING,
    )


def basket_problems(market: Market, basket: Basket, *, may_split: bool = False) -> list[str]:
    """Return everything that is wrong with a basket: a need not covered in time, packs, thresholds, sums.

    Unless it ``may_split`` them, a material that comes from two suppliers is a problem too.
    """
    problems = []
    bought = {each.offer.number: each for each in basket.bought}
    if len(bought) != len(basket.bought):
        problems.append("an offer is bought twice")
    for each in basket.bought:
        if each.packs < each.offer.minimum_packs:
            problems.append(f"{each.packs} packs of offer {each.offer.number} are fewer than are sold")
        if each.offer not in market.offers:
            problems.append(f"offer {each.offer.number} is not on the market")
    sellers: dict[str, set[str]] = defaultdict(set)
    for each in basket.bought:
        sellers[each.offer.material].add(each.offer.supplier)
    problems += [
        f"{material} comes from {' and '.join(sorted(who))}"
        for material, who in sellers.items()
        if len(who) > 1 and not may_split
    ]
    for need, material in zip(market.needs, basket.covered_by, strict=True):
        if material not in (need.material, *need.equivalents):
            problems.append(f"{material} may not stand for {need.material}")
    problems += _late(market, basket)
    goods: dict[str, Decimal] = defaultdict(lambda: NOTHING)
    for each in basket.bought:
        goods[each.offer.supplier] += each.cost
    for name, worth in goods.items():
        if worth < market.suppliers[name].minimum_order:
            problems.append(f"{name} takes no order of {worth}")
    shipping = sum((market.suppliers[name].shipping_for(worth) for name, worth in goods.items()), NOTHING)
    for said, reckoned, what in (
        (basket.goods, sum(goods.values(), NOTHING), "goods"),
        (basket.shipping, shipping, "shipping"),
        (basket.surplus, _surplus(market, basket.bought, basket.covered_by), "surplus"),
    ):
        if said != reckoned:
            problems.append(f"the {what} are said to be {said} and are {reckoned}")
    if basket.bound is not None and basket.bound > basket.net:
        problems.append(f"it costs {basket.net}, less than the bound of {basket.bound}")
    if basket.proof is Proof.LEAST and (basket.bound is None or basket.net - basket.bound >= CENT):
        problems.append(f"it is called the least at {basket.net}, but the bound is {basket.bound}")
    return problems


def _late(market: Market, basket: Basket) -> list[str]:
    """Return a problem for each material and day by which less has come than is wanted till then."""
    wanted: dict[str, list[BasketNeed]] = defaultdict(list)
    for need, material in zip(market.needs, basket.covered_by, strict=True):
        wanted[material].append(need)
    problems = []
    for material, needs in wanted.items():
        for days in {need.days for need in needs}:
            due = sum(need.quantity for need in needs if _within(need.days, days))
            come = sum(
                each.packs * each.offer.holds
                for each in basket.bought
                if each.offer.material == material and _within(each.offer.lead_time_days, days)
            )
            if come < due:
                problems.append(f"{come} of {due} {material} come within {days} days")
    return problems


def _within(days: int | None, limit: int | None) -> bool:
    return limit is None or (days is not None and days <= limit)
