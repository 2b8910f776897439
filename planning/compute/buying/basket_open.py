"""The cheapest basket as one program in which packs and covers are free: nothing is written down beforehand.

For markets whose ways to buy, or to let equal materials stand for one another, are too many to list; and for baskets
in which a material may come from several suppliers.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from planning.compute.buying.basket import Basket, BasketOffer, Market, basket_of, most_packs
from planning.compute.buying.basket_ways import cents
from planning.compute.search.linear import Rows, least_whole
from planning.compute.search.proof import SecondsLeft

NODES = 5_000
# Of the search for a basket of several lots, which is told beside the other.
NODES_BESIDE = 200

Terms = list[tuple[int, float]]


@dataclass
class OpenProgram:
    """Variables with cost in cents, bounds and whether they are whole, and rows low <= sum <= high."""

    costs: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)
    whole: list[bool] = field(default_factory=list)
    rows: Rows = field(default_factory=Rows)

    def add(self, *, cost: float = 0.0, upper: float = 1.0, whole: bool = True) -> int:
        self.costs.append(cost)
        self.upper.append(upper)
        self.whole.append(whole)
        return len(self.costs) - 1

    def solve(
        self, *, gap: float, nodes: int, seconds_left: SecondsLeft
    ) -> tuple[np.ndarray | None, float, bool]:
        """Return the values found or None, a bound on the cost in cents, and if it is sure that there are none."""
        found = least_whole(
            self.costs,
            self.rows,
            upper=self.upper,
            whole=self.whole,
            nodes=nodes,
            gap=gap,
            seconds_left=seconds_left,
        )
        return found.amounts, found.bound, found.is_none


@dataclass(frozen=True)
class _Step:
    """So many packs of an offer at one price step: how many, whether any, and what they cost."""

    offer: BasketOffer
    packs: int
    is_taken: int
    cost: Terms


def open_basket(
    market: Market,
    *,
    may_split: bool = False,
    gap: float = 0.0,
    nodes: int = NODES,
    seconds_left: SecondsLeft = None,
) -> tuple[Basket | None, float, bool]:
    """Return the cheapest basket found, a bound in cents on the net cost of any, and if it is sure there is none.

    With ``may_split`` a material may come from several suppliers, in several dye lots.
    """
    program = OpenProgram()
    covers = {
        (number, material): program.add()
        for number, need in enumerate(market.needs)
        for material in dict.fromkeys((need.material, *need.equivalents))
        if market.offers_of.get(material)
    }
    for number in range(len(market.needs)):
        program.rows.add_terms([(at, 1.0) for (of, _), at in covers.items() if of == number], low=1, high=1)
    wanted: dict[str, list[tuple[int, int]]] = defaultdict(list)
    for (number, material), at in covers.items():
        wanted[material].append((number, at))
    steps: list[_Step] = []
    sold: dict[str, Terms] = defaultdict(list)
    for material, users in wanted.items():
        mine, sellers = _buy(program, market, material, users, may_split=may_split)
        steps += mine
        for name, at in sellers.items():
            sold[name].append((at, 1.0))
    for name, sells in sold.items():
        _ship(program, market, name, sells, [step for step in steps if step.offer.supplier == name])
    values, bound, is_none = program.solve(gap=gap, nodes=nodes, seconds_left=seconds_left)
    if values is None:
        return None, bound, is_none
    packs: dict[int, int] = defaultdict(int)
    for step in steps:
        packs[step.offer.number] += round(float(values[step.packs]))
    covered_by = [""] * len(market.needs)
    for (number, material), at in covers.items():
        if values[at] > 0.5:
            covered_by[number] = material
    return basket_of(market, packs, covered_by), bound, False


def _buy(
    program: OpenProgram,
    market: Market,
    material: str,
    users: Sequence[tuple[int, int]],
    *,
    may_split: bool,
) -> tuple[list[_Step], dict[str, int]]:
    """Write how ``material`` is bought for those of ``users`` (need, column) that it covers; return who sells it."""
    offers = market.offers_of[material]
    quantities = [float(market.needs[number].quantity) for number, _ in users]
    unit = max(1.0, max(quantities))  # so that all numbers are of a size
    needed: Terms = [(at, quantity / unit) for (_, at), quantity in zip(users, quantities, strict=True)]
    sellers = {offer.supplier: program.add() for offer in offers}
    if not may_split:
        program.rows.add_terms([(at, 1.0) for at in sellers.values()], high=1)
    for at in sellers.values():  # nothing is bought that covers nothing
        program.rows.add_terms([(at, 1.0), *((user, -1.0) for _, user in users)], high=0)
    every: list[_Step] = []
    for offer in offers:
        steps = list(_steps(program, offer, _most(offer, sum(quantities))))
        taken = [(step.is_taken, 1.0) for step in steps]
        program.rows.add_terms([*taken, (sellers[offer.supplier], -1.0)], high=0)
        for number, user in users:
            days = market.needs[number].days
            if days is not None and offer.lead_time_days > days:
                program.rows.add_terms([*taken, (user, 1.0)], high=1)
        _no_more_than_wanted(program, offer, steps, needed, unit, sum(quantities))
        every += steps
    held: Terms = [(step.packs, step.offer.holds / unit) for step in every]
    less = [(at, -share) for at, share in needed]
    program.rows.add_terms([*held, *less], low=0)
    worth = market.surplus.get(material)
    if worth is not None and worth.value > 0:
        # What is left is worth something up to what is useful: the program makes the most of it.
        left = program.add(cost=-float(worth.value * 100) * unit, upper=worth.useful / unit, whole=False)
        program.rows.add_terms([*held, *less, (left, -1.0)], low=0)
    return every, sellers


def _most(offer: BasketOffer, quantity: float) -> int:
    return most_packs(offer, max(1, round(quantity)))


def _steps(program: OpenProgram, offer: BasketOffer, most: int) -> Iterator[_Step]:
    """Yield each price step of an offer with what packs cost in it; at most one of them is taken."""
    starts = [step.from_packs for step in offer.prices]
    for step, end in zip(offer.prices, [*(start - 1 for start in starts[1:]), most], strict=True):
        first, last = max(step.from_packs, offer.minimum_packs, 1), min(end, most)
        if first > last:
            continue
        each = cents(offer.cost(first + 1) - offer.cost(first)) if last > first else cents(step.price)
        start = cents(offer.cost(first)) - each * first
        packs, is_taken = program.add(cost=each, upper=last), program.add(cost=start)
        program.rows.add_terms([(packs, 1.0), (is_taken, -float(last))], high=0)
        program.rows.add_terms([(packs, 1.0), (is_taken, -float(first))], low=0)
        yield _Step(offer, packs, is_taken, [(packs, each), (is_taken, start)])


def _no_more_than_wanted(
    program: OpenProgram, offer: BasketOffer, steps: list[_Step], needed: Terms, unit: float, most: float
) -> None:
    """Write the limit of ``most_packs``: one pack more than is wanted, or what the last price step asks for."""
    always = max(offer.minimum_packs, offer.prices[-1].from_packs)
    room = _most(offer, most)
    if room <= always:
        return
    packs: Terms = [(step.packs, 1.0) for step in steps]
    is_more = program.add()
    program.rows.add_terms([*packs, (is_more, -float(room - always))], high=always)
    holds = offer.holds / unit
    held = [(at, holds) for at, _ in packs]
    spare = always * holds
    program.rows.add_terms(
        [*held, *((at, -share) for at, share in needed), (is_more, spare)],
        high=(2 * offer.holds - 1) / unit + spare,
    )


def _ship(program: OpenProgram, market: Market, name: str, sells: Terms, steps: Sequence[_Step]) -> None:
    """Write what a supplier charges for shipping, from which worth on it is free, and the smallest order."""
    terms = market.suppliers[name]
    if terms.shipping <= 0 and terms.minimum_order <= 0:
        return
    used = program.add(cost=cents(terms.shipping))
    for at, _ in sells:
        program.rows.add_terms([(at, 1.0), (used, -1.0)], high=0)
    goods = [term for step in steps for term in step.cost]
    if terms.minimum_order > 0:
        program.rows.add_terms([*goods, (used, -cents(terms.minimum_order))], low=0)
    if terms.shipping > 0 and terms.free_from is not None:
        free = program.add(cost=-cents(terms.shipping))
        program.rows.add_terms([(free, 1.0), (used, -1.0)], high=0)
        program.rows.add_terms([*goods, (free, -cents(terms.free_from))], low=0)
