"""How much to order at once: the textbook sums for one material."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.special import ndtri

from inventory.compute.errors import WorkshopError, require_not_negative, require_positive


@dataclass(frozen=True)
class LotSize:
    """A quantity to order each time, and what ordering so costs in the unit of time of the demand."""

    quantity: float
    cost: float


def economic_order_quantity(demand: float, *, fixed_cost: float, holding_cost: float) -> LotSize:
    """Return the quantity at which the cost of ordering and of keeping is least: √(2Kλ/h).

    Snyder and Shen, *Fundamentals of Supply Chain Theory*, example 3.1:

    >>> lot = economic_order_quantity(1300, fixed_cost=8, holding_cost=0.225)
    >>> round(lot.quantity, 3), round(lot.cost, 4)
    (304.047, 68.4105)
    """
    for value, what in (
        (demand, "demand"),
        (fixed_cost, "cost of an order"),
        (holding_cost, "cost of keeping"),
    ):
        require_positive(value, what=what)
    quantity = math.sqrt(2 * fixed_cost * demand / holding_cost)
    return LotSize(quantity, math.sqrt(2 * fixed_cost * demand * holding_cost))


def quantity_with_discounts(
    demand: float, *, fixed_cost: float, holding_rate: float, prices: Sequence[tuple[float, float]]
) -> LotSize:
    """Return the cheapest quantity where a larger order makes every unit cheaper (all-units discount).

    ``prices`` are (from this quantity, price of a unit), the first from 0. The cost includes the goods.
    Nahmias, *Production and Operations Analysis*, the rubbish bags (8 an order, 20 % a year, 600 a year):

    >>> lot = quantity_with_discounts(
    ...     600, fixed_cost=8, holding_rate=0.2, prices=[(0, 0.30), (500, 0.29), (1000, 0.28)]
    ... )
    >>> lot.quantity, round(lot.cost, 2)
    (500.0, 198.1)
    """
    if not prices or prices[0][0] != 0:
        raise WorkshopError("The prices must begin with that of the smallest quantity, from 0.")
    best: LotSize | None = None
    for number, (start, price) in enumerate(prices):
        end = prices[number + 1][0] if number + 1 < len(prices) else math.inf
        lot = economic_order_quantity(demand, fixed_cost=fixed_cost, holding_cost=holding_rate * price)
        quantity = float(max(lot.quantity, start))
        if quantity >= end:
            continue  # the price of the next step holds there, and is cheaper
        cost = price * demand + fixed_cost * demand / quantity + holding_rate * price * quantity / 2
        if best is None or cost < best.cost:
            best = LotSize(quantity, cost)
    assert best is not None  # the last step has no end
    return best


def newsvendor(*, mean: float, sd: float, holding_cost: float, penalty: float) -> LotSize:
    """Return the single order for one normal demand at which being over and being short cost least.

    Snyder and Shen, *Fundamentals of Supply Chain Theory*: N(50, 8), 0.18 for each left over, 0.70 for each short.

    >>> lot = newsvendor(mean=50, sd=8, holding_cost=0.18, penalty=0.70)
    >>> round(lot.quantity, 3), round(lot.cost, 4)
    (56.604, 1.9976)
    """
    require_not_negative(sd, what="standard deviation")
    require_positive(holding_cost, what="cost of one left over")
    require_positive(penalty, what="cost of one short")
    z = float(ndtri(penalty / (penalty + holding_cost)))
    density = math.exp(-z * z / 2) / math.sqrt(2 * math.pi)
    return LotSize(mean + z * sd, (holding_cost + penalty) * density * sd)
