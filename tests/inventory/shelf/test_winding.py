"""Bobbins wound, opened and put back: the thread is always in one place."""

import pytest

from inventory import ledger
from inventory.ledger import CannotReverse, KeyUsedForAnother, NotEnough
from inventory.models import BobbinBatch, PartBobbin, StockItem
from inventory.shelf.bobbins import MoreThanABobbinHolds, open_bobbin, put_back_part_bobbin, wind_bobbins
from tests.factories import NOW, a_bobbin_style, a_key, a_place, a_range, a_shade, a_spool, some_bobbins

pytestmark = pytest.mark.django_db


def act(**particulars):
    return {"key": a_key(), "at": NOW, "by": None} | particulars


def held(item):
    return StockItem.objects.get(pk=item.pk)


def a_cone(*, metres=5000):
    under = a_range("Skerry", "Under", purpose="bobbin", tex=16.67, weight_label="60")
    return a_spool(a_shade(range=under, hex="#ffffff"), metres=metres)


def test_metres_leave_the_spool_and_bobbins_appear():
    cone = a_cone()
    batch = wind_bobbins(cone, style=a_bobbin_style(), count=6, length_mm=90_000, **act())
    assert (held(cone).on_hand, held(batch).on_hand) == (5_000_000 - 6 * 90_000, 6)
    assert (batch.shade, batch.length_mm, batch.self_wound) == (cone.shade, 90_000, True)
    assert {entry.reason for entry in [*cone.entries.all(), *batch.entries.all()]} == {"receive", "wind"}


def test_a_bobbin_holds_what_people_wind_on_it_if_no_length_is_given():
    # 93 m of 60 weight polyester on an L bobbin wound by hand, from a thread maker's teaching page.
    batch = wind_bobbins(a_cone(), style=a_bobbin_style("L"), count=1, **act())
    assert batch.length_mm == pytest.approx(93_000, rel=0.02)


def test_winding_widens_what_is_known_of_the_spool():
    cone = a_cone()
    before = cone.sigma
    wind_bobbins(cone, style=a_bobbin_style(), count=10, length_mm=90_000, **act())
    assert held(cone).sigma == pytest.approx((before**2 + (0.05 * 900_000) ** 2) ** 0.5)


def test_winding_opens_the_spool_and_undoing_closes_it():
    cone = a_cone()
    batch = wind_bobbins(cone, style=a_bobbin_style(), count=1, **act())
    assert held(cone).opened_on == NOW.date()
    ledger.reverse(batch.entries.get(), **act())
    assert held(cone).opened_on is None


def test_winding_taken_back_restores_both():
    cone = a_cone()
    batch = wind_bobbins(cone, style=a_bobbin_style(), count=6, length_mm=90_000, **act())
    ledger.reverse(batch.entries.get(), **act())
    assert (held(cone).on_hand, held(cone).sigma, held(cone).known) == (5_000_000, cone.sigma, cone.known)
    assert (held(batch).on_hand, held(batch).retired_at) == (0, NOW)
    assert ledger.ledger_problems() == []


def test_winding_cannot_be_taken_back_once_a_bobbin_is_used():
    cone = a_cone()
    batch = wind_bobbins(cone, style=a_bobbin_style(), count=6, length_mm=90_000, **act())
    ledger.use(batch, quantity=1, **act())
    with pytest.raises(CannotReverse, match="used or set aside since"):
        ledger.reverse(batch.entries.get(reason="wind"), **act())
    assert held(cone).on_hand == 5_000_000 - 6 * 90_000


def test_winding_sent_twice_winds_once():
    cone = a_cone(metres=600)
    request = act(style=a_bobbin_style(), count=6, length_mm=90_000)
    batch = wind_bobbins(cone, **request)
    # Not enough is left for a second time, and it is the same request all the same.
    assert wind_bobbins(cone, **request) == batch
    assert BobbinBatch.objects.count() == 1
    assert held(cone).on_hand == 60_000


def test_a_key_belongs_to_one_winding():
    cone = a_cone()
    request = act(style=a_bobbin_style(), count=6, length_mm=90_000)
    wind_bobbins(cone, **request)
    with pytest.raises(KeyUsedForAnother):
        wind_bobbins(cone, **request | {"count": 9, "length_mm": 60_000})
    assert BobbinBatch.objects.count() == 1


def test_too_little_thread_winds_nothing():
    cone = a_cone(metres=500)
    with pytest.raises(NotEnough):
        wind_bobbins(cone, style=a_bobbin_style(), count=6, length_mm=90_000, **act())
    assert not BobbinBatch.objects.exists()
    assert held(cone).on_hand == 500_000


def test_a_bobbin_cannot_hold_more_than_its_space():
    with pytest.raises(MoreThanABobbinHolds, match=r"300\.0 m do not fit on a L bobbin"):
        wind_bobbins(a_cone(), style=a_bobbin_style(), count=1, length_mm=300_000, **act())


def test_wound_bobbins_carry_their_share_of_the_price():
    cone = a_spool(metres=1000, price_each="10.00")
    batch = wind_bobbins(cone, style=a_bobbin_style(), count=5, length_mm=50_000, **act())
    assert (str(batch.price_paid), batch.quantity_paid) == ("2.50", 5)


def test_a_bobbin_opened_is_one_fewer_and_a_part_bobbin_more():
    batch = some_bobbins(count=20, metres=100)
    part = open_bobbin(batch, **act())
    assert (held(batch).on_hand, held(part).on_hand) == (19, 100_000)
    assert (part.kind, part.shade, part.style) == ("part_bobbin", batch.shade, batch.style)


def test_opening_sent_twice_opens_one():
    batch = some_bobbins(count=1)
    request = act()
    assert open_bobbin(batch, **request) == open_bobbin(batch, **request)
    assert PartBobbin.objects.count() == 1


def test_opening_taken_back_restores_both():
    batch = some_bobbins(count=20)
    part = open_bobbin(batch, **act())
    ledger.reverse(part.entries.get(), **act())
    assert (held(batch).on_hand, held(part).on_hand, held(part).retired_at) == (20, 0, NOW)


def test_no_bobbin_is_opened_from_an_empty_batch():
    batch = some_bobbins(count=1)
    open_bobbin(batch, **act())
    with pytest.raises(NotEnough):
        open_bobbin(batch, **act())
    assert PartBobbin.objects.count() == 1


def test_what_is_missing_from_a_bobbin_that_comes_back_was_used():
    part = open_bobbin(some_bobbins(metres=100), **act())
    (entry,) = put_back_part_bobbin(part, left_mm=35_000, place=a_place("drawer"), **act())
    assert (entry.quantity, entry.reason) == (-65_000, "use")
    assert (held(part).on_hand, held(part).known, held(part).place.name) == (35_000, "judged", "drawer")


def test_an_empty_bobbin_leaves_the_shelf_and_comes_back_when_that_is_undone():
    part = open_bobbin(some_bobbins(metres=100), **act())
    entries = put_back_part_bobbin(part, left_mm=0, **act())
    assert (held(part).on_hand, held(part).retired_at) == (0, NOW)
    ledger.reverse(entries[0], **act())
    assert (held(part).on_hand, held(part).retired_at, held(part).known) == (100_000, None, part.known)


def test_putting_back_sent_twice_uses_once():
    part = open_bobbin(some_bobbins(metres=100), **act())
    request = act(left_mm=0)
    assert put_back_part_bobbin(part, **request) == put_back_part_bobbin(part, **request)
    assert ledger.ledger_problems() == []


def test_more_than_was_on_it_cannot_be_left():
    part = open_bobbin(some_bobbins(metres=100), **act())
    with pytest.raises(NotEnough, match=r"100\.0 m by the books, so 100\.1 m cannot be left"):
        put_back_part_bobbin(part, left_mm=100_100, **act())


def test_only_spools_are_wound_from_and_only_batches_opened():
    batch, cone = some_bobbins(), a_cone()
    with pytest.raises(ValueError, match="is no spool"):
        wind_bobbins(batch, style=a_bobbin_style(), count=1, **act())
    with pytest.raises(ValueError, match="is no batch"):
        open_bobbin(cone, **act())
    with pytest.raises(ValueError, match="is no part bobbin"):
        put_back_part_bobbin(cone, left_mm=0, **act())
