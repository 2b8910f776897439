"""What was only estimated of a thing since a person looked, and by how much that makes it less known."""

import math
from importlib import import_module
from types import SimpleNamespace

import pytest
from django.apps import apps
from django.db import connection

from inventory.compute.knowing import StripsCut, strips_of
from inventory.ledger import (
    Finding,
    Line,
    added_sigma,
    cut_since_looked,
    find,
    post,
    reckoned_since_looked,
    reverse,
    sigma_without,
)
from inventory.models import Entry, StockItem
from inventory.shelf.bobbins import WOUND_SIGMA, wind_bobbins
from inventory.shelf.counts import count_item
from inventory.shelf.cut_lists import Taken, cut_list
from inventory.shelf.offcuts import cut_piece
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


def cut(roll: StockItem, height_mm: int) -> Entry:
    return cut_piece(roll, width_mm=300, height_mm=height_mm, key=a_key(), at=NOW, by=None).entries[0]


def strips(count: int, height_mm: int) -> StripsCut:
    return strips_of(count * height_mm, strips=count)


def test_of_many_strips_the_hand_s_share_adds_up_straight_and_each_one_s_own_by_squares():
    one = strips(1, 200)
    for n in (1, 7, 100):
        many = strips(n, 200)
        own, common = one.own_mm, one.in_common_mm
        assert many.sigma_mm == pytest.approx(math.sqrt(n * own**2 + (n * common) ** 2))
    # Of many strips the hand's share is nearly all of it, and does not even out.
    assert strips(1_000, 200).sigma_mm > 9 * strips(100, 200).sigma_mm
    # Scissors cut each strip long: the more strips a length is cut in, the more of it is gone on the whole.
    assert strips(100, 200).in_common_mm > strips(20, 1_000).in_common_mm


def test_strips_cut_one_by_one_are_known_no_better_than_cut_at_once():
    one, many = a_roll(metres=50), a_roll(metres=50)
    before = one.sigma
    cut_list([Taken(one, 20_000, strips=20)], key=a_key(), at=NOW, by=None)
    for _ in range(20):
        cut(many, 1_000)
    assert now(one).sigma == pytest.approx(math.hypot(before, strips(20, 1_000).sigma_mm))
    assert now(many).sigma == pytest.approx(now(one).sigma)


def test_measuring_a_roll_ends_what_its_strips_had_made_unknown():
    roll = a_roll(metres=50)
    for _ in range(10):
        cut(roll, 1_000)
    count_item(roll, quantity=39_500, key=a_key(), at=NOW, by=None)
    measured = now(roll).sigma
    assert cut_since_looked([roll.pk]) == {roll.pk: StripsCut()}
    cut(roll, 1_000)
    assert now(roll).sigma == pytest.approx(math.hypot(measured, strips(1, 1_000).sigma_mm))


def test_a_cut_that_is_taken_back_takes_its_share_with_it_whatever_came_after():
    roll = a_roll(metres=50)
    before = roll.sigma
    first, *_ = [cut(roll, 1_000) for _ in range(5)]
    reverse(first, key=a_key(), at=NOW, by=None)
    assert now(roll).on_hand == 46_000
    assert cut_since_looked([roll.pk]) == {roll.pk: strips(4, 1_000)}
    assert now(roll).sigma == pytest.approx(math.hypot(before, strips(4, 1_000).sigma_mm))
    # A cut before the roll was measured had no part in what is not known of it any more.
    second = Entry.objects.get(item=roll, reason="cut", id=first.pk + 1)
    count_item(roll, quantity=45_800, key=a_key(), at=NOW, by=None)
    measured = now(roll).sigma
    reverse(second, key=a_key(), at=NOW, by=None)
    assert now(roll).sigma == pytest.approx(measured)
    assert now(roll).on_hand == 46_800


def test_all_cuts_taken_back_in_any_order_leave_a_roll_as_it_came():
    roll = a_roll(metres=50)
    before = roll.sigma
    cuts = [cut(roll, height) for height in (1_000, 300, 240, 700)]
    for entry in (cuts[2], cuts[0], cuts[3], cuts[1]):
        reverse(entry, key=a_key(), at=NOW, by=None)
    assert now(roll).sigma == pytest.approx(before)
    assert now(roll).on_hand == 50_000


def test_of_cuts_of_which_nobody_kept_the_strips_it_is_taken_that_they_were_as_usual():
    roll = a_roll(metres=50)
    post([Line(roll, -4_000)], reason="cut", key=a_key(), at=NOW, by=None)
    assert cut_since_looked([roll.pk]) == {roll.pk: strips(20, 200)}


def cut_as_before(roll: StockItem, height_mm: int, *, cut_already: int) -> Entry:
    """Post a cut as it was kept before its strips were: off by two in a hundred of the length."""
    added = added_sigma(0.02, height_mm, before=cut_already)
    return post([Line(roll, -height_mm, added_sigma=added)], reason="cut", key=a_key(), at=NOW, by=None)[0]


def updated() -> None:
    update = import_module("inventory.migrations.0024_strips_cut_off_a_roll")
    update.say_what_is_known(apps, SimpleNamespace(connection=connection))


def test_a_roll_that_was_cut_before_strips_were_kept_is_said_to_be_as_well_known_as_it_is():
    roll, untouched = a_roll(metres=50), a_roll(metres=50)
    came = roll.sigma
    cut_as_before(roll, 6_000, cut_already=0)
    count_item(roll, quantity=43_900, key=a_key(), at=NOW, by=None)
    measured = now(roll).sigma
    cut_as_before(roll, 4_000, cut_already=0)
    last = cut_as_before(roll, 1_000, cut_already=4_000)
    updated()
    assert now(untouched).sigma == came
    assert now(roll).sigma == pytest.approx(math.hypot(measured, strips(25, 200).sigma_mm))
    updated()  # once more changes nothing
    assert now(roll).sigma == pytest.approx(math.hypot(measured, strips(25, 200).sigma_mm))
    reverse(last, key=a_key(), at=NOW, by=None)
    assert now(roll).sigma == pytest.approx(math.hypot(measured, strips(20, 200).sigma_mm))


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
