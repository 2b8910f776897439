"""The ledger keeps the shelf right: every act, its refusals, and what the database itself forbids."""

import pytest
from django.db import DatabaseError, IntegrityError, transaction

from inventory import ledger
from inventory.ledger import CannotReverse, Finding, KeyUsedForAnother, NotEnough, NotSetAside
from inventory.models import Entry, Reservation, StockItem
from tests.factories import NOW, a_key, a_spool

pytestmark = pytest.mark.django_db


def act(**particulars):
    return {"key": a_key(), "at": NOW, "by": None} | particulars


def on_hand(item):
    return StockItem.objects.get(pk=item.pk).on_hand


def test_what_is_received_is_on_hand():
    assert a_spool(metres=1000).on_hand == 1_000_000


def test_using_reduces_what_is_on_hand():
    spool = a_spool()
    ledger.use(spool, quantity=120_000, **act())
    assert on_hand(spool) == 880_000


def test_the_first_use_opens_a_spool():
    spool = a_spool()
    ledger.use(spool, quantity=1000, **act())
    assert StockItem.objects.get(pk=spool.pk).opened_on == NOW.date()


def test_more_than_is_there_is_refused_in_words_and_moves_nothing():
    spool = a_spool(metres=1000)
    with pytest.raises(NotEnough, match=rf"{spool.label} holds 1,000.0 m; 1,000.0 m cannot be taken"):
        ledger.use(spool, quantity=1_000_001, **act())
    assert on_hand(spool) == 1_000_000
    assert spool.entries.count() == 1


def test_the_same_request_sent_twice_moves_stock_once():
    spool = a_spool()
    request = act()
    first = ledger.use(spool, quantity=100_000, **request)
    second = ledger.use(spool, quantity=100_000, **request)
    assert first == second
    assert on_hand(spool) == 900_000


def test_a_repeated_request_that_took_the_last_is_no_shortage():
    spool = a_spool()
    request = act()
    first = ledger.use(spool, quantity=1_000_000, **request)
    assert ledger.use(spool, quantity=1_000_000, **request) == first


def test_a_key_belongs_to_one_movement():
    spool, other = a_spool(), a_spool()
    request = act()
    ledger.use(spool, quantity=100, **request)
    with pytest.raises(KeyUsedForAnother):
        ledger.use(other, quantity=100, **request)
    with pytest.raises(KeyUsedForAnother):
        ledger.waste(spool, quantity=100, **request)


def test_what_is_found_on_the_shelf_is_what_is_on_hand():
    spool = a_spool()
    finding = Finding(sigma=4_000.0, known=StockItem.Known.WEIGHED)
    entry = ledger.find(spool, quantity=640_000, finding=finding, reason="weigh", **act())
    held = StockItem.objects.get(pk=spool.pk)
    assert (entry.quantity, held.on_hand, held.sigma, held.known) == (-360_000, 640_000, 4_000.0, "weighed")


def test_finding_less_than_is_set_aside_shrinks_the_youngest_reservation():
    spool = a_spool()
    first = ledger.set_aside(spool, quantity=400_000, holder="job 1", **act())
    second = ledger.set_aside(spool, quantity=500_000, holder="job 2", **act())
    ledger.find(spool, quantity=600_000, finding=Finding(0.0, "weighed"), **act())
    first.refresh_from_db()
    second.refresh_from_db()
    assert (first.quantity, second.quantity) == (400_000, 200_000)
    assert ledger.ledger_problems() == []


def test_a_use_known_roughly_widens_the_uncertainty():
    spool = a_spool(left_m=500)
    ledger.use(spool, quantity=100_000, sigma=12_000.0, **act())
    assert StockItem.objects.get(pk=spool.pk).sigma == pytest.approx((5_000**2 + 12_000**2) ** 0.5)


def test_setting_aside_reduces_what_is_free_but_not_what_is_there():
    spool = a_spool()
    ledger.set_aside(spool, quantity=700_000, holder="job 1", **act())
    held = StockItem.objects.get(pk=spool.pk)
    assert (held.on_hand, held.free) == (1_000_000, 300_000)
    with pytest.raises(NotEnough, match=r"of which 700\.0 m set aside"):
        ledger.use(spool, quantity=300_001, **act())


def test_setting_aside_twice_with_one_key_holds_once():
    spool = a_spool()
    request = act()
    first = ledger.set_aside(spool, quantity=700_000, holder="job 1", **request)
    assert ledger.set_aside(spool, quantity=700_000, holder="job 1", **request) == first
    assert StockItem.objects.get(pk=spool.pk).reserved == 700_000


def test_more_than_is_free_cannot_be_set_aside():
    spool = a_spool()
    with pytest.raises(NotEnough):
        ledger.set_aside(spool, quantity=1_000_001, holder="job 1", **act())
    assert not Reservation.objects.exists()


def test_releasing_frees_once():
    spool = a_spool()
    held = ledger.set_aside(spool, quantity=700_000, holder="job 1", **act())
    assert ledger.release([held]) == 1
    assert ledger.release([held]) == 0
    assert StockItem.objects.get(pk=spool.pk).reserved == 0


def test_what_was_set_aside_can_be_used_by_its_holder():
    spool = a_spool()
    held = ledger.set_aside(spool, quantity=700_000, holder="job 1", **act())
    ledger.use_reserved(held, quantity=200_000, **act())
    item = StockItem.objects.get(pk=spool.pk)
    assert (item.on_hand, item.reserved) == (800_000, 500_000)
    assert ledger.ledger_problems() == []


def test_a_reversal_restores_quantity_and_how_it_was_known():
    spool = a_spool(left_m=500)
    entry = ledger.find(spool, quantity=200_000, finding=Finding(90_000.0, "judged"), **act())
    ledger.reverse(entry, **act())
    held = StockItem.objects.get(pk=spool.pk)
    assert (held.on_hand, held.sigma, held.known) == (500_000, 5_000.0, "weighed")


def test_taking_back_an_older_movement_leaves_what_was_found_since():
    spool = a_spool()
    used = ledger.use(spool, quantity=100_000, **act())
    ledger.find(spool, quantity=700_000, finding=Finding(5_000.0, "weighed"), **act())
    ledger.reverse(used, **act())
    held = StockItem.objects.get(pk=spool.pk)
    assert (held.on_hand, held.sigma, held.known) == (800_000, 5_000.0, "weighed")


def test_an_entry_is_reversed_at_most_once():
    spool = a_spool()
    entry = ledger.use(spool, quantity=1000, **act())
    ledger.reverse(entry, **act())
    with pytest.raises(CannotReverse, match="already"):
        ledger.reverse(entry, **act())
    assert on_hand(spool) == 1_000_000


def test_a_reversal_sent_twice_happens_once():
    spool = a_spool()
    entry = ledger.use(spool, quantity=1000, **act())
    request = act()
    assert ledger.reverse(entry, **request) == ledger.reverse(entry, **request)
    assert on_hand(spool) == 1_000_000


def test_a_reversal_is_not_reversed():
    entry = ledger.use(a_spool(), quantity=1000, **act())
    (back,) = ledger.reverse(entry, **act())
    with pytest.raises(CannotReverse):
        ledger.reverse(back, **act())


def test_what_has_been_used_since_cannot_be_unreceived():
    spool = a_spool()
    ledger.use(spool, quantity=1000, **act())
    with pytest.raises(CannotReverse, match="used or set aside since"):
        ledger.reverse(spool.entries.get(reason="receive"), **act())


def test_nothing_is_taken_from_a_retired_item():
    spool = a_spool()
    StockItem.objects.filter(pk=spool.pk).update(retired_at=NOW)
    with pytest.raises(NotEnough, match="left the shelf"):
        ledger.use(spool, quantity=1, **act())


@pytest.mark.parametrize("attempt", ["update", "delete"])
def test_the_database_refuses_to_change_or_delete_an_entry(attempt):
    entry = a_spool().entries.get()
    changed = {"update": lambda: Entry.objects.filter(pk=entry.pk).update(quantity=5), "delete": entry.delete}
    with pytest.raises(DatabaseError), transaction.atomic():
        changed[attempt]()
    assert Entry.objects.get(pk=entry.pk).quantity == 1_000_000


def test_the_database_refuses_a_negative_balance():
    spool = a_spool()
    with pytest.raises(IntegrityError), transaction.atomic():
        StockItem.objects.filter(pk=spool.pk).update(on_hand=-1)


def test_the_database_refuses_to_reserve_more_than_is_there():
    spool = a_spool()
    with pytest.raises(IntegrityError), transaction.atomic():
        StockItem.objects.filter(pk=spool.pk).update(reserved=1_000_001)


def test_the_database_refuses_a_second_reversal():
    entry = ledger.use(a_spool(), quantity=1000, **act())
    ledger.reverse(entry, **act())
    with pytest.raises(IntegrityError), transaction.atomic():
        Entry.objects.create(
            item_id=entry.item_id, quantity=1000, reason="reverse", at=NOW, key=a_key(), reverses=entry
        )


def test_a_key_with_another_quantity_is_another_request():
    spool = a_spool()
    request = act()
    ledger.use(spool, quantity=100, **request)
    with pytest.raises(KeyUsedForAnother):
        ledger.use(spool, quantity=200, **request)
    assert on_hand(spool) == 999_900


def test_a_key_that_is_used_is_refused_even_where_there_is_not_enough():
    spool, other = a_spool(), a_spool()
    request = act()
    ledger.use(spool, quantity=100, **request)
    with pytest.raises(KeyUsedForAnother):
        ledger.use(other, quantity=2_000_000, **request)


def test_finding_another_quantity_under_the_same_key_is_another_request():
    spool = a_spool()
    request = act(finding=Finding(0.0, "counted"))
    first = ledger.find(spool, quantity=500_000, **request)
    ledger.use(spool, quantity=1000, **act())
    assert ledger.find(spool, quantity=500_000, **request) == first
    with pytest.raises(KeyUsedForAnother):
        ledger.find(spool, quantity=499_000, **request)
    assert on_hand(spool) == 499_000


def test_one_key_reverses_one_act():
    spool = a_spool()
    first, second = (ledger.use(spool, quantity=1000, **act()) for _ in range(2))
    request = act()
    ledger.reverse(first, **request)
    with pytest.raises(KeyUsedForAnother):
        ledger.reverse(second, **request)
    assert on_hand(spool) == 999_000


def test_a_receipt_reversed_twice_is_told_as_that():
    spool = a_spool()
    entry = spool.entries.get()
    ledger.reverse(entry, **act())
    with pytest.raises(CannotReverse, match="already"):
        ledger.reverse(entry, **act())


def test_taking_back_the_first_use_closes_the_spool_again():
    spool = a_spool()
    first, second = (ledger.use(spool, quantity=1000, **act()) for _ in range(2))
    ledger.reverse(first, **act())
    assert StockItem.objects.get(pk=spool.pk).opened_on == NOW.date()
    ledger.reverse(second, **act())
    assert StockItem.objects.get(pk=spool.pk).opened_on is None


def test_using_what_was_set_aside_twice_with_one_key_uses_once():
    spool = a_spool()
    held = ledger.set_aside(spool, quantity=700_000, holder="job 1", **act())
    request = act()
    first = ledger.use_reserved(held, quantity=200_000, **request)
    assert ledger.use_reserved(held, quantity=200_000, **request) == first
    item = StockItem.objects.get(pk=spool.pk)
    assert (item.on_hand, item.reserved) == (800_000, 500_000)


def test_the_last_of_what_was_set_aside_is_used_once_too():
    spool = a_spool()
    held = ledger.set_aside(spool, quantity=700_000, holder="job 1", **act())
    request = act()
    first = ledger.use_reserved(held, quantity=700_000, **request)
    assert ledger.use_reserved(held, quantity=700_000, **request) == first
    with pytest.raises(NotSetAside, match=f"Nothing of {spool.label} is set aside for job 1 any more"):
        ledger.use_reserved(held, quantity=700_000, **act())
    assert on_hand(spool) == 300_000


def test_a_reservation_that_shrank_is_released_as_it_is():
    spool = a_spool()
    held = ledger.set_aside(spool, quantity=700_000, holder="job 1", **act())
    ledger.find(spool, quantity=600_000, finding=Finding(0.0, "counted"), **act())
    # The caller still holds the row as it was before.
    assert ledger.release([held]) == 1
    assert StockItem.objects.get(pk=spool.pk).reserved == 0
    assert ledger.ledger_problems() == []


def test_setting_aside_sent_again_after_it_shrank_is_still_the_same():
    spool = a_spool()
    request = act()
    held = ledger.set_aside(spool, quantity=700_000, holder="job 1", **request)
    ledger.use_reserved(held, quantity=100_000, **act())
    assert ledger.set_aside(spool, quantity=700_000, holder="job 1", **request) == held
    with pytest.raises(KeyUsedForAnother):
        ledger.set_aside(spool, quantity=1000, holder="job 1", **request)
    assert StockItem.objects.get(pk=spool.pk).reserved == 600_000


def test_a_movement_without_a_key_is_refused():
    with pytest.raises(KeyUsedForAnother, match="needs a key"):
        ledger.use(a_spool(), quantity=1, **act(key=""))
    with pytest.raises(KeyUsedForAnother, match="needs a key"):
        ledger.set_aside(a_spool(), quantity=1, holder="job 1", **act(key=""))
