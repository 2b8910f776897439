"""Shades are found and shown by what their colour is called."""

import json
from io import StringIO

import pytest
from django.core.management import call_command
from django.urls import reverse

from inventory.compute.colour.lab import lab_from_hex
from inventory.lists.found import TABS, ShelfSearch, shelf
from inventory.models import EarlierCode, Shade
from inventory.shelf.reads import NoSuchShade, colour_meant
from tests.factories import a_range, a_shade, a_spool

pytestmark = pytest.mark.django_db


@pytest.fixture
def signed_in(client, person):
    client.force_login(person)
    return client


@pytest.fixture
def wall():
    """Three spools: a dark blue one, a strong red one, and one that is called red but is green."""
    return {
        code: a_spool(a_shade(code, hex=hex, name=name))
        for code, hex, name in (
            ("210", "#173459", "Midnight"),
            ("170", "#bf344b", "Signal"),
            ("151", "#337762", "Not red at all"),
        )
    }


def found(text: str) -> set[str]:
    return {row.thing.item.shade.code for row in shelf(TABS["thread"], ShelfSearch(text=text))[0:50]}


def test_a_search_finds_by_plain_words(wall):
    assert found("dark blue") == {"210"}
    assert found("strong red") == {"170"}
    assert found("red") == {"170", "151"}  # one by its colour, one by its name
    assert found("reddish") == set()


def test_a_word_that_is_no_colour_asks_no_more_of_the_database(wall, django_assert_num_queries):
    with django_assert_num_queries(1):
        shelf(TABS["thread"], ShelfSearch(text="midnight")).count()
    with django_assert_num_queries(2):
        shelf(TABS["thread"], ShelfSearch(text="midnight blue")).count()


def test_match_takes_plain_words(wall):
    out = StringIO()
    call_command("match", "dark blue", "--format", "json", stdout=out)
    first = json.loads(out.getvalue())["shades"][0]
    assert (first["code"], first["plain_name"]) == ("210", "dark blue")
    text = StringIO()
    call_command("match", "strong red", stdout=text)
    assert "strong red" in text.getvalue()


def test_a_code_comes_before_a_word(wall):
    a_shade("red", hex="#173459")
    assert colour_meant("red") == Shade.objects.get(code="red").lab
    assert colour_meant("dark green") != lab_from_hex("#000000")
    with pytest.raises(NoSuchShade, match="in words like dark blue"):
        colour_meant("very blue")


def test_the_page_that_tells_what_is_owned_takes_plain_words(signed_in, wall):
    page = signed_in.get(reverse("own"), {"q": "dark blue"})
    assert page.context["answer"].near[0].near.shade.code == "210"


def test_a_swatch_tells_the_colour_in_plain_words(signed_in, wall):
    page = signed_in.get(reverse("shelf")).content.decode()
    assert '<span class="swatch-plain">dark blue</span>' in page
    assert '<span class="swatch-plain">strong red</span>' in page


def test_equivalents_hold_one_way_and_show_the_present_code_for_an_old_one(signed_in, wall):
    shade = wall["170"].shade
    EarlierCode.objects.create(shade=shade, code="1170")
    a_shade("9", range=a_range(name="Other"), hex="#c03050")
    page = signed_in.get(reverse("equivalents"), {"q": "1170"}).content.decode()
    assert "1170 is an earlier code; the shade is now <strong>170</strong>." in page
    assert "Each holds one way" in page
    assert "earlier code" not in signed_in.get(reverse("equivalents"), {"q": "170"}).content.decode()
    out, told = StringIO(), StringIO()
    call_command("equivalents", "1170", "--format", "json", stdout=out)
    data = json.loads(out.getvalue())
    assert (data["code"], data["asked_by_earlier_code"], data["holds"]) == ("170", True, "one way")
    call_command("equivalents", "1170", stdout=told)
    assert "the shade is now" in told.getvalue()
    assert "Each holds one way" in told.getvalue()
