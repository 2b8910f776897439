"""Signing in and out, the first account, passwords."""

import threading
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.conf import LazySettings, Settings
from django.conf import settings as in_force
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from pytest_django.asserts import assertContains, assertRedirects

from tests.pages import page_text
from workshop.forms import FirstAccountForm
from workshop.people.members import AlreadyOpen, make_first_account, opening_link, role_of

pytestmark = [pytest.mark.django_db, pytest.mark.urls("tests.workshop.places")]

SIGN_IN = {"username": "morgan", "password": "spindle-and-thread"}
WRONG = {"username": "morgan", "password": "spindle-and-threat"}
FIRST_ACCOUNT = {"username": "robin", "password1": "quiet-harbour-7", "password2": "quiet-harbour-7"}


def welcome_link() -> str:
    return reverse("open_workshop", args=[opening_link(at=timezone.now())])


def test_an_anonymous_person_is_led_to_sign_in_and_back(client: Client, person: User) -> None:
    response = client.get("/shelf/?fibre=rayon")
    assertRedirects(response, "/sign-in/?next=/shelf/%3Ffibre%3Drayon")
    response = client.post("/sign-in/", SIGN_IN | {"next": "/shelf/?fibre=rayon"})
    assertRedirects(response, "/shelf/?fibre=rayon")


def test_signing_in_leads_to_today(client: Client, person: User) -> None:
    assertRedirects(client.post("/sign-in/", SIGN_IN), "/")


def test_signing_in_never_leads_to_another_site(client: Client, person: User) -> None:
    response = client.post("/sign-in/", SIGN_IN | {"next": "https://elsewhere.example/"})
    assertRedirects(response, "/")


def test_a_wrong_password_says_what_to_check_and_signs_nobody_in(client: Client, person: User) -> None:
    response = client.post("/sign-in/", WRONG)
    assertContains(response, "This name and password do not belong together.")
    assertContains(response, 'value="morgan"')
    assert "spindle-and-threat" not in response.content.decode()
    assert client.get("/").status_code == 302


def test_an_empty_sign_in_names_both_fields(client: Client, person: User) -> None:
    response = client.post("/sign-in/", {})
    assertContains(response, "Name: type the name of your account.")
    assertContains(response, "Password: type your password.")
    assertContains(response, 'aria-describedby="id_username_error"')


def test_too_many_wrong_passwords_lock_the_account_even_for_the_right_one(
    client: Client, person: User, settings: LazySettings
) -> None:
    for _ in range(settings.AXES_FAILURE_LIMIT - 1):
        assert client.post("/sign-in/", WRONG).status_code == 200
    locked = client.post("/sign-in/", WRONG)
    assert locked.status_code == 429
    assert "for 15 minutes" in page_text(locked)
    assert f"{settings.AXES_FAILURE_LIMIT} times" in page_text(locked)
    assert client.post("/sign-in/", SIGN_IN).status_code == 429
    assert client.get("/").status_code == 302


def test_a_person_already_signed_in_is_led_on(signed_in: Client) -> None:
    assertRedirects(signed_in.get("/sign-in/"), "/")


def test_a_part_of_a_page_asked_for_after_the_session_ended_reloads_the_page(
    client: Client, person: User
) -> None:
    response = client.get("/shelf/", headers={"HX-Request": "true"}, follow=True)
    assert response.headers["HX-Refresh"] == "true"
    assert b"<form" not in response.content


def test_signing_out_forgets_the_person(signed_in: Client) -> None:
    assertRedirects(signed_in.post("/sign-out/"), "/sign-in/")
    assert signed_in.get("/").status_code == 302


def test_following_a_link_signs_nobody_out(signed_in: Client) -> None:
    assert signed_in.get("/sign-out/").status_code == 405
    assert signed_in.get("/").status_code == 200


def test_a_workshop_without_accounts_begins_with_the_first_one(client: Client) -> None:
    assertRedirects(client.get("/", follow=True), "/welcome/")
    assertContains(client.get("/welcome/"), "manage.py owner_link")
    response = client.post(welcome_link(), FIRST_ACCOUNT, follow=True)
    assertRedirects(response, "/")
    assertContains(response, "Welcome, robin.")
    robin = User.objects.get()
    assert role_of(robin) == "owner"
    assert robin.check_password("quiet-harbour-7")


def test_the_welcome_page_closes_with_the_first_account(client: Client, person: User) -> None:
    assertRedirects(client.get("/welcome/"), "/sign-in/")
    assert opening_link(at=timezone.now()) is None
    assert list(User.objects.all()) == [person]


def test_an_account_made_while_the_welcome_form_was_checked_wins(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    check = FirstAccountForm.is_valid

    def somebody_was_quicker(form: FirstAccountForm) -> bool:
        fine = check(form)
        User.objects.create_superuser("morgan")
        return fine

    monkeypatch.setattr(FirstAccountForm, "is_valid", somebody_was_quicker)
    response = client.post(welcome_link(), FIRST_ACCOUNT, follow=True)
    assertRedirects(response, "/sign-in/")
    assertContains(response, "This workshop already has an account.")
    assert [user.username for user in User.objects.all()] == ["morgan"]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"username": ""}, "Your name: type the name you want to sign in with."),
        ({"password2": "quiet-harbour-8"}, "The two passwords differ."),
        ({"password1": "", "password2": ""}, "Password: type one of at least 12 characters."),
        ({"password1": "bobbin-hoop", "password2": "bobbin-hoop"}, "too short"),
        ({"password1": "qwertyqwerty", "password2": "qwertyqwerty"}, "too common"),
    ],
)
def test_a_first_account_with_a_fault_is_asked_for_again(
    client: Client, change: dict[str, str], message: str
) -> None:
    assertContains(client.post(welcome_link(), FIRST_ACCOUNT | change), message)
    assert not User.objects.exists()


def test_a_second_first_account_is_refused(person: User) -> None:
    with pytest.raises(AlreadyOpen, match="Sign in with it"):
        make_first_account("robin", password="quiet-harbour-7")
    assert User.objects.count() == 1


@pytest.mark.skipif(
    connection.vendor == "sqlite",
    reason="the tests' SQLite lies in memory, where two threads cannot both open a transaction",
)
@pytest.mark.django_db(transaction=True)
def test_of_two_people_who_open_the_workshop_at_once_one_gets_it() -> None:
    together = threading.Barrier(2)

    def open_it(name: str) -> str:
        together.wait(timeout=10)
        try:
            return make_first_account(name, password="quiet-harbour-7").username
        except AlreadyOpen:
            return ""
        finally:
            connection.close()

    with ThreadPoolExecutor(2) as people:
        opened = list(people.map(open_it, ["morgan", "robin"]))
    assert sorted(map(bool, opened)) == [False, True]
    assert User.objects.count() == 1


NEW = {
    "old_password": "spindle-and-thread",
    "new_password1": "bobbin-and-hoop-9",
    "new_password2": "bobbin-and-hoop-9",
}


def test_a_changed_password_keeps_this_device_and_signs_the_others_out(
    signed_in: Client, person: User
) -> None:
    other = Client()
    other.force_login(person)
    assertRedirects(signed_in.post("/preferences/password/", NEW), "/preferences/")
    person.refresh_from_db()
    assert person.check_password("bobbin-and-hoop-9")
    assert signed_in.get("/").status_code == 200
    assert other.get("/").status_code == 302


def test_a_wrong_old_password_changes_nothing(signed_in: Client, person: User) -> None:
    response = signed_in.post("/preferences/password/", NEW | {"old_password": "guess"})
    assertContains(response, "The old password is not right.")
    person.refresh_from_db()
    assert person.check_password("spindle-and-thread")


@pytest.mark.parametrize("name", ["preferences", "change_password", "today"])
def test_pages_of_a_person_are_closed_to_anonymous_eyes(client: Client, person: User, name: str) -> None:
    assertRedirects(client.get(reverse(name)), f"/sign-in/?next={reverse(name)}")


def test_the_site_itself_hashes_passwords_slowly_whatever_the_tests_do() -> None:
    of_the_site = Settings("workshop.settings").PASSWORD_HASHERS[0]
    assert of_the_site == "django.contrib.auth.hashers.PBKDF2PasswordHasher"
    assert in_force.PASSWORD_HASHERS[0] == "django.contrib.auth.hashers.MD5PasswordHasher"
