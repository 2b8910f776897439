"""A stocktake goes round the shelf, can be left at any moment, and says what differed and what nobody saw."""

from datetime import timedelta

import pytest

from inventory import ledger
from inventory.compute.lengths import read_scale
from inventory.ledger import KeyUsedForAnother, NotEnough
from inventory.models import StockItem, Stocktake
from inventory.shelf.counts import Found
from inventory.shelf.labelled import NoSuchLabel
from inventory.shelf.things import move, retire
from inventory.stocktakes.stocktakes import (
    StocktakeFinished,
    StocktakeGoingOn,
    begin_items,
    begin_place,
    finish,
    next_unseen,
    record,
    report,
)
from tests.factories import NOW, a_key, a_place, a_roll, a_spool, some_bobbins

pytestmark = pytest.mark.django_db


def act(**particulars):
    return {"key": a_key(), "at": NOW, "by": None} | particulars


def held(item):
    return StockItem.objects.get(pk=item.pk)


def a_wall(count=3):
    """Return a place and the spools that hang there, in the order of their labels."""
    return a_place("wall"), [a_spool(place=a_place("wall")) for _ in range(count)]


def test_a_stocktake_looks_for_everything_in_its_place():
    wall, spools = a_wall()
    a_spool(place=a_place("drawer"))
    stocktake = begin_place(wall, **act())
    assert [line.item for line in stocktake.lines.all()] == [held(spool) for spool in spools]


def test_it_goes_round_in_the_order_of_labels_until_all_are_seen():
    wall, spools = a_wall()
    stocktake = begin_place(wall, **act())
    seen = []
    while (item := next_unseen(stocktake)) is not None:
        record(stocktake, label=item.label, found=Found(quantity=item.on_hand), **act())
        seen.append(item)
    assert seen == spools


def test_what_is_found_is_set_right_at_once():
    wall, (spool, *_) = a_wall()
    stocktake = begin_place(wall, **act())
    line = record(stocktake, label=spool.label.lower(), found=Found(gross=read_scale("25.5")), **act())
    assert (line.expected, line.found) == (1_000_000, 500_000)
    assert (held(spool).on_hand, held(spool).known) == (500_000, "weighed")
    assert spool.entries.get(reason="weigh").reference == f"stocktake {stocktake.pk}"


def test_the_report_tells_what_differed_and_what_nobody_saw():
    wall, (first, second, third) = a_wall()
    stocktake = begin_place(wall, **act())
    record(stocktake, label=first.label, found=Found(quantity=900_000), **act())
    record(stocktake, label=second.label, found=Found(quantity=1_000_000), **act())
    told = finish(stocktake, at=NOW)
    (difference,) = told.differences
    assert (told.seen, difference.item.pk, difference.quantity) == (2, first.pk, -100_000)
    assert [item.pk for item in told.not_seen] == [third.pk]
    assert held(third).on_hand == 1_000_000


def test_an_interrupted_stocktake_goes_on_where_it_was_left():
    wall, (first, second, _) = a_wall()
    record(begin_place(wall, **act()), label=first.label, found=Found(quantity=900_000), **act())
    (taken_up_again,) = Stocktake.objects.going_on()
    assert next_unseen(taken_up_again) == second
    assert report(taken_up_again).seen == 1


def test_a_place_is_counted_once_at_a_time():
    wall, _ = a_wall()
    first = begin_place(wall, **act())
    with pytest.raises(StocktakeGoingOn, match="wall has been counted since 2 Mar 2026"):
        begin_place(wall, **act())
    finish(first, at=NOW)
    assert begin_place(wall, **act()) != first


def test_beginning_sent_twice_begins_once():
    wall, _ = a_wall()
    request = act()
    assert begin_place(wall, **request) == begin_place(wall, **request)
    with pytest.raises(KeyUsedForAnother):
        begin_place(a_place("drawer"), **request)
    assert Stocktake.objects.count() == 1


def test_recording_sent_twice_counts_once():
    wall, (spool, *_) = a_wall()
    stocktake = begin_place(wall, **act())
    request = act(label=spool.label, found=Found(quantity=900_000))
    first = record(stocktake, **request)
    assert record(stocktake, **request) == first
    assert spool.entries.filter(reason="count").count() == 1


def test_the_last_recording_may_be_sent_again_after_the_end():
    wall, (spool, *_) = a_wall()
    stocktake = begin_place(wall, **act())
    request = act(label=spool.label, found=Found(quantity=900_000))
    line = record(stocktake, **request)
    finish(stocktake, at=NOW)
    assert record(stocktake, **request) == line


def test_a_second_look_holds_and_the_difference_is_from_the_books():
    wall, (spool, *_) = a_wall()
    stocktake = begin_place(wall, **act())
    record(stocktake, label=spool.label, found=Found(quantity=90_000), **act())
    line = record(stocktake, label=spool.label, found=Found(quantity=900_000), **act())
    assert (line.expected, line.found, held(spool).on_hand) == (1_000_000, 900_000, 900_000)


def test_what_is_used_meanwhile_is_no_difference():
    wall, (spool, *_) = a_wall()
    stocktake = begin_place(wall, **act())
    ledger.use(spool, quantity=300_000, **act())
    record(stocktake, label=spool.label, found=Found(quantity=690_000), **act())
    ledger.use(spool, quantity=100_000, **act())
    record(stocktake, label=spool.label, found=Found(quantity=595_000), **act())
    (difference,) = report(stocktake).differences
    # Ten metres short the first time, five of them turned up the second time.
    assert difference.quantity == -5_000


def test_a_finding_taken_back_is_to_be_seen_again():
    wall, (spool, *_) = a_wall(1)
    stocktake = begin_place(wall, **act())
    line = record(stocktake, label=spool.label, found=Found(quantity=90_000), **act())
    ledger.reverse(line.entry, **act())
    assert next_unseen(stocktake) == spool
    assert report(stocktake).differences == ()
    line = record(stocktake, label=spool.label, found=Found(quantity=900_000), **act())
    assert (line.expected, line.found) == (1_000_000, 900_000)


def test_what_turns_up_where_it_was_not_looked_for_is_moved_there():
    wall, _ = a_wall(1)
    stray = a_spool(place=a_place("drawer"))
    stocktake = begin_place(wall, **act())
    line = record(stocktake, label=stray.label, found=Found(level="full"), moving=True, **act())
    assert line.turned_up
    assert held(stray).place == wall
    assert [difference.turned_up for difference in report(stocktake).differences] == [True]


def test_what_left_meanwhile_is_not_missed():
    wall, (first, second, third) = a_wall()
    stocktake = begin_place(wall, **act())
    retire(first, **act())
    move(second, place=a_place("drawer"), at=NOW, by=None)
    assert [item.pk for item in report(stocktake).not_seen] == [third.pk]


def test_a_list_of_items_is_counted_wherever_they_are():
    spool, batch, roll = a_spool(place=a_place("wall")), some_bobbins(count=20), a_roll()
    stocktake = begin_items([spool, batch], what="what the open jobs need", **act())
    record(stocktake, label=batch.label, found=Found(quantity=18), **act())
    record(stocktake, label=roll.label, found=Found(quantity=10_000), **act())
    told = report(stocktake)
    assert {difference.item.pk: difference.quantity for difference in told.differences} == {
        batch.pk: -2,
        roll.pk: 0,
    }
    assert [item.pk for item in told.not_seen] == [spool.pk]


def test_an_unknown_label_records_nothing():
    wall, _ = a_wall()
    stocktake = begin_place(wall, **act())
    with pytest.raises(NoSuchLabel, match='No item carries the label "S9999"'):
        record(stocktake, label="S9999", found=Found(quantity=1), **act())


def test_a_refused_finding_leaves_the_line_open():
    wall, (spool, *_) = a_wall(1)
    stocktake = begin_place(wall, **act())
    with pytest.raises(ValueError, match="a full 1000 m spool holds"):
        record(stocktake, label=spool.label, found=Found(gross=read_scale("99")), **act())
    assert next_unseen(stocktake) == spool


def test_what_left_the_shelf_is_not_counted():
    wall, (spool, *_) = a_wall()
    stocktake = begin_place(wall, **act())
    retire(spool, **act())
    with pytest.raises(NotEnough, match="left the shelf"):
        record(stocktake, label=spool.label, found=Found(quantity=1), **act())


def test_nothing_is_recorded_after_the_end():
    wall, (spool, *_) = a_wall()
    stocktake = begin_place(wall, **act())
    finish(stocktake, at=NOW + timedelta(days=1))
    with pytest.raises(StocktakeFinished, match="ended on 3 Mar 2026"):
        record(stocktake, label=spool.label, found=Found(quantity=1), **act())
    assert held(spool).on_hand == 1_000_000


def test_finishing_twice_keeps_the_first_end():
    wall, _ = a_wall()
    stocktake = begin_place(wall, **act())
    first = finish(stocktake, at=NOW)
    assert finish(stocktake, at=NOW + timedelta(days=1)) == first
    assert Stocktake.objects.get().finished_at == NOW
