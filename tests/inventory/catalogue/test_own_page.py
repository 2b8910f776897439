"""The page that answers whether a shade or colour is owned."""

import pytest
from django.urls import reverse

from inventory.models import (
    EarlierCode,
)
from tests.factories import (
    a_place,
    a_range,
    a_shade,
    a_spool,
)

pytestmark = pytest.mark.django_db
RED, BLUE, NAVY = "#b01c2e", "#1c2b8d", "#10163f"


def own(client, text):
    return client.get(reverse("own"), {"q": text})


def test_a_shade_that_is_owned_is_found_by_its_code_with_metres_and_places(signed_in):
    shade = a_shade("R1", name="harbour red")
    a_spool(shade, left_m=300, place=a_place("wall"))
    a_spool(shade, place=a_place("drawer"))
    page = own(signed_in, "r1").content.decode()
    assert "Yes, this very shade" in page
    assert "1,300.0" in page
    assert "drawer, wall" in page


def test_a_shade_that_is_known_but_not_owned_leads_to_the_nearest_that_is(signed_in):
    a_shade("N", hex=NAVY, name="night")
    a_spool(a_shade("B", hex=BLUE, name="deep blue"))
    response = own(signed_in, "night")
    page = response.content.decode()
    assert "No, not this shade" in page
    assert "none of it is on the shelf" in page
    [near] = response.context["answer"].near
    assert near.near.shade.code == "B"
    assert near.near.seen in page


def test_a_colour_is_answered_with_how_its_difference_is_seen(signed_in):
    a_spool(a_shade("B", hex=BLUE, name="deep blue"))
    a_spool(a_shade("R", hex=RED))
    response = own(signed_in, "#1d2c8e")
    answer = response.context["answer"]
    assert [each.near.shade.code for each in answer.near] == ["B", "R"]
    assert answer.closeness == "enough"
    assert answer.near[0].near.seen in response.content.decode()


def test_a_colour_is_owned_or_nearly_or_another_one_is_nearest(signed_in):
    a_spool(a_shade("B", hex=BLUE, name="deep blue"))
    for asked, closeness, word in (
        (BLUE, "enough", "Yes"),
        ("#24349b", "tight", "Nearly"),
        (RED, "short", "No"),
    ):
        response = own(signed_in, asked)
        assert response.context["answer"].closeness == closeness
        assert f'<span class="verdict-words">{word}' in response.content.decode()


def test_an_earlier_code_finds_the_shade_and_says_that_it_is_earlier(signed_in):
    shade = a_shade("R1")
    EarlierCode.objects.create(shade=shade, code="OLD77")
    a_spool(shade)
    assert "OLD77 is an earlier code of it" in own(signed_in, "OLD77").content.decode()


def test_what_nobody_knows_says_how_to_ask(signed_in):
    response = own(signed_in, "octarine")
    assert response.status_code == 200
    assert "Nobody here knows it" in response.content.decode()


def test_a_colour_asked_of_an_empty_shelf_says_so(signed_in):
    assert "No thread of a known colour is owned" in own(signed_in, "#123456").content.decode()


def test_a_colour_that_is_written_wrong_is_refused_and_kept(signed_in):
    response = own(signed_in, "lab:1,2")
    assert response.status_code == 422
    assert 'value="lab:1,2"' in response.content.decode()


def test_one_code_of_two_colours_shows_both(signed_in):
    a_shade("7", hex=RED)
    a_spool(a_shade("7", hex=BLUE, range=a_range("Holm", "Fifty")))
    answer = own(signed_in, "7").context["answer"]
    assert len(answer.very) == 2
    assert answer.several_colours


def test_a_colour_word_is_no_part_of_another_word_and_means_the_colour_too(signed_in):
    called = a_shade("1", hex=RED, name="harbour red")
    a_shade("2", hex=NAVY, name="weathered hand")
    near = a_shade("3", hex="#c0202a", name="buoy")
    a_spool(near)
    answer = own(signed_in, "red").context["answer"]
    assert [each.shade for each in answer.very] == [called]
    assert answer.near[0].near.shade == near
