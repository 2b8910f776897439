"""People come by links that work once, change their part, and leave."""

from datetime import timedelta

import pytest
from django.contrib.auth.models import User
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from pytest_django.asserts import assertContains, assertRedirects

from workshop.models import Link, Member, Role, SignIn
from workshop.people import members
from workshop.people.members import LastOwner, LinkSpent

pytestmark = pytest.mark.django_db
NEW = {"username": "robin", "password1": "quiet-harbour-7", "password2": "quiet-harbour-7"}


@pytest.fixture
def owner(client: Client) -> User:
    user = members.make_first_account("morgan", password="spindle-and-thread")
    client.force_login(user)
    return user


def link_in(response: object) -> str:
    text = response.content.decode()  # type: ignore[attr-defined]
    return text.partition("<code>http://testserver")[2].partition("</code>")[0]


def test_an_invited_person_joins_in_the_part_they_were_given_and_the_link_is_spent(
    client: Client, owner: User
) -> None:
    link = link_in(client.post("/people/invite/", {"what": "Saturday help", "role": "stitcher"}))
    other = Client()
    assertContains(other.get(link), "tick pieces")
    assertRedirects(other.post(link, NEW), "/")
    robin = User.objects.get(username="robin")
    assert members.role_of(robin) == Role.STITCHER
    assert Client().get(link).status_code == 410
    assert other.get("/people/").status_code == 403


def test_a_link_lets_nobody_in_after_its_time_or_once_it_was_ended(client: Client, owner: User) -> None:
    at = timezone.now()
    late = members.invite("viewer", at=at - timedelta(days=8), by=owner)
    with pytest.raises(LinkSpent):
        members.join(late, name="robin", password="quiet-harbour-7", at=at)
    ended = members.invite("viewer", at=at, by=owner)
    client.post(reverse("end_link", args=[Link.objects.latest("pk").pk]))
    assert client.get(reverse("join", args=[ended])).status_code == 410
    assert User.objects.count() == 1


def test_the_secret_of_a_link_is_nowhere_in_the_database(owner: User) -> None:
    secret = members.invite("viewer", at=timezone.now(), by=owner)
    assert secret not in str(list(Link.objects.values()))


def test_a_reset_link_gives_a_new_password_and_signs_every_device_out(client: Client, owner: User) -> None:
    robin = User.objects.create_user("robin", password="quiet-harbour-7")
    Member.objects.create(user=robin, role=Role.PLANNER)
    device = Client()
    device.force_login(robin)
    link = link_in(client.post(reverse("member", args=[robin.pk]), {"do": "reset"}))
    new = {"new_password1": "bobbin-and-hoop-9", "new_password2": "bobbin-and-hoop-9"}
    assertRedirects(Client().post(link, new), "/sign-in/")
    robin.refresh_from_db()
    assert robin.check_password("bobbin-and-hoop-9")
    assert device.get("/preferences/").status_code == 302
    assert Client().get(link).status_code == 410


def test_the_last_owner_neither_leaves_nor_steps_down(client: Client, owner: User) -> None:
    with pytest.raises(LastOwner):
        members.leave(owner, at=timezone.now())
    response = client.post(reverse("member", args=[owner.pk]), {"do": "role", "role": "viewer"}, follow=True)
    assertContains(response, "the only owner")
    assert members.role_of(owner) == Role.OWNER


def test_whoever_left_is_out_at_once_and_may_come_back(client: Client, owner: User) -> None:
    robin = User.objects.create_user("robin", password="quiet-harbour-7")
    Member.objects.create(user=robin, role=Role.PLANNER)
    device = Client()
    device.force_login(robin)
    client.post(reverse("member", args=[robin.pk]), {"do": "leave"})
    assert device.get("/preferences/").status_code == 302
    assertContains(
        device.post("/sign-in/", {"username": "robin", "password": "quiet-harbour-7"}), "do not belong"
    )
    client.post(reverse("member", args=[robin.pk]), {"do": "back"})
    assert device.post("/sign-in/", {"username": "robin", "password": "quiet-harbour-7"}).status_code == 302


def test_sign_ins_are_listed_and_ended_one_by_one(client: Client, owner: User) -> None:
    other = Client(headers={"User-Agent": "Tablet on the wall"})
    other.post("/sign-in/", {"username": "morgan", "password": "spindle-and-thread"})
    assertContains(client.get("/preferences/sign-ins/"), "a tablet")
    found = SignIn.objects.get(told="Tablet on the wall")
    assertRedirects(client.post(reverse("end_sign_in", args=[found.pk])), "/preferences/sign-ins/")
    assert other.get("/preferences/").status_code == 302
    assert client.get("/preferences/").status_code == 200


def test_nobody_ends_the_sign_in_of_another_as_if_it_were_their_own(client: Client, owner: User) -> None:
    robin = User.objects.create_user("robin")
    device = Client()
    device.force_login(robin)
    found = SignIn.objects.get(user=robin)
    assert client.post(reverse("end_sign_in", args=[found.pk])).status_code == 404
    assertRedirects(client.post(reverse("end_anyones_sign_in", args=[found.pk])), "/people/")


def test_the_command_prints_a_link_that_makes_the_owner_once(client: Client, capsys: object) -> None:
    call_command("owner_link", at="https://threads.example")
    printed = capsys.readouterr().out  # type: ignore[attr-defined]
    path = printed.partition("https://threads.example")[2].strip()
    call_command("owner_link")
    assert client.get(path).status_code == 410  # a newer link takes its place
    newest = capsys.readouterr().out.partition("8000")[2].strip()  # type: ignore[attr-defined]
    assertRedirects(client.post(newest, NEW), "/")
    assert members.role_of(User.objects.get()) == Role.OWNER
    assert members.opening_link(at=timezone.now()) is None
