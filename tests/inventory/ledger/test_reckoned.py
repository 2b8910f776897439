"""What was only estimated of a thing since a person looked, and by how much that makes it less known."""

import math

import pytest

from inventory.ledger import (
    Finding,
    Line,
    added_sigma,
    find,
    post,
    reckoned_since_looked,
    reverse,
    sigma_without,
)
from inventory.models import Entry, StockItem
from inventory.shelf.bobbins import WOUND_SIGMA, wind_bobbins
from inventory.shelf.counts import count_item
from inventory.shelf.offcuts import CUT_SIGMA, cut_piece
from tests.factories import NOW, a_bobbin_style, a_key, a_roll, a_spool, some_bobbins

pytestmark = pytest.mark.django_db


def taken(item: StockItem, quantity: int, *, sigma: float = 0.0, key: str = "") -> Entry:
    line = Line(item, -quantity, added_sigma=sigma)
    return post([line], reason="use", key=key or a_key(), at=NOW, by=None)[0]


def now(item: StockItem) -> StockItem:
    return StockItem.objects.get(pk=item.pk)


def test_what_was_taken_counts_until_somebody_looks():
    spool = a_spool()
    for _ in range(3):
        taken(spool, 10_000)
    assert reckoned_since_looked([spool.pk]) == {spool.pk: 30_000}
    found = Finding(1_000.0, StockItem.Known.WEIGHED)
    find(spool, quantity=950_000, finding=found, key=a_key(), at=NOW, by=None, reason="weigh")
    taken(spool, 7_000)
    assert reckoned_since_looked([spool.pk]) == {spool.pk: 7_000}


def test_what_was_taken_back_does_not_count_nor_does_a_look_that_was():
    spool = a_spool()
    taken(spool, 10_000)
    reverse(taken(spool, 20_000), key=a_key(), at=NOW, by=None)
    look = count_item(spool, quantity=900_000, key=a_key(), at=NOW, by=None)
    reverse(look, key=a_key(), at=NOW, by=None)
    assert reckoned_since_looked([spool.pk]) == {spool.pk: 10_000}


def test_strips_cut_one_by_one_are_known_no_better_than_cut_at_once():
    one, many = a_roll(metres=50), a_roll(metres=50)
    before = one.sigma
    cut_piece(one, width_mm=300, height_mm=20_000, key=a_key(), at=NOW, by=None)
    for _ in range(20):
        cut_piece(many, width_mm=300, height_mm=1_000, key=a_key(), at=NOW, by=None)
    assert now(one).sigma == pytest.approx(math.hypot(before, CUT_SIGMA * 20_000))
    assert now(many).sigma == pytest.approx(now(one).sigma)


def test_windings_share_the_stop_of_their_winder():
    cone = a_spool(metres=10_000)
    before = cone.sigma
    for _ in range(2):
        wind_bobbins(cone, style=a_bobbin_style(), count=10, length_mm=60_000, key=a_key(), at=NOW, by=None)
    assert now(cone).sigma == pytest.approx(math.hypot(before, WOUND_SIGMA * 1_200_000))


def test_of_bobbins_only_a_count_to_the_piece_is_a_look():
    batch = some_bobbins(count=50)
    taken(batch, 10, sigma=2.0)
    post([Line(batch, 1, finding=Finding(1.0, batch.known))], reason="count", key=a_key(), at=NOW, by=None)
    assert reckoned_since_looked([batch.pk]) == {batch.pk: 10}
    count_item(batch, quantity=40, key=a_key(), at=NOW, by=None)
    assert reckoned_since_looked([batch.pk]) == {batch.pk: 0}


def test_what_one_act_took_can_be_known_exactly_after_all():
    batch = some_bobbins(count=50)
    key = a_key()
    taken(batch, 5, sigma=3.0)
    taken(batch, 5, sigma=4.0, key=key)
    assert now(batch).sigma == pytest.approx(5.0)
    assert sigma_without(now(batch), {key}) == pytest.approx(3.0)


def test_straight_sums_by_the_piece_are_straight_sums():
    sigma, before = 0.0, 0.0
    for quantity in (10.0, 25.0, 65.0):
        sigma = math.hypot(sigma, added_sigma(0.1, quantity, before=before))
        before += quantity
    assert sigma == pytest.approx(10.0)
