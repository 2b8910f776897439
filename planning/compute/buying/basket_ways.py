"""Every way to buy each material, written down: what one supplier charges for it depends on nothing else."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import product

import numpy as np

from planning.compute.buying.basket import BasketNeed, BasketOffer, Market, SupplierTerms, Surplus, most_packs

# More combinations of put-ups than this are not written down: then each put-up beside the largest is taken at
# most MIXED times, or alone.
MOST_COMBINATIONS = 50_000
MIXED = 12
MOST_ASSIGNMENTS = 64


@dataclass(frozen=True)
class Way:
    """One way to buy what is wanted of a material from one supplier; money in cents."""

    supplier: str
    packs: tuple[tuple[int, int], ...]  # offer number and packs
    goods: float
    net: float  # goods less the worth of what is left over


@dataclass(frozen=True)
class Assignment:
    """Which material covers each need of a group, and for each of them the ways to buy it."""

    covered_by: tuple[tuple[int, str], ...]  # number of the need and material
    ways: tuple[tuple[Way, ...], ...]


def ways_to_buy(market: Market, material: str, needs: Sequence[BasketNeed]) -> tuple[Way, ...]:
    """Return the ways to buy ``material`` for all of ``needs`` from one supplier, without those never better.

    A way is left out if another from the same supplier costs no more and lends no less to free shipping or to the
    smallest order, or if another is cheaper by more than all the shipping that it could cause or forgo.
    """
    quantity = sum(need.quantity for need in needs)
    limit = min((need.days for need in needs if need.days is not None), default=None)
    by_supplier: dict[str, list[BasketOffer]] = defaultdict(list)
    for offer in market.offers_of.get(material, ()):
        if limit is None or offer.lead_time_days <= limit:
            by_supplier[offer.supplier].append(offer)
    ways = [
        way
        for name, offers in by_supplier.items()
        for way in _ways_of_supplier(market, name, offers, quantity, market.surplus.get(material))
    ]
    at_most = min(
        (
            way.net + cents(market.suppliers[way.supplier].shipping)
            for way in ways
            if market.suppliers[way.supplier].minimum_order <= 0
        ),
        default=np.inf,
    )
    return tuple(
        way
        for way in ways
        if market.suppliers[way.supplier].minimum_order > 0
        or way.net <= at_most + shipping_to_save(market.suppliers[way.supplier])
    )


def shipping_to_save(terms: SupplierTerms) -> float:
    """Return the cents that goods of some worth save at a supplier."""
    return cents(terms.shipping) if terms.free_from is not None else 0.0


def _ways_of_supplier(
    market: Market, name: str, offers: Sequence[BasketOffer], quantity: int, worth: Surplus | None
) -> list[Way]:
    counts = _combinations(offers, [most_packs(offer, quantity) for offer in offers])
    holds = counts @ np.array([offer.holds for offer in offers], dtype=np.int64)
    counts = counts[holds >= quantity]
    left = holds[holds >= quantity] - quantity
    goods = np.zeros(len(counts))
    for at, offer in enumerate(offers):
        prices = np.array(
            [cents(offer.cost(packs)) for packs in range(int(counts[:, at].max(initial=0)) + 1)]
        )
        goods += prices[counts[:, at]]
    net = goods - (float(worth.value * 100) * np.minimum(left, worth.useful) if worth else 0.0)
    terms = market.suppliers[name]
    most_saved = shipping_to_save(terms)
    kept: list[int] = []
    most_goods = -1.0
    # From the least net cost on; of equals the one with most goods, which free shipping likes best.
    for at in np.lexsort((-goods, net)):
        if kept and terms.minimum_order <= 0 and net[at] >= net[kept[0]] + most_saved:
            break
        if goods[at] > most_goods:
            kept.append(int(at))
            most_goods = float(goods[at])
    return [
        Way(
            supplier=name,
            packs=tuple(
                (offer.number, int(packs)) for offer, packs in zip(offers, counts[at], strict=True) if packs
            ),
            goods=float(goods[at]),
            net=float(net[at]),
        )
        for at in kept
    ]


def _combinations(offers: Sequence[BasketOffer], most: Sequence[int]) -> np.ndarray:
    """Return the pack counts of every combination, a row each; one of less than an offer's minimum is none."""
    choices = [
        [0, *range(max(1, offer.minimum_packs), limit + 1)] for offer, limit in zip(offers, most, strict=True)
    ]
    if np.prod([len(each) for each in choices], dtype=float) > MOST_COMBINATIONS:
        largest = max(range(len(offers)), key=lambda at: offers[at].holds)
        alone = [
            np.array([[count if at == only else 0 for at in range(len(offers))] for count in choices[only]])
            for only in range(len(offers))
        ]
        choices = [each if at == largest else each[: MIXED + 1] for at, each in enumerate(choices)]
        return np.unique(np.concatenate([*alone, _grid(choices)]), axis=0)
    return _grid(choices)


def is_all_written(market: Market, group: Sequence[int]) -> bool:
    """Return whether every way to cover and to buy what a group needs is few enough to be written down."""
    needs = [market.needs[number] for number in group]
    if np.prod([1 + len(need.equivalents) for need in needs], dtype=float) > MOST_ASSIGNMENTS:
        return False
    quantities: dict[str, int] = defaultdict(int)
    for need in needs:
        for material in (need.material, *need.equivalents):
            quantities[material] += need.quantity
    for material, quantity in quantities.items():
        combinations: dict[str, float] = defaultdict(lambda: 1.0)
        for offer in market.offers_of.get(material, ()):
            combinations[offer.supplier] *= most_packs(offer, quantity) + 1
        if max(combinations.values(), default=0.0) > MOST_COMBINATIONS:
            return False
    return True


def _grid(choices: Sequence[Sequence[int]]) -> np.ndarray:
    axes = np.meshgrid(*(np.array(each, dtype=np.int64) for each in choices), indexing="ij")
    return np.stack([axis.ravel() for axis in axes], axis=1)


def need_groups(needs: Sequence[BasketNeed]) -> list[list[int]]:
    """Return the numbers of needs that share a material, or might, together."""
    group_of: dict[str, set[int]] = {}
    materials: dict[int, set[str]] = {}
    for number, need in enumerate(needs):
        mine = {need.material, *need.equivalents}
        joined = {number}
        for material in mine:
            joined |= group_of.get(material, set())
        every = set().union(mine, *(materials[other] for other in joined - {number}))
        materials[number] = mine
        for material in every:
            group_of[material] = joined
    return [sorted(each) for each in {id(group): group for group in group_of.values()}.values()]


def assignments(market: Market, group: Sequence[int]) -> list[Assignment]:
    """Return every way in which materials may cover the needs of a group, with the ways to buy them."""
    choices = [(market.needs[number].material, *market.needs[number].equivalents) for number in group]
    if np.prod([len(each) for each in choices], dtype=float) > MOST_ASSIGNMENTS:
        # Too many to write down: those in which at most one need is covered by another material.
        own = tuple(each[0] for each in choices)
        every = [own] + [
            (*own[:at], other, *own[at + 1 :]) for at, each in enumerate(choices) for other in each[1:]
        ]
    else:
        every = list(product(*choices))
    known: dict[tuple[str, tuple[int, ...]], tuple[Way, ...]] = {}
    found = []
    for materials in every:
        parts: dict[str, list[int]] = defaultdict(list)
        for number, material in zip(group, materials, strict=True):
            parts[material].append(number)
        ways = []
        for material, numbers in parts.items():
            key = (material, tuple(numbers))
            if key not in known:
                known[key] = ways_to_buy(market, material, [market.needs[number] for number in numbers])
            ways.append(known[key])
        if all(ways):
            found.append(Assignment(tuple(zip(group, materials, strict=True)), tuple(ways)))
    return found


def cents(amount: Decimal) -> float:
    """Return an amount of money in cents."""
    return float(amount * 100)
