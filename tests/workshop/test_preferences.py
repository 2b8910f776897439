"""The units and the look that a person chose reach the pages."""

import pytest
from django.contrib.auth.models import User
from django.db import IntegrityError, connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from pytest_django.asserts import assertContains, assertRedirects

from inventory.compute.units import Units
from tests.pages import page_text
from workshop.models import Preference

pytestmark = [pytest.mark.django_db, pytest.mark.urls("tests.workshop.places")]

IMPERIAL = {"length_unit": "yd", "weight_unit": "oz", "size_unit": "in", "theme": "dark"}


def test_a_person_who_never_chose_reads_metric(signed_in: Client) -> None:
    assert "<p>914.4 m, 113.4 g, 25.4 cm</p>" in page_text(signed_in.get("/"))


def test_chosen_units_and_look_reach_every_page(signed_in: Client) -> None:
    assertRedirects(signed_in.post("/preferences/", IMPERIAL), "/preferences/")
    page = signed_in.get("/")
    assert "<p>1,000.0 yd, 4.00 oz, 10.00 in</p>" in page_text(page)
    assertContains(page, 'data-theme="dark"')
    assertContains(page, "Units: yd, oz, in.")


def test_a_choice_can_be_changed_again(signed_in: Client, person: User) -> None:
    signed_in.post("/preferences/", IMPERIAL)
    signed_in.post("/preferences/", IMPERIAL | {"length_unit": "m", "theme": "light"})
    preference = Preference.objects.get(user=person)
    assert preference.units == Units(length="m", weight="oz", size="in")
    assert preference.theme == "light"


def test_a_choice_is_one_persons_own(signed_in: Client) -> None:
    signed_in.post("/preferences/", IMPERIAL)
    other = Client()
    other.force_login(User.objects.create_superuser("robin"))
    assert "914.4 m" in page_text(other.get("/"))


def test_an_unknown_unit_is_not_saved(signed_in: Client) -> None:
    response = signed_in.post("/preferences/", IMPERIAL | {"length_unit": "ell"})
    assertContains(response, "ell is not one of the available choices.")
    assert not Preference.objects.exists()


def test_the_database_refuses_an_unknown_unit(person: User) -> None:
    with pytest.raises(IntegrityError):
        Preference.objects.create(user=person, length_unit="el")


def test_what_programs_read_asks_nothing_of_the_preferences(signed_in: Client) -> None:
    signed_in.post("/preferences/", IMPERIAL)
    with CaptureQueriesContext(connection) as queries:
        signed_in.get("/api/1/stock")
    assert not [q for q in queries if "workshop_preference" in q["sql"]]


def test_language_units_and_look_cost_one_query_a_page(signed_in: Client) -> None:
    signed_in.post("/preferences/", IMPERIAL)
    with CaptureQueriesContext(connection) as queries:
        signed_in.get("/")
    assert len([q for q in queries if "workshop_preference" in q["sql"]]) == 1


def test_an_anonymous_page_asks_nothing_of_the_preferences(client: Client, person: User) -> None:
    with CaptureQueriesContext(connection) as queries:
        assertContains(client.get("/sign-in/"), 'data-theme="auto"')
    assert not [q for q in queries if "workshop_preference" in q["sql"]]
