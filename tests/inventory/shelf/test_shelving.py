"""Things moved, edited, split, retired and brought back, each with its trace."""

import pytest
from django.urls import reverse

from inventory import ledger
from inventory.ledger import KeyUsedForAnother, NotEnough
from inventory.ledger.changes import CannotChange, history_of
from inventory.models import BobbinBatch, Change, Shade, StockItem, ThreadRange
from inventory.shelf.receipts import receive_needles, receive_sheets
from inventory.shelf.things import (
    NotOnTheShelf,
    SetAside,
    StillOnTheShelf,
    edit_catalogue,
    edit_item,
    move,
    put_back_on_shelf,
    retire,
    split_pack,
)
from tests.factories import (
    NOW,
    a_delivery,
    a_key,
    a_place,
    a_range,
    a_shade,
    a_spool,
    a_stabilizer,
    some_bobbins,
)

pytestmark = pytest.mark.django_db


def act(**particulars):
    return {"key": a_key(), "at": NOW, "by": None} | particulars


def held(item):
    return StockItem.objects.get(pk=item.pk)


def test_a_moved_spool_is_elsewhere_and_leaves_a_trace():
    spool = a_spool(place=a_place("wall"))
    change = move(spool, place=a_place("drawer"), at=NOW, by=None)
    assert held(spool).place.name == "drawer"
    assert change.fields == {"place": {"before": "wall", "after": "drawer"}}
    assert (change.table, change.record, change.what) == ("stockitem", spool.pk, spool.label)


def test_moving_to_where_it_is_changes_nothing():
    spool = a_spool(place=a_place("wall"))
    assert move(spool, place=a_place("wall"), at=NOW, by=None) is None
    assert not Change.objects.exists()


def test_a_late_repetition_does_not_move_it_back():
    spool = a_spool(place=a_place("wall"))
    request = act(place=a_place("drawer"))
    first = move(spool, **request)
    move(spool, **act(place=a_place("box")))
    assert move(spool, **request) == first
    assert held(spool).place.name == "box"


def test_a_key_belongs_to_one_edit():
    spool = a_spool()
    request = act()
    edit_item(spool, lot="A1", **request)
    with pytest.raises(KeyUsedForAnother):
        edit_item(spool, lot="B2", **request)
    with pytest.raises(KeyUsedForAnother):
        edit_item(a_spool(), lot="A1", **request)
    assert held(spool).lot == "A1"


def test_moving_leaves_the_quantity_to_the_ledger():
    stale = a_spool()
    ledger.use(stale, quantity=400_000, **act())
    move(stale, place=a_place("drawer"), at=NOW, by=None)
    assert held(stale).on_hand == 600_000
    assert ledger.ledger_problems() == []


def test_lot_and_note_can_be_edited_apart():
    spool = a_spool(lot="A1")
    edit_item(spool, note=" left by the window ", **act())
    edit_item(spool, lot="A2", **act())
    assert (held(spool).lot, held(spool).note) == ("A2", "left by the window")
    assert [change.fields.keys() for change in history_of(spool)] == [{"lot"}, {"note"}]


def test_too_long_a_lot_is_refused_in_words():
    spool = a_spool()
    with pytest.raises(CannotChange, match=rf"{spool.label} cannot be changed like this\. lot: Ensure"):
        edit_item(spool, lot="x" * 41, **act())
    assert held(spool).lot == ""


def test_what_left_the_shelf_is_not_moved():
    spool = a_spool()
    retire(spool, **act())
    with pytest.raises(NotOnTheShelf, match="left the shelf on 2 Mar 2026"):
        move(spool, place=a_place(), at=NOW, by=None)


def test_retiring_writes_off_the_rest():
    spool = a_spool(left_m=300)
    entries = retire(spool, **act())
    assert [(entry.reason, entry.quantity) for entry in entries] == [("waste", -300_000), ("retire", 0)]
    assert (held(spool).on_hand, held(spool).retired_at) == (0, NOW)
    assert ledger.ledger_problems() == []


def test_an_empty_spool_retires_without_waste():
    spool = a_spool()
    ledger.use(spool, quantity=1_000_000, **act())
    assert [entry.reason for entry in retire(spool, **act())] == ["retire"]


def test_what_is_set_aside_is_not_retired():
    spool = a_spool()
    ledger.set_aside(spool, quantity=1000, holder="job 7", **act())
    with pytest.raises(SetAside, match=f"{spool.label} is set aside for job 7"):
        retire(spool, **act())
    assert (held(spool).on_hand, held(spool).retired_at) == (1_000_000, None)


def test_retiring_sent_twice_happens_once():
    spool = a_spool()
    request = act()
    assert retire(spool, **request) == retire(spool, **request)
    assert spool.entries.filter(reason="waste").count() == 1


def test_a_retired_spool_comes_back_with_what_was_on_it():
    spool = a_spool(left_m=300)
    retire(spool, **act())
    request = act()
    first = put_back_on_shelf(spool, **request)
    assert put_back_on_shelf(spool, **request) == first
    back = held(spool)
    assert (back.on_hand, back.retired_at, back.sigma, back.known) == (300_000, None, 5_000.0, "weighed")
    assert ledger.ledger_problems() == []


def test_a_retired_spool_is_put_back_on_its_page(client, person):
    client.force_login(person)
    spool = a_spool(left_m=300)
    retire(spool, **act())
    url = reverse("item", args=[spool.label])
    assert "Put it back on the shelf" in client.get(url).content.decode()
    client.post(reverse("act", args=[spool.label, "put-on-shelf"]), {"key": a_key()})
    assert (held(spool).on_hand, held(spool).retired_at) == (300_000, None)
    assert "Put it back on the shelf" not in client.get(url).content.decode()


def test_what_never_came_is_not_offered_to_be_put_back(client, person):
    client.force_login(person)
    spool = a_spool()
    ledger.reverse(spool.entries.get(), **act())
    assert "Put it back on the shelf" not in client.get(reverse("item", args=[spool.label])).content.decode()


def test_an_empty_retired_spool_comes_back_empty():
    spool = a_spool()
    ledger.use(spool, quantity=1_000_000, **act())
    retire(spool, **act())
    put_back_on_shelf(spool, **act())
    assert (held(spool).on_hand, held(spool).retired_at) == (0, None)


def test_what_is_on_the_shelf_cannot_come_back():
    with pytest.raises(StillOnTheShelf):
        put_back_on_shelf(a_spool(), **act())


def test_what_was_received_by_mistake_leaves_the_shelf_when_that_is_undone():
    spool = a_spool()
    ledger.reverse(spool.entries.get(), **act())
    assert (held(spool).on_hand, held(spool).retired_at) == (0, NOW)
    with pytest.raises(StillOnTheShelf, match="do that again"):
        put_back_on_shelf(spool, **act())


def test_taking_back_a_use_of_a_retired_spool_puts_it_on_the_shelf():
    spool = a_spool()
    used = ledger.use(spool, quantity=200_000, **act())
    retire(spool, **act())
    ledger.reverse(used, **act())
    assert (held(spool).on_hand, held(spool).retired_at) == (200_000, None)
    assert ledger.ledger_problems() == []


def test_a_batch_splits_in_two():
    batch = some_bobbins(count=20)
    part = split_pack(batch, count=8, place=a_place("second machine"), **act())
    assert (held(batch).on_hand, held(part).on_hand) == (12, 8)
    assert (part.style, part.shade, part.length_mm) == (batch.style, batch.shade, batch.length_mm)
    assert part.place.name == "second machine"


def test_needles_and_sheets_split_too():
    needles = receive_needles(system="130/705", size=75, count=10, delivery=a_delivery())
    sheets = receive_sheets(a_stabilizer(), width_mm=200, height_mm=300, count=25, delivery=a_delivery())
    assert split_pack(needles, count=5, **act()).size == 75
    assert split_pack(sheets, count=5, **act()).height_mm == 300


def test_splitting_sent_twice_splits_once():
    batch = some_bobbins(count=20)
    request = act(count=15)
    assert split_pack(batch, **request) == split_pack(batch, **request)
    assert (held(batch).on_hand, BobbinBatch.objects.count()) == (5, 2)


def test_splitting_taken_back_makes_it_one_again():
    batch = some_bobbins(count=20)
    part = split_pack(batch, count=8, **act())
    ledger.reverse(part.entries.get(), **act())
    assert (held(batch).on_hand, held(part).on_hand, held(part).retired_at) == (20, 0, NOW)


def test_a_batch_does_not_split_into_all_and_nothing():
    batch = some_bobbins(count=20)
    with pytest.raises(ValueError, match="20 is all there is"):
        split_pack(batch, count=20, **act())
    with pytest.raises(NotEnough):
        split_pack(batch, count=21, **act())
    assert BobbinBatch.objects.count() == 1


def test_what_is_set_aside_is_not_split_off():
    batch = some_bobbins(count=20)
    ledger.set_aside(batch, quantity=15, holder="job 1", **act())
    with pytest.raises(NotEnough, match="of which 15 set aside"):
        split_pack(batch, count=6, **act())


def test_a_spool_is_one_thing():
    spool = a_spool()
    with pytest.raises(ValueError, match=f"{spool.label} is one thing"):
        split_pack(spool, count=1, **act())


def test_an_edit_of_the_catalogue_tells_before_and_after(person):
    shade = a_shade("1147", name="signal red")
    change = edit_catalogue(shade, changes={"name": "port red", "lab_l": 41.5}, at=NOW, by=person)
    assert Shade.objects.get(pk=shade.pk).name == "port red"
    assert change.fields["name"] == {"before": "signal red", "after": "port red"}
    assert (change.table, change.record, change.by) == ("shade", shade.pk, person)


def test_what_stays_the_same_is_not_in_the_trace():
    shade = a_shade("1147", name="signal red")
    change = edit_catalogue(shade, changes={"name": "port red", "code": "1147"}, at=NOW, by=None)
    assert change.fields.keys() == {"name"}


def test_an_edit_to_another_record_names_it():
    shade, other = a_shade(), a_range("Skerry", "Sixty", tex=16.67)
    change = edit_catalogue(shade, changes={"range": other}, at=NOW, by=None)
    assert change.fields == {"range": {"before": "Skerry Forty", "after": "Skerry Sixty"}}


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"tex": -1.0}, "Skerry Forty cannot be changed like this: tex is positive, as a rule"),
        ({"fibre": "straw"}, "fibre: Value 'straw' is not a valid choice"),
    ],
)
def test_an_edit_that_breaks_a_rule_is_refused_in_words(changes, said):
    range = a_range()
    with pytest.raises(CannotChange, match=said):
        edit_catalogue(range, changes=changes, at=NOW, by=None)
    assert ThreadRange.objects.get(pk=range.pk).tex == 27.0
    assert not Change.objects.exists()


def test_two_shades_of_a_range_do_not_share_a_code():
    a_shade("1147")
    shade = a_shade("1148")
    with pytest.raises(CannotChange, match="already exists"):
        edit_catalogue(shade, changes={"code": "1147"}, at=NOW, by=None)


@pytest.mark.parametrize("name", ["id", "spools", "colour"])
def test_only_fields_of_the_record_are_edited(name):
    with pytest.raises(CannotChange, match=f'no "{name}"'):
        edit_catalogue(a_shade(), changes={name: 1}, at=NOW, by=None)


def test_stock_is_not_edited_as_catalogue():
    spool = a_spool()
    with pytest.raises(CannotChange, match="not part of the catalogue"):
        edit_catalogue(spool, changes={"on_hand": 5}, at=NOW, by=None)
    assert held(spool).on_hand == 1_000_000
