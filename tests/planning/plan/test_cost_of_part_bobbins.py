"""Part bobbins that a plan uses up cost what was paid for their thread, or their share of a full one."""

from dataclasses import replace
from decimal import Decimal

import pytest

from planning.compute.batch.asked import BobbinStock
from planning.compute.batch.bobbin_thread import PlannedBobbins, cost_of_parts
from planning.compute.batch.costing import BatchCost, batch_cost
from planning.compute.colour.choice import OwnedSpool

STOCK = BobbinStock(
    thread="white, L",
    count=3,
    length_mm=100_000,
    price_each=2.0,
    parts=(OwnedSpool(1, "B1", 40_000, 100.0), OwnedSpool(2, "B2", 10_000, 100.0, price_per_mm=0.001)),
)
USED_UP = PlannedBobbins("white, L", 0, 0, 3, 1.0, "enough", (), (), None, parts=("B1", "B2"))


def cost(part_bobbins: list[float | None]) -> BatchCost:
    return batch_cost(
        threads=[],
        thread_offers={},
        bobbins=(2, 2.0),
        layers=[],
        pieces=6,
        currency="EUR",
        machine_min=0,
        hands_on_min=0,
        machine_rate=0,
        hands_on_rate=0,
        part_bobbins=part_bobbins,
    )


def test_a_part_bobbin_costs_its_share_of_a_full_one_or_what_was_paid_for_it():
    # 40 of 100 m at 2.00, and 10 m at 1.00 a metre.
    assert cost_of_parts(USED_UP, STOCK) == pytest.approx([0.8, 10.0])
    assert cost_of_parts(USED_UP, replace(STOCK, price_each=None))[0] is None
    assert cost_of_parts(USED_UP, None) == []


def test_they_are_in_the_sum_and_told_where_no_price_is_known():
    assert cost([0.8]).bobbins == cost([]).bobbins + Decimal("0.80") == Decimal("4.80")
    assert cost([0.8]).material == Decimal("4.80")
    assert cost([None]).unpriced == ("bobbins",)
    assert cost([]).unpriced == ()
