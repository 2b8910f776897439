"""A tablet at a machine: let in once, chosen by PIN, let go."""

from datetime import timedelta

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.utils import timezone
from pytest_django.asserts import assertContains, assertRedirects

from planning.models import Machine
from workshop.models import Member, Role
from workshop.people import stations
from workshop.people.stations import STATION_COOKIE, BadPin

pytestmark = pytest.mark.django_db


@pytest.fixture
def robin() -> User:
    user = User.objects.create_user("robin")
    Member.objects.create(user=user, role=Role.STITCHER)
    stations.set_pin(user, "4711")
    return user


@pytest.fixture
def tablet(client: Client) -> Client:
    User.objects.create_superuser("morgan")
    machine = Machine.objects.create(name="Six needles")
    _, secret = stations.set_up_station("Left wall", machine=machine, at=timezone.now(), by=None)
    assertRedirects(client.get("/station/", {"let": secret}), "/station/")
    client.secret = secret  # type: ignore[attr-defined]
    return client


def test_the_link_of_a_tablet_is_spent_by_the_tablet_that_followed_it(tablet: Client) -> None:
    assert tablet.cookies[STATION_COOKIE].value != tablet.secret  # type: ignore[attr-defined]
    assert Client().get("/station/", {"let": tablet.secret}).status_code == 403  # type: ignore[attr-defined]
    assertContains(tablet.get("/station/"), "Six needles")


def test_a_person_chooses_themselves_with_their_pin_and_is_let_go(tablet: Client, robin: User) -> None:
    response = tablet.post("/station/choose/", {"person": robin.pk, "pin": "4711"}, follow=True)
    assertContains(response, "robin is stitching")
    assertContains(tablet.post("/station/let-go/", follow=True), "Who is stitching?")


def test_five_wrong_pins_shut_it_for_a_while_even_for_the_right_one(robin: User) -> None:
    at = timezone.now()
    for _ in range(stations.MOST_WRONG_PINS):
        with pytest.raises(BadPin, match="not right"):
            stations.choose_person(robin.pk, "1234", at=at)
    with pytest.raises(BadPin, match="Wait five minutes"):
        stations.choose_person(robin.pk, "4711", at=at)
    assert stations.choose_person(robin.pk, "4711", at=at + timedelta(minutes=6)) == robin


@pytest.mark.parametrize("pin", ["123", "1111", "12345", "12a4", "123456789", "٤٧١١"])
def test_a_pin_that_anybody_would_try_is_refused(robin: User, pin: str) -> None:
    with pytest.raises(BadPin):
        stations.set_pin(robin, pin)


def test_a_viewer_cannot_choose_themselves(robin: User) -> None:
    Member.objects.filter(user=robin).update(role=Role.VIEWER)
    with pytest.raises(BadPin):
        stations.choose_person(robin.pk, "4711", at=timezone.now())


def test_an_ended_station_is_let_in_no_more(tablet: Client) -> None:
    from workshop.models import Station

    stations.end_station(Station.objects.get(), at=timezone.now())
    assert tablet.get("/station/").status_code == 403
    assert tablet.get("/jobs/")["Location"].startswith("/sign-in/")
