"""The pages of the catalogue."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.catalogue.pages import BOOKS
from inventory.compute.units import Units
from inventory.models import (
    Change,
    EarlierCode,
    Offer,
    Place,
    PutUp,
    Shade,
    Supplier,
    ThreadRange,
)
from inventory.shelf.forms import MeasureField, shades_like
from tests.factories import (
    a_place,
    a_put_up,
    a_range,
    a_shade,
    an_offer,
)
from tests.pages import page_text

pytestmark = pytest.mark.django_db
NAVY = "#10163f"


def add(client, slug, **fields):
    page = client.get(reverse("catalogue_add", args=[slug]))
    fields = {"key": page.context["form"]["key"].value()} | fields
    return client.post(reverse("catalogue_add", args=[slug]), fields, follow=True)


def edit(client, slug, record, **fields):
    address = reverse("catalogue_record", args=[slug, record.pk])
    form = client.get(address).context["form"]
    now = {name: form[name].value() for name in form.fields}
    sent = {name: value for name, value in (now | fields).items() if value not in (None, False)}
    return client.post(address, sent, follow=True)


def test_a_catalogue_is_built_from_nothing(signed_in):
    add(signed_in, "places", name="wall")
    add(
        signed_in,
        "ranges",
        maker="Holm",
        name="Fifty",
        purpose="needle",
        fibre="rayon",
        tex="24,5",
        weight_label="50",
    )
    thread = ThreadRange.objects.get()
    page = add(
        signed_in, "shades", range=thread.pk, code="77", name="sea green", colour="#2e8b57", colour_source="screen",
        earlier="A7; B7",
    )  # fmt: skip
    assert "sea green" in page.content.decode()
    add(signed_in, "put-ups", range=thread.pk, name="cone", length_mm="5000", tare_mg="31.5")
    add(signed_in, "bobbin-styles", name="L", outer_diameter_mm="20.3", width_mm="8,9", core_diameter_mm="6")
    add(signed_in, "stabilizers", maker="Holm", name="Tear", kind="tear-away", weight_g_m2="50")
    add(signed_in, "suppliers", name="Quay", lead_time_days="5", shipping="4.90")
    shade, put_up = Shade.objects.get(), PutUp.objects.get()
    add(
        signed_in,
        "thread-offers",
        supplier=Supplier.objects.get().pk,
        put_up=put_up.pk,
        pack="6",
        price="30.00",
    )
    assert thread.tex == 24.5
    assert shade.hex == "#2e8b57"
    assert {code.code for code in shade.earlier_codes.all()} == {"A7", "B7"}
    assert (put_up.length_mm, put_up.tare_mg) == (5_000_000, 31_500)
    assert Offer.objects.get().pack == 6
    assert set(Change.objects.values_list("table", flat=True)) >= {
        "place",
        "threadrange",
        "shade",
        "putup",
        "offer",
    }


def test_an_edit_is_noted_with_who_and_what_and_shown(signed_in, person):
    shade = a_shade("R1", name="harbour red")
    page = page_text(edit(signed_in, "shades", shade, name="signal red", earlier="OLD1"))
    assert "name from harbour red to signal red" in page
    assert "earlier codes from nothing to OLD1" in page
    assert {change.by for change in Change.objects.all()} == {person}
    assert shades_like("OLD1") == [shade]


def test_saving_without_a_change_notes_nothing_and_loses_nothing(signed_in):
    shade = a_shade("R1", hex=NAVY)
    put_up = a_put_up(shade.range, tare_mg=12_345)
    lab = (shade.lab_l, shade.lab_a, shade.lab_b)
    for slug, record in (("shades", shade), ("put-ups", put_up)):
        assert "nothing was changed" in edit(signed_in, slug, record).content.decode()
    shade.refresh_from_db()
    put_up.refresh_from_db()
    assert (shade.lab_l, shade.lab_a, shade.lab_b) == lab
    assert put_up.tare_mg == 12_345
    assert not Change.objects.exists()


def test_the_same_addition_sent_twice_adds_one(signed_in):
    for _ in range(2):
        response = add(signed_in, "places", name="wall", key="one-and-the-same")
    assert response.status_code in (200, 422)
    assert Place.objects.count() == 1


@pytest.mark.parametrize(
    ("slug", "fields", "says"),
    [
        (
            "ranges",
            {"maker": "Holm", "name": "Fifty", "purpose": "needle", "fibre": "rayon", "tex": "0"},
            "above zero",
        ),
        (
            "ranges",
            {"maker": "Holm", "name": "Fifty", "purpose": "needle", "fibre": "rayon", "tex": "fine"},
            "number",
        ),
        ("places", {"name": "wall"}, "already exists"),
        (
            "bobbin-styles",
            {"name": "L", "outer_diameter_mm": "5", "width_mm": "9", "core_diameter_mm": "6"},
            "room",
        ),
        ("suppliers", {"name": "Q", "lead_time_days": "-1", "shipping": "1"}, "greater than or equal to 0"),
    ],
)
def test_a_record_that_cannot_be_is_refused_in_words(signed_in, slug, fields, says):
    a_place("wall")
    response = add(signed_in, slug, **fields)
    assert response.status_code == 422
    assert says in response.content.decode()


def test_a_colour_that_is_none_is_refused_in_the_catalogue_too(signed_in):
    response = edit(signed_in, "shades", a_shade("R1"), colour="reddish")
    assert response.status_code == 422
    assert "reddish" in response.content.decode()
    assert "is not a colour" in response.content.decode()


@pytest.mark.parametrize("slug", BOOKS)
def test_an_empty_book_says_what_it_is_for(signed_in, slug):
    page = signed_in.get(reverse("catalogue_list", args=[slug])).content.decode()
    assert "None yet" in page
    assert BOOKS[slug].what_for.split(",")[0].split("'")[0][:20] in page


def test_the_shades_of_a_range_are_listed_with_their_colours(signed_in):
    shade = a_shade("R1", name="harbour red")
    EarlierCode.objects.create(shade=shade, code="OLD1")
    a_shade("X", range=a_range("Holm", "Fifty"))
    page = signed_in.get(
        reverse("catalogue_list", args=["shades"]), {"range": shade.range_id}
    ).content.decode()
    assert "harbour red" in page
    assert "OLD1" in page
    assert "Holm" not in page


def test_a_book_asks_the_database_no_more_for_more_records(signed_in):
    an_offer(a_put_up())
    a_shade()

    def counted():
        counts = []
        for slug in BOOKS:
            with CaptureQueriesContext(connection) as queries:
                signed_in.get(reverse("catalogue_list", args=[slug]))
            counts.append(len(queries))
        return counts

    counted()
    before = counted()
    for number in range(10):
        thread = a_range("Holm", f"No {number}")
        EarlierCode.objects.create(shade=a_shade(range=thread), code="OLD")
        an_offer(a_put_up(thread), supplier=f"Quay {number}")
    assert counted() == before


@pytest.mark.parametrize("unit", ["m", "yd"])
@pytest.mark.parametrize("mm", [0, 1, 500, 914, 1_000, 1_234, 123_456, 5_000_000])
def test_a_stored_length_shown_in_a_field_is_read_back_the_same(unit, mm):
    field = MeasureField(measure="length", label="Length")
    field.read_in(Units(length=unit))
    assert field.clean(field.prepare_value(mm)) == mm
