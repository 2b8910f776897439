"""Cans of spray, and products that are no stabilizer: films, foam and fabric."""

from decimal import Decimal

import pytest

from inventory.compute.errors import WorkshopError
from inventory.compute.lengths import ScaleReading
from inventory.compute.units import Units
from inventory.files.export import export_csv
from inventory.files.importing import apply_import, preview_import
from inventory.ledger import use
from inventory.ledger.check import ledger_problems
from inventory.models import Change, Offer, OrderLine, SprayCan, StabilizerProduct, StockItem, Supplier
from inventory.orders.orders import Arrived, OrderedThing, draft_order, place_order, receive_order
from inventory.shelf.counts import count_item, found_as_typed
from inventory.shelf.receipts import receive_cans, receive_rolls
from inventory.shelf.scan_box import NotAMovement, movement_meant
from inventory.shelf.weights import MoreThanFull, weigh_can
from inventory.shelf.words import held_in_words, how_sure
from tests.factories import NOW, a_delivery, a_key, a_stabilizer

pytestmark = pytest.mark.django_db


def a_spray(**particulars) -> StabilizerProduct:
    return StabilizerProduct.objects.create(maker="Skerry", name="Hold", kind="spray", **particulars)


def a_can(
    product: StabilizerProduct | None = None, *, grams: int = 300, empty_g: int | None = 110
) -> SprayCan:
    return receive_cans(
        product or a_spray(),
        content_mg=grams * 1000,
        empty_mg=None if empty_g is None else empty_g * 1000,
        delivery=a_delivery(price_each=Decimal("9.00")),
    )[0]


def test_a_can_holds_grams_and_is_told_in_the_units_of_the_person():
    can = a_can()
    assert (can.label, can.on_hand, can.unit) == ("A0001", 300_000, "mg")
    use(can, quantity=12_500, key=a_key(), at=NOW, by=None)
    can.refresh_from_db()
    assert held_in_words(can, Units()) == "287.5 g"
    assert held_in_words(can, Units(weight="oz")) == "10.14 oz"
    assert ledger_problems() == []


def test_what_is_left_is_the_weight_less_the_empty_can():
    can = a_can()
    weigh_can(can, gross=ScaleReading(252_000, 1000), key=a_key(), at=NOW, by=None)
    can.refresh_from_db()
    assert (can.on_hand, can.known) == (142_000, StockItem.Known.WEIGHED)
    assert "good to" in how_sure(can, Units())
    with pytest.raises(WorkshopError, match="less than the empty can"):
        weigh_can(can, gross=ScaleReading(90_000, 1000), key=a_key(), at=NOW, by=None)
    with pytest.raises(MoreThanFull, match=r"Full it holds 300\.0 g"):
        weigh_can(can, gross=ScaleReading(590_000, 1000), key=a_key(), at=NOW, by=None)


def test_a_can_of_unknown_weight_is_told_of_and_its_empty_weight_is_noted():
    can = a_can(empty_g=None)
    with pytest.raises(WorkshopError, match="weighs empty is not known"):
        weigh_can(can, gross=ScaleReading(252_000, 1000), key=a_key(), at=NOW, by=None)
    weigh_can(can, gross=ScaleReading(252_000, 1000), empty_mg=100_000, key=a_key(), at=NOW, by=None)
    can.refresh_from_db()
    assert (can.on_hand, can.empty_mg) == (152_000, 100_000)
    assert Change.objects.filter(what=f"{can} when empty").exists()


def test_a_can_is_counted_by_weight_and_scanned_without_a_guess():
    can = a_can()
    found = found_as_typed("4 oz", item=can)
    assert found.quantity == 113_398
    with pytest.raises(MoreThanFull, match="g in A0001"):
        count_item(can, quantity=900_000, key=a_key(), at=NOW, by=None)
    with pytest.raises(NotAMovement, match="what was sprayed or what is left"):
        movement_meant("12 g", kind="can", units=Units())
    assert movement_meant("- 12 g", kind="can", units=Units()).quantity == 12_000
    assert movement_meant("= 120", kind="can", units=Units()).act == "count"


def test_a_spray_comes_in_cans_and_nothing_else_does():
    with pytest.raises(WorkshopError, match="comes in cans"):
        receive_rolls(a_spray(), width_mm=500, length_mm=1000, delivery=a_delivery())
    with pytest.raises(WorkshopError, match="comes in no can"):
        receive_cans(a_stabilizer(), content_mg=300_000, delivery=a_delivery())


def test_cans_films_and_foam_go_into_a_file_and_come_back():
    a_can()
    foam = StabilizerProduct.objects.create(maker="Skerry", name="Puff", kind="foam", thickness_mm=3.0)
    film = a_stabilizer("topping", weight_g_m2=20, comes_off="water")
    web = StabilizerProduct.objects.create(maker="Skerry", name="Web", kind="adhesive", holds_by="fusible")
    for product in (foam, film, web):
        receive_rolls(product, width_mm=500, length_mm=5000, delivery=a_delivery())
    written = export_csv("stabilizer")
    same = preview_import(written, kind="stabilizer")
    assert (same.new, same.changed, same.problems) == (0, 0, ())
    StockItem.objects.filter(kind="can").update(label="A0009")
    again = apply_import(written, kind="stabilizer", at=NOW, by=None)
    assert (again.new, again.changed, again.problems) == (1, 0, ())
    came = SprayCan.objects.get(label="A0001")
    assert (came.on_hand, came.full_mg, came.empty_mg, came.known) == (300_000, 300_000, 110_000, "sealed")


def test_cans_are_offered_ordered_and_received():
    spray = a_spray()
    supplier = Supplier.objects.create(name="Quay")
    offer = Offer.objects.create(
        supplier=supplier, product=spray, can_mg=300_000, pack=2, price=Decimal("18")
    )
    things = [OrderedThing(offer, packs=3, total=Decimal("54"))]
    order = place_order(draft_order(supplier, things=things, key=a_key(), at=NOW, by=None), at=NOW)
    line = order.lines.get()
    assert (line.sold_as, line.things, line.holds) == ("can with 300 g", 6, 300_000)
    receive_order(order, arrived=[Arrived(line, 4)], key=a_key(), at=NOW, by=None)
    assert SprayCan.objects.filter(on_hand=300_000, price_paid=Decimal("9.00")).count() == 4
    assert OrderLine.objects.get(pk=line.pk).to_come == 2
