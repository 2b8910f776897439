"""The pages on which stock comes onto the shelf."""

import pytest
from django.urls import reverse

from inventory.ledger import ledger_problems
from inventory.models import (
    BobbinBatch,
    EarlierCode,
    NeedlePack,
    Offcut,
    SheetPack,
    Spool,
    StabilizerRoll,
    StockItem,
)
from inventory.shelf.arrival_forms import ARRIVALS
from inventory.shelf.forms import shades_like
from tests.factories import (
    a_bobbin_style,
    a_place,
    a_put_up,
    a_range,
    a_shade,
    a_stabilizer,
)

pytestmark = pytest.mark.django_db


def come(client, slug, **fields):
    page = client.get(reverse("receive", args=[slug]))
    fields = {"key": page.context["form"]["key"].value()} | fields
    return client.post(reverse("receive", args=[slug]), fields, follow=True)


def test_new_spools_come_by_the_code_of_their_shade(signed_in):
    shade, wall = a_shade("R1", name="harbour red"), a_place("wall")
    a_put_up(shade.range)
    page = come(
        signed_in, "spools", shade="R1", count="3", lot="L7", place=wall.pk, price="4,20"
    ).content.decode()
    spools = list(Spool.objects.all())
    assert [(each.shade, each.lot, each.place, str(each.price_paid)) for each in spools] == [
        (shade, "L7", wall, "4.20")
    ] * 3
    assert all(each.label in page for each in spools)
    assert ledger_problems() == []


def test_a_delivery_sent_twice_comes_once_and_can_be_undone(signed_in):
    shade = a_shade("R1")
    a_put_up(shade.range)
    for _ in range(2):
        page = come(signed_in, "spools", shade="R1", count="2", key="one-and-the-same")
    assert Spool.objects.count() == 2
    signed_in.post(reverse("take_back", args=[page.context["reversible"].pk]))
    assert StockItem.objects.on_the_shelf().count() == 0


@pytest.mark.parametrize(
    "typed", ["R1", "r1", "OLD1", "harbour red", "Skerry Forty R1 harbour red", "skerry harbour"]
)
def test_a_shade_is_known_by_code_earlier_code_name_or_words(typed):
    shade = a_shade("R1", name="harbour red")
    EarlierCode.objects.create(shade=shade, code="OLD1")
    a_shade("R11", name="harbour red deep", range=a_range("Holm", "Fifty"))
    assert shades_like(typed)[0] == shade
    assert len(shades_like(typed)) == 1


def test_a_code_that_several_makers_use_is_asked_about(signed_in):
    a_shade("1147")
    a_shade("1147", range=a_range("Holm", "Fifty"))
    response = come(signed_in, "spools", shade="1147", count="2")
    page = response.content.decode()
    assert response.status_code == 422
    assert "could be Holm Fifty 1147; Skerry Forty 1147" in page
    assert 'value="1147"' in page
    assert 'value="2"' in page


def test_a_put_up_is_the_last_one_or_the_only_one_or_asked_for(signed_in):
    shade = a_shade("R1")
    a_put_up(shade.range, metres=1000)
    cone = a_put_up(shade.range, metres=5000)
    response = come(signed_in, "spools", shade="R1", count="1")
    assert response.status_code == 422
    assert "Choose how it is sold: 1000 m spool, 5000 m spool" in response.content.decode()
    come(signed_in, "spools", shade="R1", count="1", put_up=cone.pk)
    come(signed_in, "spools", shade="R1", count="1")
    assert list(Spool.objects.values_list("put_up", flat=True)) == [cone.pk, cone.pk]


def test_a_part_used_spool_comes_judged_measured_or_unknown(signed_in):
    shade = a_shade("R1")
    put_up = a_put_up(shade.range)
    come(signed_in, "part-used-spool", shade="R1", put_up=put_up.pk, looks="half")
    come(signed_in, "part-used-spool", shade="R1", length="120")
    come(signed_in, "part-used-spool", shade="R1")
    assert list(Spool.objects.order_by("pk").values_list("on_hand", "known")) == [
        (500_000, "judged"), (120_000, "judged"), (0, "unknown")
    ]  # fmt: skip


def test_bobbins_rolls_sheets_offcuts_and_needles_come(signed_in):
    style, product = a_bobbin_style(), a_stabilizer()
    a_shade("W", range=a_range("Skerry", "Under", purpose="bobbin"))
    come(signed_in, "bobbins", style=style.pk, shade="W", length="100", count="12", price="0.5")
    come(signed_in, "rolls", product=product.pk, width="50", length="10", count="2")
    come(signed_in, "sheets", product=product.pk, width="20", height="25", count="50")
    come(signed_in, "offcut", product=product.pk, width="15", height="18")
    come(signed_in, "needles", system="HX5", size="75", point="ball", count="10")
    assert BobbinBatch.objects.get().on_hand == 12
    assert [(roll.width_mm, roll.on_hand) for roll in StabilizerRoll.objects.all()] == [(500, 10_000)] * 2
    assert SheetPack.objects.get().on_hand == 50
    assert (Offcut.objects.get().width_mm, Offcut.objects.get().height_mm) == (150, 180)
    assert NeedlePack.objects.get().point == "ball"
    assert ledger_problems() == []


@pytest.mark.parametrize(
    ("field", "typed", "says"),
    [
        ("shade", "nothing like it", "No shade is called"),
        ("shade", "", "required"),
        ("count", "0", "cannot be received at once"),
        ("count", "2.5", "not a whole number"),
        ("price", "4.205", "could be"),
        ("price", "four", "not a number"),
        ("place", "999", "valid choice"),
    ],
)
def test_a_delivery_that_makes_no_sense_is_refused_and_kept(signed_in, field, typed, says):
    a_put_up(a_shade("R1").range)
    response = come(signed_in, "spools", **({"shade": "R1", "count": "1", "lot": "KEEP"} | {field: typed}))
    assert response.status_code == 422
    assert says in response.content.decode()
    assert 'value="KEEP"' in response.content.decode()
    assert not Spool.objects.exists()


def test_the_next_delivery_keeps_place_and_price(signed_in):
    a_put_up(a_shade("R1").range)
    wall = a_place()
    page = come(signed_in, "spools", shade="R1", count="1", place=wall.pk, price="4.20")
    form = page.context["form"]
    assert str(form["place"].value()) == str(wall.pk)
    assert form["price"].value() == "4.20"
    assert not form["shade"].value()


@pytest.mark.parametrize("slug", ARRIVALS)
def test_each_form_says_what_the_catalogue_lacks(signed_in, slug):
    response = signed_in.get(reverse("receive", args=[slug]))
    assert response.status_code == 200
    assert "The catalogue lacks" in response.content.decode()


def test_shades_are_offered_while_typing(signed_in):
    a_shade("R1", name="harbour red")
    page = signed_in.get(reverse("shade_choices"), {"shade": "harb"}).content.decode()
    assert '<option value="Skerry Forty R1 harbour red">' in page
