"""A stocktake gone through to its end with a scanner: every kind of thing, by two phones, without a slip."""

import pytest
from django.test import Client
from django.urls import reverse

from inventory.ledger import ledger_problems
from inventory.models import StabilizerProduct, StockItem, Stocktake
from inventory.shelf.bobbins import open_bobbin
from inventory.shelf.receipts import receive_cans, receive_needles, receive_offcut, receive_sheets
from tests.factories import (
    NOW,
    a_delivery,
    a_key,
    a_place,
    a_roll,
    a_shade,
    a_spool,
    a_stabilizer,
    some_bobbins,
)
from tests.pages import page_text

pytestmark = pytest.mark.django_db


@pytest.fixture
def phone(client, person):
    client.force_login(person)
    return client


def everything_at(place) -> list[StockItem]:
    stabilizer = a_stabilizer()
    spray = StabilizerProduct.objects.create(maker="Skerry", name="Hold", kind="spray")
    things = [
        a_spool(a_shade(), place=place),
        some_bobbins(),
        a_roll(stabilizer),
        receive_sheets(stabilizer, width_mm=200, height_mm=250, count=12, delivery=a_delivery()),
        receive_offcut(stabilizer, width_mm=200, height_mm=250, delivery=a_delivery()),
        receive_needles(size=75, system="flat shank", count=10, delivery=a_delivery()),
        receive_cans(spray, content_mg=300_000, delivery=a_delivery())[0],
    ]
    StockItem.objects.filter(pk__in=[thing.pk for thing in things]).update(place=place)
    return list(StockItem.objects.filter(place=place).order_by("label"))


def begun(phone, place) -> str:
    return phone.post(reverse("stocktakes"), {"place": place.pk, "key": a_key()}).url


def note(phone, url, code, found, **more):
    return phone.post(url, {"code": code, "found": found, "key": a_key()} | more, follow=True)


def as_the_books_have_it(item: StockItem) -> str:
    if item.kind == StockItem.Kind.CAN:
        return f"{item.on_hand / 1000:g} g"
    return f"{item.on_hand / 1000:g} m" if item.is_measured else str(item.on_hand)


def test_every_kind_of_thing_is_counted_to_the_end_and_the_place_is_free_again(phone):
    place = a_place("press")
    url = begun(phone, place)
    things = everything_at(place)
    Stocktake.objects.all().delete()
    url = begun(phone, place)
    for item in things:
        assert note(phone, url, item.label, as_the_books_have_it(item)).status_code == 200
    page = phone.get(url)
    assert page.status_code == 200
    assert "All have been seen" in page_text(page)
    phone.post(url + "finish/")
    assert Stocktake.objects.get().finished_at is not None
    assert begun(phone, place)


def test_two_phones_count_one_place_to_its_end_together(phone, person):
    place = a_place("press")
    spools = [a_spool(place=place) for _ in range(3)]
    url = begun(phone, place)
    other = Client()
    other.force_login(person)
    assert "Go on with that" in page_text(
        other.post(reverse("stocktakes"), {"place": place.pk, "key": a_key()})
    )
    note(phone, url, spools[0].label, "900 m")
    note(other, url, spools[1].label, "910 m")
    # Both have the last one in hand.
    note(phone, url, spools[2].label, "920 m")
    assert note(other, url, spools[2].label, "930 m").status_code == 200
    assert [StockItem.objects.get(pk=each.pk).on_hand for each in spools] == [900_000, 910_000, 930_000]
    phone.post(url + "finish/")
    assert other.post(url + "finish/", follow=True).status_code == 200
    note(other, url, spools[0].label, "1 m")
    assert StockItem.objects.get(pk=spools[0].pk).on_hand == 900_000


def test_a_code_scanned_where_a_number_is_wanted_is_the_next_thing(phone):
    place = a_place("press")
    first, second = a_spool(place=place), a_spool(place=place)
    url = begun(phone, place)
    page = note(phone, url, first.label, f"HTTPS://THREAD.EXAMPLE/S/{second.label}")
    assert f'value="{second.label}"' in page.content.decode()
    assert "What was found of" in page_text(page)
    assert StockItem.objects.get(pk=first.pk).on_hand == first.on_hand


def test_a_thing_from_another_place_is_asked_about_before_it_moves(phone):
    here, there = a_place("press"), a_place("drawer")
    a_spool(place=here)
    stray = a_spool(place=there)
    url = begun(phone, here)
    page = note(phone, url, stray.label, "900 m")
    assert "The books have" in page_text(page)
    assert StockItem.objects.get(pk=stray.pk).place == there
    assert StockItem.objects.get(pk=stray.pk).on_hand == stray.on_hand
    note(phone, url, stray.label, "900 m", moving="back")
    assert StockItem.objects.get(pk=stray.pk).place == there
    assert StockItem.objects.get(pk=stray.pk).on_hand == 900_000
    note(phone, url, stray.label, "900 m", moving="here")
    assert StockItem.objects.get(pk=stray.pk).place == here


@pytest.mark.parametrize("found", ["123456", "145"])
def test_more_bobbins_than_a_box_are_asked_about(phone, found):
    place = a_place("press")
    batch = some_bobbins(count=10)
    StockItem.objects.filter(pk=batch.pk).update(place=place)
    url = begun(phone, place)
    assert "say that you are sure" in page_text(note(phone, url, batch.label, found))
    assert StockItem.objects.get(pk=batch.pk).on_hand == 10
    note(phone, url, batch.label, found, sure="on")
    assert StockItem.objects.get(pk=batch.pk).on_hand == int(found)


@pytest.mark.parametrize("found", ["70 g", "2017 m"])
def test_what_no_full_spool_can_hold_is_asked_about(phone, found):
    place = a_place("press")
    shade = a_shade()
    shade.range.tex_is_nominal = True
    shade.range.save()
    spool = a_spool(shade, place=place)
    url = begun(phone, place)
    page = page_text(note(phone, url, spool.label, found))
    assert "say that you are sure" in page
    assert StockItem.objects.get(pk=spool.pk).on_hand == 1_000_000


def test_two_phones_go_round_everything_in_turns_leave_it_and_end_it(phone, person):
    """Every kind of thing, a part bobbin among them; each phone takes every other one, some twice, one is not seen."""
    place = a_place("press")
    part = open_bobbin(some_bobbins(), key=a_key(), at=NOW, by=None)
    things = everything_at(place)
    StockItem.objects.filter(pk=part.pk).update(place=place)
    things.append(StockItem.objects.get(pk=part.pk))
    assert {each.kind for each in things} == set(StockItem.Kind.values)
    url = begun(phone, place)
    other = Client()
    other.force_login(person)
    *seen, unseen = things
    for number, item in enumerate(seen):
        first, second = (phone, other) if number % 2 else (other, phone)
        assert "What was found of" in page_text(
            first.post(url, {"code": item.label, "key": a_key()}, follow=True)
        )
        assert note(second, url, item.label, as_the_books_have_it(item)).status_code == 200
        assert note(first, url, item.label, as_the_books_have_it(item)).status_code == 200
        if number == 2:
            # Left lying; another day somebody goes on where it was.
            again = Client()
            again.force_login(person)
            assert "Go on with that" in page_text(
                again.post(reverse("stocktakes"), {"place": place.pk, "key": a_key()})
            )
            assert again.get(url).status_code == 200
    phone.post(url + "finish/")
    stocktake = Stocktake.objects.get()
    assert stocktake.finished_at is not None
    assert [line.item_id for line in stocktake.lines.unseen()] == [unseen.pk]
    assert unseen.label in page_text(phone.get(url + "report/"))
    assert StockItem.objects.get(pk=unseen.pk).on_hand == unseen.on_hand
    assert begun(other, place)
    assert not ledger_problems()
