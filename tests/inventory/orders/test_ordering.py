"""Orders from draft to shelf: in parts, short, wrong, twice, cancelled and undone."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction

from inventory.ledger import ledger_problems
from inventory.ledger.posting import KeyUsedForAnother
from inventory.models import Order, OrderLine, OrderReceipt, Shade, Spool, StabilizerRoll, Supplier
from inventory.orders.orders import (
    Arrived,
    CannotOrder,
    OrderedThing,
    cancel_order,
    draft_order,
    give_up,
    order_problems,
    place_order,
    receive_order,
    reverse_receipt,
    take_cancelling_back,
)
from tests.factories import NOW, a_key, a_put_up, a_roll_offer, a_shade, an_offer, use_up

pytestmark = pytest.mark.django_db


@pytest.fixture
def red() -> Shade:
    return a_shade("R", name="harbour red")


@pytest.fixture
def order(red: Shade) -> Order:
    """Return a placed order of six spools in three packs of two and one roll, from one supplier."""
    spools = an_offer(a_put_up(red.range), price="8.00")
    spools.pack = 2
    spools.save()
    things = [
        OrderedThing(spools, 3, Decimal("23.00"), shade=red),
        OrderedThing(a_roll_offer(), 1, Decimal("30.00")),
    ]
    drafted = draft_order(Supplier.objects.get(), things=things, key=a_key(), at=NOW, by=None)
    return place_order(drafted, at=NOW)


def line(order: Order, number: int = 1) -> OrderLine:
    return OrderLine.objects.with_received().get(order=order, number=number)


def receive(order: Order, *arrived: Arrived, key: str = "") -> list:
    return receive_order(order, arrived=arrived, key=key or a_key(), at=NOW, by=None)


def test_an_order_is_numbered_and_expected_after_the_lead_time(order: Order):
    assert (order.number, order.state) == (1, "placed")
    assert order.expected_on == date(2026, 3, 2) + timedelta(days=5)
    assert [(each.things, each.to_come) for each in order.lines.all()] == [(6, 6), (1, 1)]
    assert order.total == Decimal("53.00")


def test_drafting_twice_with_one_key_makes_one_order(red: Shade):
    offer = an_offer(a_put_up(red.range))
    things = [OrderedThing(offer, 2, Decimal("8.40"), shade=red)]
    first = draft_order(offer.supplier, things=things, key="k", at=NOW, by=None)
    assert draft_order(offer.supplier, things=things, key="k", at=NOW, by=None) == first
    other = [OrderedThing(offer, 3, Decimal("12.60"), shade=red)]
    with pytest.raises(KeyUsedForAnother):
        draft_order(offer.supplier, things=other, key="k", at=NOW, by=None)
    assert Order.objects.count() == 1


def test_thread_of_a_range_is_not_ordered_without_its_shade(red: Shade):
    offer = an_offer(a_put_up(red.range))
    with pytest.raises(CannotOrder, match="which shade"):
        draft_order(offer.supplier, things=[OrderedThing(offer, 1, Decimal("4"))], key="k", at=NOW, by=None)
    assert Order.objects.count() == 0


def test_what_comes_in_parts_lies_on_the_shelf_with_lot_price_and_label(order: Order, red: Shade):
    receive(order, Arrived(line(order), 4, lot="L7"))
    assert (line(order).received, line(order).to_come, Order.objects.get().stands) == (
        4,
        2,
        "partly received",
    )
    spools = Spool.objects.filter(shade=red)
    assert {(spool.lot, spool.on_hand, spool.known) for spool in spools} == {("L7", 1_000_000, "sealed")}
    assert sum(spool.price_paid for spool in spools) == Decimal("15.32")  # four at 3.83
    assert len({spool.label for spool in spools}) == 4
    receive(order, Arrived(line(order), 2, price_each=Decimal("4.10")), Arrived(line(order, 2), 1))
    assert Order.objects.get().stands == "received"
    assert StabilizerRoll.objects.get().on_hand == 10_000
    assert ledger_problems() == []


def test_the_same_delivery_sent_twice_comes_once(order: Order):
    receive(order, Arrived(line(order), 3), key="delivery")
    again = receive(order, Arrived(line(order), 3), key="delivery")
    assert (len(again), Spool.objects.count(), line(order).received) == (3, 3, 3)
    with pytest.raises(KeyUsedForAnother):
        receive(order, Arrived(line(order), 2), key="delivery")


def test_no_key_brings_more_than_was_ordered(order: Order):
    receive(order, Arrived(line(order), 6))
    with pytest.raises(CannotOrder, match="0 are still to come"):
        receive(order, Arrived(line(order), 1))
    with pytest.raises(CannotOrder, match="1 are still to come"):
        receive(order, Arrived(line(order, 2), 1), Arrived(line(order, 2), 1))
    assert (Spool.objects.count(), order_problems()) == (6, [])


def test_a_wrong_shade_is_kept_and_the_right_one_still_waited_for(order: Order, red: Shade):
    blue = a_shade("B", hex="#1f4e79", name="harbour blue")
    receive(order, Arrived(line(order), 2, instead=blue))
    assert (Spool.objects.get(shade=blue, label="S0001").on_hand, line(order).to_come) == (1_000_000, 6)
    assert OrderReceipt.objects.filter(instead=True).count() == 2


def test_a_short_delivery_is_given_up_and_taken_up_again(order: Order):
    receive(order, Arrived(line(order), 4))
    assert give_up(line(order), at=NOW).to_come == 0
    assert Order.objects.get().is_open  # the roll is still to come
    take_cancelling_back(order, at=NOW)
    assert line(order).to_come == 2


def test_cancelling_after_a_part_has_come_leaves_that_part(order: Order):
    receive(order, Arrived(line(order), 4))
    cancel_order(order, at=NOW)
    now = Order.objects.get()
    assert (now.state, now.is_open, now.stands) == ("placed", False, "received")
    assert Spool.objects.count() == 4


def test_a_cancelled_order_is_not_received_until_it_is_revived(order: Order):
    cancel_order(order, at=NOW)
    assert Order.objects.get().stands == "cancelled"
    with pytest.raises(CannotOrder, match="cancelled"):
        receive(order, Arrived(line(order), 1))
    take_cancelling_back(order, at=NOW)
    assert len(receive(order, Arrived(line(order), 1))) == 1


def test_a_receipt_taken_back_is_waited_for_again(order: Order):
    receive(order, Arrived(line(order), 4), key="first")
    receive(order, Arrived(line(order), 2), key="second")
    reverse_receipt(order, key="first", at=NOW, by=None)
    reverse_receipt(order, key="first", at=NOW, by=None)
    assert (line(order).received, line(order).to_come) == (2, 4)
    assert Spool.objects.on_the_shelf().count() == 2
    receive(order, Arrived(line(order), 4))
    assert (order_problems(), ledger_problems()) == ([], [])


def test_what_was_used_is_not_taken_back(order: Order):
    receive(order, Arrived(line(order), 4), key="first")
    use_up(Spool.objects.order_by("label")[0], 500_000)
    with pytest.raises(ValueError, match="used or set aside"):
        reverse_receipt(order, key="first", at=NOW, by=None)
    assert line(order).received == 4


def test_nothing_said_to_have_come_is_refused(order: Order):
    with pytest.raises(CannotOrder, match="at least one line"):
        receive(order, Arrived(line(order), 0))


def test_the_database_holds_that_counts_agree(order: Order):
    with pytest.raises(IntegrityError), transaction.atomic():
        OrderLine.objects.filter(order=order, number=1).update(things=5)
    with pytest.raises(IntegrityError), transaction.atomic():
        OrderLine.objects.filter(order=order, number=1).update(given_up=7)


def test_orders_are_listed_in_a_number_of_queries_that_does_not_grow(
    order: Order, red: Shade, django_assert_num_queries
):
    offer = an_offer(a_put_up(red.range))
    for _ in range(4):
        draft_order(
            offer.supplier,
            things=[OrderedThing(offer, 1, Decimal("4.20"), shade=red)],
            key=a_key(),
            at=NOW,
            by=None,
        )
    with django_assert_num_queries(2):
        assert [
            (each.stands, each.total, [str(one) for one in each.lines.all()])
            for each in Order.objects.with_lines()
        ]
