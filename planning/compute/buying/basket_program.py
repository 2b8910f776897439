"""The cheapest basket: a mixed-integer program (HiGHS) that chooses among the ways to buy each material.

Suppliers are few, so that every set of them gives a bound in no time; ways that no basket as cheap as the best
known can hold are left out, and little is left for the program: shipping, free shipping, smallest orders.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import ROUND_FLOOR, Decimal
from itertools import combinations

import numpy as np

from inventory.compute.spoken import _
from planning.compute.buying.basket import (
    CENT,
    Basket,
    BasketNeed,
    Market,
    NoBasket,
    basket_of,
    basket_problems,
)
from planning.compute.buying.basket_open import NODES, NODES_BESIDE, open_basket
from planning.compute.buying.basket_ways import (
    Assignment,
    Way,
    assignments,
    cents,
    is_all_written,
    need_groups,
    ways_to_buy,
)
from planning.compute.search.linear import Rows, least_whole
from planning.compute.search.proof import SecondsLeft, is_over, proof_of

# Of more suppliers not every set is looked at; the program then has all the ways to choose from.
MOST_SUPPLIERS = 8
MOST_BESIDE = 300


def solve_basket(market: Market, *, gap: float = 0.0, seconds_left: SecondsLeft = None) -> Basket:
    """Return the basket of least net cost, proven to within ``gap`` as far as counted work and the caller let.

    Every need is covered by its day. Raises NoBasket where that cannot be.
    """
    of_needs = need_groups(market.needs)
    groups = [assignments(market, group) for group in of_needs]
    is_all = all(is_all_written(market, group) for group in of_needs)
    if not all(groups) and is_all:
        raise NoBasket(
            _(
                "Nothing on offer covers everything that is needed by its day. Allow more suppliers, or "
                "later days."
            )
        )
    basket, bound = None, None
    if all(groups):
        basket, bound = _from_written(market, groups, gap=gap, seconds_left=seconds_left)
    if not is_all:
        found, of_open, is_none = open_basket(market, gap=gap, seconds_left=seconds_left)
        bound = _in_money(of_open)
        basket = _cheaper(market, found, basket)
        if basket is None and not is_none:
            raise NoBasket(
                _("No basket was found in the time. Ask for fewer things at once, or allow more time.")
            )
    if basket is None:
        raise NoBasket(_("No basket meets the smallest orders of these suppliers. Allow more of them."))
    return _told(basket, bound, seconds_left)


def split_basket(market: Market, *, seconds_left: SecondsLeft = None) -> Basket | None:
    """Return the cheapest basket in which a material may come from several suppliers, None if none is found.

    It is not looked for on a market of over ``MOST_BESIDE`` offers, for that would take longer than the basket itself.
    """
    if len(market.offers) > MOST_BESIDE:
        return None
    found, bound, _ = open_basket(market, may_split=True, nodes=NODES_BESIDE, seconds_left=seconds_left)
    if found is None or basket_problems(market, found, may_split=True):
        return None
    return _told(found, _in_money(bound), seconds_left)


def _cheaper(market: Market, found: Basket | None, known: Basket | None) -> Basket | None:
    """Return the cheaper basket; one that solver tolerances let slip is none."""
    if found is None or basket_problems(market, found):
        return known
    return found if known is None or found.net < known.net else known


def _told(basket: Basket, bound: Decimal | None, seconds_left: SecondsLeft) -> Basket:
    """Return the basket with its bound, and with what that proves: to the cent, as money is counted."""
    # A solver works to a small tolerance: its bound may lie above the cost to the cent.
    bound = None if bound is None else min(bound, basket.net)
    return replace(
        basket,
        bound=bound,
        proof=proof_of(
            is_least=bound is not None and basket.net - bound < CENT,
            was_cut_short=is_over(seconds_left),
        ),
    )


def _from_written(
    market: Market, groups: "Groups", *, gap: float, seconds_left: SecondsLeft
) -> tuple[Basket | None, Decimal | None]:
    """Return the best basket of the ways that are written down, and what none of them can cost less than."""
    first, least, groups = _narrowed(market, groups)
    if first is not None and least is not None and first.net - least <= Decimal(gap) * abs(first.net):
        return first, least
    program = _Program()
    chosen = _choose_ways(program, groups)
    _ship(program, market, [part for _, _, parts in chosen for part in parts])
    values, bound = program.solve(gap=gap, seconds_left=seconds_left)
    basket = first if values is None else _read(market, chosen, values)
    if first is not None and (basket is None or first.net < basket.net):
        basket = first
    return basket, max((each for each in (_in_money(bound), least) if each is not None), default=None)


def _read(market: Market, chosen: Sequence["Chosen"], values: np.ndarray) -> Basket:
    picked = []
    for assignment, column, parts in chosen:
        if column is None or values[column] > 0.5:
            ways = [next(way for way, at in part if values[at] > 0.5) for part in parts]
            picked.append((assignment, ways))
    return _basket(market, picked)


def _basket(market: Market, picked: Sequence[tuple[Assignment, Sequence[Way]]]) -> Basket:
    packs = {number: count for _, ways in picked for way in ways for number, count in way.packs}
    covered = {number: material for assignment, _ in picked for number, material in assignment.covered_by}
    return basket_of(market, packs, [covered[number] for number in range(len(market.needs))])


def _in_money(amount: float) -> Decimal | None:
    return (Decimal(amount) * CENT).quantize(CENT, ROUND_FLOOR) if np.isfinite(amount) else None


Groups = list[list[Assignment]]


def _narrowed(market: Market, groups: Groups) -> tuple[Basket | None, Decimal | None, Groups]:
    """Return a good basket, what none can cost less than, and the groups without ways that lead to no better one.

    For each set of suppliers, buying every material in its cheapest way, with only such shipping as nothing could
    save, bounds every basket from just these suppliers.
    """
    names = sorted({way.supplier for group in groups for each in group for part in each.ways for way in part})
    if len(names) > MOST_SUPPLIERS:
        return None, None, groups
    best: Basket | None = None
    bounds: dict[frozenset[str], float] = {}
    cheapest: dict[frozenset[str], list[float]] = {}
    for size in range(1, len(names) + 1):
        for some in map(frozenset, combinations(names, size)):
            picked = [_cheapest(group, some) for group in groups]
            found = [each for each in picked if each is not None]
            if len(found) < len(groups):
                continue
            cheapest[some] = [net for net, _, _ in found]
            certain = sum(_shipping_at_least(market, name) for name in some)
            bounds[some] = sum(cheapest[some]) + certain
            basket = _basket(market, [(assignment, ways) for _, assignment, ways in found])
            if (best is None or basket.net < best.net) and _orders_are_taken(market, basket):
                best = basket
    if best is None:
        return None, None, groups
    # A tenth of a cent against rounding.
    limit = cents(best.net) + 0.1
    hopeful = {some: bound for some, bound in bounds.items() if bound <= limit}
    kept = [
        _without_hopeless(group, number, hopeful, cheapest, limit) if len(group) == 1 else group
        for number, group in enumerate(groups)
    ]
    return best, min(best.net, _in_money(min(bounds.values())) or best.net), kept


def _cheapest(
    group: Sequence[Assignment], some: frozenset[str]
) -> tuple[float, Assignment, list[Way]] | None:
    """Return the cheapest way to buy what a group needs from these suppliers, or None if there is none."""
    best: tuple[float, Assignment, list[Way]] | None = None
    for assignment in group:
        ways = [
            min((way for way in part if way.supplier in some), key=lambda way: way.net, default=None)
            for part in assignment.ways
        ]
        found = [way for way in ways if way is not None]
        net = sum(way.net for way in found)
        if len(found) == len(ways) and (best is None or net < best[0]):
            best = (net, assignment, found)
    return best


def _without_hopeless(
    group: list[Assignment],
    number: int,
    bounds: Mapping[frozenset[str], float],
    cheapest: Mapping[frozenset[str], list[float]],
    limit: float,
) -> list[Assignment]:
    """Return the group without ways that lift every bound above the limit."""
    (assignment,) = group
    parts = []
    for part in assignment.ways:
        least = min(way.net for way in part)
        room: dict[str, float] = defaultdict(lambda: -np.inf)
        for some, bound in bounds.items():
            others = bound - cheapest[some][number]
            for name in some:
                room[name] = max(room[name], limit - others)
        # With several materials in a group the others cost at least what they cost now.
        rest = sum(min(way.net for way in other) for other in assignment.ways) - least
        parts.append(tuple(way for way in part if way.net + rest <= room[way.supplier]))
    return [replace(assignment, ways=tuple(parts))]


def _shipping_at_least(market: Market, name: str) -> float:
    """Return the shipping in cents that an order from a supplier surely costs."""
    terms = market.suppliers[name]
    return cents(terms.shipping) if terms.free_from is None else 0.0


def _orders_are_taken(market: Market, basket: Basket) -> bool:
    return all(
        sum(each.cost for each in parts) >= market.suppliers[name].minimum_order
        for name, parts in basket.by_supplier().items()
    )


def buy_each_where_cheapest(market: Market) -> Basket:
    """Return the basket of somebody who buys each material where its goods cost least, and pays the shipping.

    Suppliers whose smallest order is not reached are left, the smallest order first. Raises NoBasket.
    """
    while True:
        packs: dict[int, int] = {}
        covered_by = []
        goods: dict[str, float] = defaultdict(float)
        together: dict[str, list[BasketNeed]] = defaultdict(list)
        for need in market.needs:
            together[need.material].append(need)
            covered_by.append(need.material)
        for material, needs in together.items():
            ways = ways_to_buy(market, material, needs)
            if not ways:
                raise NoBasket(
                    _("Nobody among these suppliers sells {material} in time.").format(material=material)
                )
            way = min(ways, key=lambda each: (each.net, each.goods))
            packs.update(way.packs)
            goods[way.supplier] += way.goods
        small = [
            name for name, worth in goods.items() if worth < cents(market.suppliers[name].minimum_order) - 0.5
        ]
        if not small:
            return basket_of(market, packs, covered_by)
        leave = min(small, key=lambda name: (goods[name], name))
        market = replace(market, offers=tuple(each for each in market.offers if each.supplier != leave))


def from_suppliers(market: Market, names: Iterable[str]) -> Market:
    """Return the market with only these suppliers."""
    wanted = set(names)
    return replace(market, offers=tuple(offer for offer in market.offers if offer.supplier in wanted))


def from_one_supplier(market: Market) -> dict[str, Basket]:
    """Return the best basket of each supplier who alone can cover everything, by name."""
    found = {}
    for name in sorted({offer.supplier for offer in market.offers}):
        try:
            found[name] = solve_basket(from_suppliers(market, [name]))
        except NoBasket:
            continue
    return found


@dataclass
class _Program:
    """Binary variables with their costs in cents, and rows low <= sum <= high."""

    costs: list[float] = field(default_factory=list)
    rows: Rows = field(default_factory=Rows)

    def choice(self, cost: float = 0.0) -> int:
        self.costs.append(cost)
        return len(self.costs) - 1

    def solve(self, *, gap: float, seconds_left: SecondsLeft) -> tuple[np.ndarray | None, float]:
        """Return the best choices found, None if there are none, and the bound on the cost in cents."""
        found = least_whole(self.costs, self.rows, nodes=NODES, gap=gap, seconds_left=seconds_left)
        return found.amounts, found.bound


Bought = list[tuple[Way, int]]  # the ways to buy one material, each with its variable
Chosen = tuple[Assignment, int | None, list[Bought]]


def _choose_ways(program: _Program, groups: Sequence[Sequence[Assignment]]) -> list[Chosen]:
    """Write that each group has one assignment, and each material of it is bought in one way."""
    chosen: list[Chosen] = []
    for group in groups:
        columns = [program.choice() for _ in group] if len(group) > 1 else [None]
        if len(group) > 1:
            program.rows.add_terms([(column, 1.0) for column in columns if column is not None], low=1, high=1)
        for assignment, column in zip(group, columns, strict=True):
            parts = [[(way, program.choice(way.net)) for way in ways] for ways in assignment.ways]
            for part in parts:
                terms = [(at, 1.0) for _, at in part]
                if column is None:
                    program.rows.add_terms(terms, low=1, high=1)
                else:
                    program.rows.add_terms([*terms, (column, -1.0)], low=0, high=0)
            chosen.append((assignment, column, parts))
    return chosen


def _ship(program: _Program, market: Market, parts: Sequence[Bought]) -> None:
    """Write what a supplier charges for shipping, from which worth on it is free, and the smallest order."""
    by_supplier: dict[str, list[Bought]] = defaultdict(list)
    for part in parts:
        for name in {way.supplier for way, __ in part}:
            by_supplier[name].append([pair for pair in part if pair[0].supplier == name])
    for name, of_supplier in by_supplier.items():
        terms = market.suppliers[name]
        if terms.shipping <= 0 and terms.minimum_order <= 0:
            continue
        used = program.choice(cents(terms.shipping))
        for part in of_supplier:
            program.rows.add_terms([*((column, 1.0) for _, column in part), (used, -1.0)], high=0)
        bought = [pair for part in of_supplier for pair in part]
        if terms.minimum_order > 0:
            program.rows.add_terms([*_shares(bought, terms.minimum_order), (used, -1.0)], low=0)
        if terms.shipping > 0 and terms.free_from is not None:
            free = program.choice(-cents(terms.shipping))
            program.rows.add_terms([(free, 1.0), (used, -1.0)], high=0)
            program.rows.add_terms([*_shares(bought, terms.free_from), (free, -1.0)], low=0)


def _shares(bought: Bought, worth: Decimal) -> list[tuple[int, float]]:
    """Return what each way lends to reaching ``worth``, as a share of it; one that lends all is enough."""
    whole = max(1.0, cents(worth))
    return [(column, min(1.0, way.goods / whole)) for way, column in bought if way.goods]
