"""The list for the shop says of every shade what asking for it says, and takes as many queries for any shelf."""

import pytest
from django.urls import reverse

from inventory.catalogue.owning import do_i_own
from inventory.catalogue.pocket import pocket_list
from inventory.compute.colour.seen import difference_seen
from inventory.models import EarlierCode, Shade, Spool
from tests.factories import a_shade, a_spool

pytestmark = pytest.mark.django_db
COLOURS = ("#b01c2e", "#a91d30", "#1c2b8d", "#f2f0e6", "#101010", "#2f6f9f", "#c8a951", "#3c7a4b", "#7d3c98")


def no_colour(shade: Shade) -> Shade:
    Shade.objects.filter(pk=shade.pk).update(lab_l=None, lab_a=None, lab_b=None)
    return Shade.objects.get(pk=shade.pk)


@pytest.fixture
def shelf() -> list[Spool]:
    shades = [a_shade(f"P{number}", hex=hex, name=f"thread {number}") for number, hex in enumerate(COLOURS)]
    no_colour(a_shade("P99", name="colour not said"))
    return [a_spool(shade, left_m=100 * (number + 1)) for number, shade in enumerate(shades[::3])]


def test_each_shade_has_the_answer_that_asking_for_it_gives(shelf):
    listed = pocket_list()
    assert len(listed) == len(COLOURS) + 1
    for each in listed:
        asked = do_i_own(each.shade.code)
        assert asked.very[0].shade == each.shade
        assert asked.very[0].kept == each.kept
        if each.kept.spools:
            assert each.nearest is None
        elif asked.near:
            assert each.nearest is not None
            assert listed[each.nearest].shade == asked.near[0].near.shade
            assert listed[each.nearest].kept == asked.near[0].kept
            assert each.seen == difference_seen(asked.near[0].near.delta_e_00)
        else:
            assert (each.nearest, each.words) == (None, "")


def test_an_empty_workshop_has_an_empty_list_and_a_shelf_without_colours_one_without_answers(signed_in):
    assert pocket_list() == []
    a_spool(no_colour(a_shade("X")), left_m=10)
    assert [each.nearest for each in pocket_list()] == [None]


def test_the_list_is_sent_in_the_persons_units_with_earlier_codes(signed_in, shelf):
    EarlierCode.objects.create(shade=shelf[0].shade, code="OLD-7")
    sent = signed_in.get(reverse("pocket_shades")).json()
    mine = next(each for each in sent["shades"] if each["code"] == "P0")
    assert (mine["spools"], mine["free"], mine["earlier"]) == (1, "100.0 m", ["OLD-7"])
    other = next(each for each in sent["shades"] if each["code"] == "P1")
    assert sent["shades"][other["nearest"]]["code"] == "P0"
    assert "spools" not in other


def test_the_list_asks_no_more_for_more_shades(shelf, django_assert_num_queries):
    with django_assert_num_queries(5):
        pocket_list()
    for number in range(5):
        a_spool(a_shade(f"Q{number}", hex="#123456"), left_m=5)
    with django_assert_num_queries(5):
        pocket_list()


def test_the_page_is_one_of_the_shelf(signed_in, shelf):
    assert "In the shop" in signed_in.get(reverse("own")).content.decode()
    page = signed_in.get(reverse("pocket")).content.decode()
    assert reverse("pocket_shades") in page
    assert "needs its script" in page
    for name in ("worker", "earlier_worker"):
        assert signed_in.get(reverse(name))["Content-Type"].startswith("text/javascript")
