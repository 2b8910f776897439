"""Guessing is slowed by name, by address and over all; known devices stay free."""

from collections.abc import Callable

import pytest
from django.conf import LazySettings
from django.contrib.auth.models import User
from django.test import Client
from django.utils import timezone
from pytest_django.asserts import assertContains

from workshop.people.guessing import MOST_FROM_EVERYWHERE, guesses

pytestmark = pytest.mark.django_db
RIGHT = {"username": "morgan", "password": "spindle-and-thread"}


@pytest.fixture(autouse=True)
def behind_a_proxy(settings: LazySettings) -> None:
    settings.TRUSTED_PROXIES = ["127.0.0.1"]


@pytest.fixture
def known(person: User) -> Client:
    """A device on which morgan signed in before, and out again."""
    device = Client(headers={"X-Forwarded-For": "198.51.100.1"})
    assert device.post("/sign-in/", RIGHT).status_code == 302
    device.post("/sign-out/")
    return device


def guess(name: str, address: str) -> int:
    stranger = Client(headers={"X-Forwarded-For": address})
    return stranger.post("/sign-in/", {"username": name, "password": "spindle-and-threat"}).status_code


def test_guessing_at_one_name_from_many_addresses_is_slowed_and_the_owner_still_comes_in(
    known: Client, settings: LazySettings
) -> None:
    answers = [guess("morgan", f"203.0.113.{number}") for number in range(30)]
    assert answers.count(200) == settings.AXES_FAILURE_LIMIT - 1
    assert set(answers[settings.AXES_FAILURE_LIMIT :]) == {429}
    assert known.post("/sign-in/", RIGHT).status_code == 302


def test_trying_many_names_from_one_address_is_slowed_and_the_neighbour_still_comes_in(
    known: Client, settings: LazySettings
) -> None:
    answers = [guess(f"name-{number}", "198.51.100.1") for number in range(40)]
    assert answers.count(200) == settings.AXES_FAILURE_LIMIT - 1
    assert known.post("/sign-in/", RIGHT).status_code == 302


def test_many_names_from_many_addresses_are_slowed_over_all(known: Client) -> None:
    answers = [
        guess(f"name-{number}", f"203.0.113.{number % 250}") for number in range(MOST_FROM_EVERYWHERE + 20)
    ]
    assert set(answers[:MOST_FROM_EVERYWHERE]) == {200}
    assert 429 in answers[MOST_FROM_EVERYWHERE:]
    assert known.post("/sign-in/", RIGHT).status_code == 302


def first_name(number: int) -> str:
    return f"name-{number}"


def many_addresses(number: int) -> str:
    return f"203.0.{number // 250}.{number % 250}"


@pytest.mark.parametrize(
    ("name", "address", "let_try"),
    [
        pytest.param(lambda number: "morgan", lambda number: "198.51.100.1", 8, marks=pytest.mark.exhaustive),
        pytest.param(lambda number: "morgan", many_addresses, 8, marks=pytest.mark.exhaustive),
        pytest.param(first_name, lambda number: "198.51.100.1", 8, marks=pytest.mark.exhaustive),
        pytest.param(first_name, many_addresses, MOST_FROM_EVERYWHERE, marks=pytest.mark.thorough),
    ],
    ids=["one name, one address", "one name, many addresses", "names, one address", "names, many addresses"],
)
def test_a_thousand_guesses_are_slowed_and_reported_while_those_who_belong_here_come_in(
    known: Client, name: Callable[[int], str], address: Callable[[int], str], let_try: int
) -> None:
    """The owner comes in from a known device in the middle of it, and so does another person at the same address."""
    User.objects.create_user("sam", password=RIGHT["password"])
    theirs, of_sam = Client(headers={"X-Forwarded-For": "198.51.100.1"}), RIGHT | {"username": "sam"}
    assert theirs.post("/sign-in/", of_sam).status_code == 302
    theirs.post("/sign-out/")
    answers = []
    for number in range(1000):
        answers.append(guess(name(number), address(number)))
        if number == 500:
            assert known.post("/sign-in/", RIGHT).status_code == 302
            known.post("/sign-out/")
    tried = answers.count(200)
    print(f"{tried} of 1,000 were tried")
    assert (
        tried <= let_try * 2
    )  # a right password in the middle begins the count anew for its name and its address
    assert answers.count(429) == 1000 - tried
    assert theirs.post("/sign-in/", of_sam).status_code == 302
    assert known.post("/sign-in/", RIGHT).status_code == 302
    assert sum(each["times"] for each in guesses(timezone.now(), most=2000)) >= tried


def test_even_a_known_device_does_not_guess_for_ever(known: Client, settings: LazySettings) -> None:
    wrong = RIGHT | {"password": "spindle-and-threat"}
    answers = [known.post("/sign-in/", wrong).status_code for _ in range(60)]
    assert answers[-1] == 429


def test_wrong_passwords_are_reported_to_the_owner(known: Client) -> None:
    guess("morgan", "203.0.113.77")
    known.post("/sign-in/", RIGHT)
    assertContains(known.get("/people/"), "203.0.113.77")


def test_a_visitor_cannot_claim_an_address_of_their_own(person: User, settings: LazySettings) -> None:
    settings.TRUSTED_PROXIES = []
    answers = [guess(f"name-{number}", f"203.0.113.{number}") for number in range(20)]
    assert 429 in answers  # the header of an untrusted sender says nothing: all are one address
