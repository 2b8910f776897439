"""Whole packs at the least price, and what a batch costs."""

from datetime import date
from decimal import Decimal

import pytest

from inventory.compute.errors import WorkshopError
from planning.compute.batch.costing import batch_cost
from planning.compute.buying.packs import PackOffer, cheapest_purchase, packs_needed
from planning.compute.colour.choice import OwnedShade, OwnedSpool
from planning.compute.spools.turns import SpoolUse


def offer(holds, price, *, supplier="Quay Supplies", days=5):
    return PackOffer(supplier, f"{holds} spool", holds, 1, Decimal(price), days)


def test_a_worked_example_needs_fifteen_cones():
    """4,000 pieces × 4,500 stitches × 4 mm on 5,000 m cones: apparelscience.com, "Calculating embroidery thread
    consumption"."""
    assert 4_000 * 4_500 * 4 == 72_000_000
    assert packs_needed(72_000_000, holds=5_000_000) == 15


def test_the_cheapest_way_to_cover_a_need_is_taken():
    small, large = offer(1_000_000, "3.00"), offer(5_000_000, "9.00")
    assert cheapest_purchase(800_000, [large, small]).offer == small
    many = cheapest_purchase(3_500_000, [large, small])
    assert (many.offer, many.packs, many.total) == (large, 1, Decimal("9.00"))


def test_among_equal_prices_the_soonest_wins():
    slow, quick = offer(1_000_000, "3.00", days=9), offer(1_000_000, "3.00", supplier="Pier Road", days=2)
    assert cheapest_purchase(1, [slow, quick]).offer == quick


def test_nothing_on_offer_is_no_purchase():
    assert cheapest_purchase(1, []) is None


def test_the_last_day_to_order_leaves_the_lead_time():
    purchase = cheapest_purchase(1, [offer(1_000_000, "3.00", days=5)])
    assert purchase.order_by(date(2026, 3, 20)) == date(2026, 3, 15)
    assert purchase.order_by(None) is None


def test_packs_that_hold_nothing_are_refused():
    with pytest.raises(WorkshopError):
        packs_needed(5, holds=0)


def cost(threads, *, offers=None, bobbins=(0, None), pieces=10):
    return batch_cost(
        threads=threads, thread_offers=offers or {}, bobbins=bobbins, layers=(), pieces=pieces, currency="EUR",
        machine_min=60.0, hands_on_min=30.0, machine_rate=4.0, hands_on_rate=20.0,
    )  # fmt: skip


def shade_with(*spools):
    return OwnedShade(1, 1, "Skerry", "Forty", "7", "red", "#b01c2e", None, spools)


def test_thread_costs_what_was_paid_for_its_spool():
    shade = shade_with(OwnedSpool(1, "S0001", 900_000, 0.0, price_per_mm=3.0 / 1_000_000))
    answer = cost([(shade, (SpoolUse("S0001", 1, 10, 500_000, 400_000),), 500_000)])
    assert answer.material == Decimal("1.50")
    assert answer.material_per_piece == Decimal("0.15")
    assert answer.time == Decimal("14.00")


def test_what_the_shelf_does_not_hold_costs_the_cheapest_offer():
    shade = shade_with(OwnedSpool(1, "S0001", 900_000, 0.0, price_per_mm=3.0 / 1_000_000))
    uses = (SpoolUse("S0001", 1, 5, 500_000, 0),)
    answer = cost([(shade, uses, 1_000_000)], offers={1: (offer(1_000_000, "5.00"),)})
    assert answer.thread == Decimal("4.00")


def test_what_has_no_price_is_named_and_left_out():
    answer = cost([(shade_with(OwnedSpool(1, "S0001", 900_000, 0.0)), (), 500_000)], bobbins=(3, None))
    assert answer.unpriced == ("Skerry 7", "bobbins")
    assert answer.material == Decimal("0.00")


def test_tests_and_spoiled_pieces_are_borne_by_those_ordered():
    shade = shade_with(OwnedSpool(1, "S0001", 900_000, 0.0, price_per_mm=3.0 / 1_000_000))
    answer = batch_cost(
        threads=[(shade, (SpoolUse("S0001", 1, 12, 600_000, 300_000),), 600_000)], thread_offers={},
        bobbins=(0, None), layers=(), pieces=10, currency="EUR", machine_min=60.0, hands_on_min=30.0,
        machine_rate=4.0, hands_on_rate=20.0, stitched=12,
    )  # fmt: skip
    assert (answer.machine, answer.hands_on) == (Decimal("4.00"), Decimal("10.00"))
    assert answer.total == Decimal("15.80")  # 0.6 km at 3 a km, an hour at 4, half an hour at 20
    assert answer.total_per_piece == Decimal("1.58")
    assert answer.tests_and_spoilage == Decimal("2.63")  # two of twelve
    assert answer.thread_per_mm == (pytest.approx(3.0 / 1_000_000),)
