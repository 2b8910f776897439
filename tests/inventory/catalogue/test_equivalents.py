"""The nearest shade of each other range, by measured colour alone."""

import json
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.catalogue.equivalents import NoOneShade, equivalents, one_shade, ranges_without
from inventory.compute.colour.lab import delta_e_00
from inventory.models import Shade
from tests.factories import a_range, a_shade, a_spool

pytestmark = pytest.mark.django_db
RED = "#b01c2e"


@pytest.fixture
def red():
    shade = a_shade("147", hex=RED, name="harbour red")
    fine = a_range("Cormorant", "Fine", fibre="rayon", weight_label="60")
    a_shade("F1", hex="#b83040", range=fine)
    a_spool(a_shade("F2", hex="#b21d30", range=fine))
    a_shade("G1", hex="#20a040", range=a_range("Gannet", "Matt"))
    return shade


def test_each_other_range_gives_its_nearest_the_nearest_first(red):
    found = equivalents(red)
    assert [each.shade.code for each in found] == ["F2", "G1"]
    near, far = found
    assert (near.is_owned, near.same_fibre, near.same_weight) == (True, False, False)
    assert (far.is_owned, far.same_fibre, far.same_weight) == (False, True, True)
    assert near.between[0] <= near.delta_e_00 <= near.between[1]


def test_it_is_the_least_of_all_differences_of_the_range(red):
    for each in equivalents(red):
        every = Shade.objects.filter(range=each.shade.range)
        least = min(delta_e_00(tuple(red.lab), [tuple(other.lab)])[0] for other in every)
        assert each.delta_e_00 == pytest.approx(least)


def test_of_two_equally_near_the_owned_one_is_named(red):
    matt = a_range("Gannet", "Matt")
    a_shade("G2", hex=RED, range=matt)
    a_spool(a_shade("G3", hex=RED, range=matt))
    assert next(each for each in equivalents(red) if each.shade.range == matt).shade.code == "G3"


def test_bobbin_thread_and_shades_without_a_colour_are_no_equivalents(red):
    a_shade("W", hex=RED, range=a_range("Skerry", "Under", purpose="bobbin"))
    bare = a_range("Fulmar", "New")
    Shade.objects.create(range=bare, code="N1")
    assert {each.shade.code for each in equivalents(red)} == {"F2", "G1"}
    assert ranges_without(red, equivalents(red)) == [bare]
    with pytest.raises(NoOneShade, match="Nobody has said"):
        equivalents(Shade.objects.get(code="N1"))


def test_a_shade_is_known_by_code_or_in_full(red):
    assert one_shade(" 147 ") == one_shade("skerry forty 147") == red
    a_shade("147", range=a_range("Cormorant", "Fine"))
    with pytest.raises(NoOneShade, match="may be Cormorant Fine 147, Skerry Forty 147"):
        one_shade("147")
    assert one_shade("Skerry Forty 147") == red


def test_the_command_lists_them(red):
    out = StringIO()
    call_command("equivalents", "147", "--format", "json", stdout=out)
    rows = json.loads(out.getvalue())["equivalents"]
    assert [(row["code"], row["owned"], row["fibre"]) for row in rows] == [
        ("F2", True, "rayon"),
        ("G1", False, "polyester"),
    ]
    assert rows[0]["delta_e_00_from"] <= rows[0]["delta_e_00"] <= rows[0]["delta_e_00_to"]
    out = StringIO()
    call_command("equivalents", "147", stdout=out)
    assert "Cormorant Fine F2" in out.getvalue()


def test_the_pages_show_them_beside_the_shade_and_by_themselves(client, person, red):
    client.force_login(person)
    for address in (
        reverse("catalogue_record", args=["shades", red.pk]),
        reverse("shade_equivalents", args=[red.pk]),
        reverse("equivalents") + "?q=147",
    ):
        page = client.get(address).content.decode()
        assert "F2" in page
        assert "rayon, another" in page
    assert client.get(reverse("equivalents") + "?q=nothing").status_code == 422
    assert client.get(reverse("equivalents")).status_code == 200


def test_the_queries_do_not_grow_with_the_ranges(client, person, red):
    client.force_login(person)
    address = reverse("shade_equivalents", args=[red.pk])

    def queries():
        with CaptureQueriesContext(connection) as caught:
            assert client.get(address).status_code == 200
        return len(caught)

    few = queries()
    for number in range(6):
        a_spool(a_shade(f"H{number}", range=a_range("Heron", f"Line {number}")))
    assert queries() == few
