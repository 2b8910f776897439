"""Stocktake pages: begun, interrupted, gone on with, summed up."""

import pytest
from django.urls import reverse

from inventory.models import StockItem, Stocktake
from tests.factories import a_key, a_place, a_shade, a_spool
from tests.pages import page_text

pytestmark = pytest.mark.django_db


@pytest.fixture
def signed_in(client, person):
    client.force_login(person)
    return client


@pytest.fixture
def begun(signed_in):
    place = a_place("north wall")
    spools = [a_spool(a_shade(), place=place) for _ in range(3)]
    response = signed_in.post(reverse("stocktakes"), {"place": place.pk, "key": a_key()})
    return Stocktake.objects.get(), spools, response.url


def note(client, url, code, found):
    return client.post(url, {"code": code, "found": found, "key": a_key()}, follow=True)


def test_an_empty_workshop_is_told_what_a_stocktake_is_for(signed_in):
    page = signed_in.get(reverse("stocktakes")).content.decode()
    assert "Nothing is kept at a place yet" in page


def test_it_begins_with_the_first_label(signed_in, begun):
    _, spools, url = begun
    page = page_text(signed_in.get(url))
    assert f'value="{spools[0].label}"' in page
    assert "0 of 3 seen" in page


def test_what_is_found_is_put_right_at_once_and_the_next_is_asked_for(signed_in, begun):
    _, spools, url = begun
    page = page_text(note(signed_in, url, spools[0].label, "640 m"))
    assert StockItem.objects.get(pk=spools[0].pk).on_hand == 640_000
    assert "1 of 3 seen" in page
    assert f'value="{spools[1].label}"' in page


def test_code_and_finding_can_be_typed_in_one_go(signed_in, begun):
    _, spools, url = begun
    note(signed_in, url, f"{spools[1].label} half", "")
    assert StockItem.objects.get(pk=spools[1].pk).known == "judged"


def test_a_place_that_is_counted_already_is_gone_on_with(signed_in, begun):
    _, spools, _ = begun
    page = signed_in.post(
        reverse("stocktakes"), {"place": spools[0].place_id, "key": a_key()}
    ).content.decode()
    assert "Go on with that, or finish it first" in page
    assert "Going on" in page


@pytest.mark.parametrize(
    ("code", "found", "problem"),
    [("X9", "5 m", "No item carries the label"), (None, "some", "some"), (None, "", "What was found")],
)
def test_what_is_not_understood_is_asked_again_with_what_was_typed(signed_in, begun, code, found, problem):
    _, spools, url = begun
    response = note(signed_in, url, code or spools[0].label, found)
    assert response.status_code == 422
    assert problem in response.content.decode()
    assert f'value="{code or spools[0].label}"' in response.content.decode()


def test_the_report_names_differences_and_what_was_not_seen(signed_in, begun):
    held, spools, url = begun
    note(signed_in, url, spools[0].label, "640 m")
    note(signed_in, url, spools[1].label, "1000 m")
    page = signed_in.post(reverse("finish_stocktake", args=[held.pk]), follow=True).content.decode()
    assert "1 held less" in page
    assert "640.0" in page
    assert spools[2].label in page.split("Not seen")[1]
    assert note(signed_in, url, spools[2].label, "5 m").status_code in (200, 422)
    assert StockItem.objects.get(pk=spools[2].pk).on_hand == 1_000_000


def test_sending_a_finding_twice_notes_it_once(signed_in, begun):
    _, spools, url = begun
    sent = {"code": spools[0].label, "found": "640 m", "key": a_key()}
    signed_in.post(url, sent)
    signed_in.post(url, sent)
    assert spools[0].entries.count() == 2
