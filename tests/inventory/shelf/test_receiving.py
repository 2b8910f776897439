"""Deliveries: boxes that become spools, labels that are nobody else's, and prices to the cent."""

from decimal import Decimal

import pytest

from inventory import ledger
from inventory.compute.errors import WorkshopError
from inventory.ledger import KeyUsedForAnother
from inventory.models import LabelSeries, NeedlePack, Spool, StockItem
from inventory.shelf.receipts import (
    receive_boxes,
    receive_needles,
    receive_offcut,
    receive_open_spool,
    receive_rolls,
    receive_spools,
)
from tests.factories import (
    NOW,
    a_delivery,
    a_key,
    a_put_up,
    a_range,
    a_shade,
    a_spool,
    a_stabilizer,
)

pytestmark = pytest.mark.django_db


def test_a_box_becomes_single_spools_that_share_its_price():
    shade = a_shade()
    spools = receive_boxes(
        shade,
        put_up=a_put_up(),
        boxes=2,
        spools_each=6,
        price_a_box=Decimal("25.00"),
        delivery=a_delivery(lot="A1"),
    )
    assert len({spool.label for spool in spools}) == 12
    assert {(spool.on_hand, spool.lot) for spool in spools} == {(1_000_000, "A1")}
    assert sum(spool.price_paid for spool in spools) == Decimal("50.00")
    assert {spool.price_paid for spool in spools} == {Decimal("4.17"), Decimal("4.16")}


def test_a_delivery_sent_twice_comes_once():
    shade, delivery = a_shade(), a_delivery()
    first = receive_spools(shade, put_up=a_put_up(), count=3, delivery=delivery)
    assert receive_spools(shade, put_up=a_put_up(), count=3, delivery=delivery) == first
    assert Spool.objects.count() == 3


def test_a_key_belongs_to_one_delivery():
    shade, delivery = a_shade(), a_delivery()
    receive_spools(shade, put_up=a_put_up(), delivery=delivery)
    with pytest.raises(KeyUsedForAnother):
        receive_spools(shade, put_up=a_put_up(), count=2, delivery=delivery)
    with pytest.raises(KeyUsedForAnother):
        receive_spools(a_shade(), put_up=a_put_up(), delivery=delivery)
    with pytest.raises(KeyUsedForAnother):
        receive_rolls(a_stabilizer(), width_mm=500, length_mm=1_000_000, delivery=delivery)
    assert StockItem.objects.count() == 1


def test_a_key_that_moved_stock_receives_nothing():
    spool, key = a_spool(), a_key()
    ledger.use(spool, quantity=1, key=key, at=NOW, by=None)
    with pytest.raises(KeyUsedForAnother):
        receive_spools(spool.shade, put_up=a_put_up(), delivery=a_delivery(key=key))
    assert Spool.objects.count() == 1


def test_a_delivery_is_the_same_after_its_empty_weight_was_learnt():
    shade, delivery = a_shade(), a_delivery()
    (spool,) = receive_spools(shade, put_up=a_put_up(), delivery=delivery)
    Spool.objects.filter(pk=spool.pk).update(tare_mg=11_000)
    assert receive_spools(shade, put_up=a_put_up(), delivery=delivery) == [spool]


def test_a_label_of_ones_own_is_kept():
    (spool,) = receive_spools(a_shade(), put_up=a_put_up(), labels=[" RED-7 "], delivery=a_delivery())
    assert spool.label == "RED-7"


@pytest.mark.parametrize(
    ("labels", "count", "said"),
    [
        (["red-7"], 1, "on another item"),
        (["A", "a"], 2, "two things"),
        ([""], 1, "two things"),
        (["ONE"], 2, "1 label codes for 2"),
    ],
)
def test_a_label_is_nobody_elses(labels, count, said):
    shade = a_shade()
    receive_spools(shade, put_up=a_put_up(), labels=["RED-7"], delivery=a_delivery())
    with pytest.raises(WorkshopError, match=said):
        receive_spools(shade, put_up=a_put_up(), count=count, labels=labels, delivery=a_delivery())
    assert Spool.objects.count() == 1


def test_label_codes_pass_over_those_given_out_by_hand():
    shade = a_shade()
    for label in ("S0001", "s0003"):
        receive_spools(shade, put_up=a_put_up(), labels=[label], delivery=a_delivery())
    spools = receive_spools(shade, put_up=a_put_up(), count=3, delivery=a_delivery())
    assert [spool.label for spool in spools] == ["S0002", "S0004", "S0005"]


def test_a_refused_delivery_uses_up_no_label():
    with pytest.raises(ValueError, match="cannot be received at once"):
        receive_spools(a_shade(), put_up=a_put_up(), count=1001, delivery=a_delivery())
    assert not LabelSeries.objects.filter(last__gt=0).exists()


def test_a_spool_is_of_its_own_range():
    other = a_put_up(a_range("Skerry", "Sixty", tex=16.67))
    with pytest.raises(ValueError, match="choose a length of its own range"):
        receive_spools(a_shade(), put_up=other, delivery=a_delivery())


def test_a_part_used_spool_comes_unknown_or_as_somebody_says():
    shade = a_shade()
    unknown = receive_open_spool(shade, delivery=a_delivery())
    said = receive_open_spool(shade, put_up=a_put_up(), length_mm=400_000, delivery=a_delivery())
    assert (unknown.known, unknown.sigma, unknown.put_up) == ("unknown", None, None)
    assert (said.known, said.on_hand, said.sigma) == ("judged", 400_000, 100_000.0)
    assert ledger.ledger_problems() == []


def test_an_unknown_spool_can_be_used_from():
    spool = receive_open_spool(a_shade(), delivery=a_delivery())
    ledger.use(spool, quantity=80_000, key=a_key(), at=NOW, by=None)
    spool.refresh_from_db()
    assert (spool.on_hand, spool.known) == (0, "unknown")
    assert ledger.ledger_problems() == []


def test_a_pack_of_needles_is_counted():
    pack = receive_needles(system="130/705", size=75, count=10, point="ball", delivery=a_delivery())
    assert (pack.on_hand, pack.known, pack.label[0]) == (10, "counted", "N")
    assert NeedlePack.objects.get().get_point_display() == "ball point"


@pytest.mark.parametrize("particulars", [{"system": " "}, {"size": 0}, {"count": 0}, {"point": "blunt"}])
def test_needles_that_are_none_are_refused(particulars):
    with pytest.raises(ValueError):  # noqa: PT011  each in its own words
        receive_needles(
            **{"system": "130/705", "size": 75, "count": 10, "delivery": a_delivery()} | particulars
        )
    assert not NeedlePack.objects.exists()


def test_an_offcut_that_turns_up_is_one_piece():
    offcut = receive_offcut(a_stabilizer(), width_mm=200, height_mm=150, delivery=a_delivery())
    assert (offcut.on_hand, offcut.known) == (1, "counted")
