"""The second factor: set up, asked for, lost, required of owners; passkeys made, used and refused."""

import io
import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pyotp
import pytest
from django.contrib.auth.models import User
from django.core.management import call_command
from django.test import Client
from django.utils import timezone
from pytest_django.asserts import assertContains, assertNotContains

from tests.workshop.people.soft_key import SoftKey
from workshop.models import Member, Passkey, RecoveryCode, Role, SecondFactor
from workshop.people.second import (
    MOST_WRONG,
    NotThatCode,
    has_second,
    keep_app,
    new_secret,
    take_code,
)
from workshop.views.second import HALF, PENDING

pytestmark = pytest.mark.django_db
RIGHT = {"username": "morgan", "password": "spindle-and-thread"}
AT = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)


def shown_by(secret: str, *, at: datetime | None = None) -> str:
    return pyotp.TOTP(secret).at(at or timezone.now())


def is_in(client: Client) -> bool:
    return client.get("/preferences/").status_code == 200


@pytest.fixture
def secret(person: User) -> str:
    """The secret of morgan's app, set up a while ago."""
    found = new_secret()
    before = timezone.now() - timedelta(minutes=10)
    keep_app(person, found, code=shown_by(found, at=before), at=before)
    return found


def test_a_code_is_as_rfc_6238_has_it() -> None:
    # RFC 6238, appendix B, SHA-1: the secret is "12345678901234567890"; at 59 s the code ends with 287082.
    assert pyotp.TOTP("GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ").at(59) == "287082"


def test_an_app_is_set_up_from_the_page_and_recovery_codes_are_shown_once(
    signed_in: Client, person: User
) -> None:
    page = signed_in.get("/preferences/second/")
    assertContains(page, "<svg")
    assertNotContains(page, "style=")
    secret = signed_in.session[PENDING]
    wrong = signed_in.post("/preferences/second/app/", {"code": "000000"})
    assertContains(wrong, "shows another code", status_code=422)
    assert not has_second(person)
    codes = signed_in.post("/preferences/second/app/", {"code": shown_by(secret)})
    shown = re.findall(r"<code>([a-z2-7-]{19})</code>", codes.content.decode())
    assert len(shown) == len(set(shown)) == 10
    assert not any(code.replace("-", "") in str(list(RecoveryCode.objects.values())) for code in shown)
    assertNotContains(signed_in.get("/preferences/second/"), shown[0])


def test_the_password_alone_lets_nobody_in_any_more(client: Client, secret: str) -> None:
    answer = client.post("/sign-in/", RIGHT | {"next": "/jobs/"})
    assert answer["Location"] == "/sign-in/second/"
    assert not is_in(client)
    assertContains(client.post("/sign-in/second/", {"code": "000000"}), "not right", status_code=422)
    let_in = client.post("/sign-in/second/", {"code": shown_by(secret)})
    assert let_in["Location"] == "/jobs/"
    assert is_in(client)


def test_nobody_skips_the_password(client: Client, secret: str) -> None:
    assert client.post("/sign-in/second/", {"code": shown_by(secret)})["Location"] == "/sign-in/"
    assert not is_in(client)


def test_half_a_sign_in_ends_after_ten_minutes_and_with_the_password(
    client: Client, secret: str, person: User
) -> None:
    client.post("/sign-in/", RIGHT)
    session = client.session
    session[HALF] = session[HALF] | {"at": timezone.now().timestamp() - 601}
    session.save()
    assert client.post("/sign-in/second/", {"code": shown_by(secret)})["Location"] == "/sign-in/"
    client.post("/sign-in/", RIGHT)
    person.set_password("bobbin-and-hoop")
    person.save()
    assert client.post("/sign-in/second/", {"code": shown_by(secret)})["Location"] == "/sign-in/"


def test_a_code_is_taken_once_and_for_half_a_minute_each_way(person: User) -> None:
    secret = new_secret()
    keep_app(person, secret, code=shown_by(secret, at=AT), at=AT)
    with pytest.raises(NotThatCode):
        take_code(person, shown_by(secret, at=AT), at=AT)  # it set the app up
    later = AT + timedelta(minutes=5)
    assert take_code(person, shown_by(secret, at=later - timedelta(seconds=30)), at=later) == "app"
    assert take_code(person, shown_by(secret, at=later), at=later) == "app"
    for seconds in (-30, 0, -90, 90):
        with pytest.raises(NotThatCode):
            take_code(person, shown_by(secret, at=later + timedelta(seconds=seconds)), at=later)


def test_a_recovery_code_lets_in_once(person: User) -> None:
    secret = new_secret()
    first, *others = keep_app(person, secret, code=shown_by(secret, at=AT), at=AT)
    assert take_code(person, f" {first.upper()} ", at=AT) == "recovery"
    with pytest.raises(NotThatCode):
        take_code(person, first, at=AT)
    assert take_code(person, others[0].replace("-", " "), at=AT) == "recovery"


def test_wrong_codes_are_slowed_for_a_quarter_of_an_hour_even_for_the_right_one(person: User) -> None:
    secret = new_secret()
    keep_app(person, secret, code=shown_by(secret, at=AT), at=AT)
    later = AT + timedelta(minutes=5)
    for _ in range(MOST_WRONG):
        with pytest.raises(NotThatCode, match="not right"):
            take_code(person, "123", at=later)
    with pytest.raises(NotThatCode, match="too often"):
        take_code(person, shown_by(secret, at=later), at=later)
    later += timedelta(minutes=16)
    assert take_code(person, shown_by(secret, at=later), at=later) == "app"


def test_taking_it_away_takes_the_password_once_more(signed_in: Client, person: User, secret: str) -> None:
    refused = signed_in.post("/preferences/second/away/", {"do": "away", "password": "wrong"})
    assertContains(refused, "password is not right", status_code=422)
    assert has_second(person)
    again = signed_in.post("/preferences/second/away/", {"do": "codes", "password": RIGHT["password"]})
    assertContains(again, "Recovery codes")
    signed_in.post("/preferences/second/away/", {"do": "away", "password": RIGHT["password"]})
    assert not has_second(person)
    assert not RecoveryCode.objects.exists()


def test_an_owner_or_the_command_takes_a_lost_one_away(signed_in: Client, person: User, secret: str) -> None:
    signed_in.post(f"/people/{person.pk}/", {"do": "second"})
    assert not SecondFactor.objects.exists()
    found = new_secret()
    keep_app(person, found, code=shown_by(found), at=timezone.now())
    call_command("reset_second", "morgan", stdout=io.StringIO())
    assert not SecondFactor.objects.exists()


def test_owners_who_need_one_are_signed_out_and_set_it_up_first(signed_in: Client, person: User) -> None:
    other = Client()
    owner = User.objects.create_user("sam", password=RIGHT["password"])
    Member.objects.create(user=owner, role=Role.OWNER)
    other.post("/sign-in/", {"username": "sam", "password": RIGHT["password"]})
    assert is_in(other)
    signed_in.post("/people/second/", {"required": "yes"})
    assert not is_in(other)
    other.post("/sign-in/", {"username": "sam", "password": RIGHT["password"]})
    assert other.get("/jobs/")["Location"] == "/preferences/second/"
    assertContains(other.get("/preferences/second/"), "Set up an app or a passkey to go on")
    other.post("/preferences/second/app/", {"code": shown_by(other.session[PENDING])})
    assert is_in(other)


def test_a_stitcher_is_not_asked_for_what_owners_need(client: Client, person: User) -> None:
    stitcher = User.objects.create_user("sam", password=RIGHT["password"])
    Member.objects.create(user=stitcher, role=Role.STITCHER)
    owner = Client()
    owner.force_login(person)
    owner.post("/people/second/", {"required": "yes"})
    client.post("/sign-in/", {"username": "sam", "password": RIGHT["password"]})
    assert client.get("/jobs/").status_code == 200


# Passkeys.


def ask(client: Client, path: str, body: Any = None) -> Any:
    return client.post(path, {} if body is None else body, content_type="application/json")


def made(client: Client, key: SoftKey) -> Any:
    options = ask(client, "/preferences/passkeys/make/").json()
    assert options["authenticatorSelection"]["userVerification"] == "required"
    return ask(client, "/preferences/passkeys/keep/", {"name": "my phone", "made": key.make(options)})


def test_a_passkey_signs_its_person_in_without_a_password(signed_in: Client, person: User) -> None:
    key = SoftKey()
    codes = made(signed_in, key).json()["codes"]
    assert len(codes) == 10
    stranger = Client()
    options = ask(stranger, "/sign-in/passkey/").json()
    answer = key.sign_in(options)
    assert ask(stranger, "/sign-in/passkey/answer/", answer).json() == {"go": "/"}
    assert is_in(stranger)
    assert Passkey.objects.get().sign_count == 1
    # The same answer again, to somebody else's question or to none.
    thief = Client()
    assert ask(thief, "/sign-in/passkey/answer/", answer).status_code == 422
    ask(thief, "/sign-in/passkey/")
    assert ask(thief, "/sign-in/passkey/answer/", answer).status_code == 422
    assert not is_in(thief)


def test_after_a_passkey_is_made_the_password_alone_lets_nobody_in(signed_in: Client, client: Client) -> None:
    codes = made(signed_in, SoftKey()).json()["codes"]
    stranger = Client()
    assert stranger.post("/sign-in/", RIGHT)["Location"] == "/sign-in/second/"
    stranger.post("/sign-in/second/", {"code": codes[0]})
    assert is_in(stranger)


@pytest.mark.parametrize(
    "key",
    [SoftKey(origin="https://elsewhere.example"), SoftKey(host="elsewhere.example"), SoftKey(verifies=False)],
    ids=["another origin", "another site", "holder not verified"],
)
def test_a_passkey_that_is_not_for_this_site_or_asks_nobody_is_refused(
    signed_in: Client, key: SoftKey
) -> None:
    assert made(signed_in, key).status_code == 422
    assert not Passkey.objects.exists()


@pytest.mark.parametrize("sent", [{}, [], {"id": 1}, {"id": "x"}, {"id": None, "response": {}}, "text"])
def test_odd_answers_are_refused_in_words(signed_in: Client, sent: Any) -> None:
    made(signed_in, SoftKey())
    stranger = Client()
    ask(stranger, "/sign-in/passkey/")
    answer = ask(stranger, "/sign-in/passkey/answer/", sent)
    assert (answer.status_code, bool(answer.json()["problem"])) == (422, True)
    ask(signed_in, "/preferences/passkeys/make/")
    assert ask(signed_in, "/preferences/passkeys/keep/", {"name": "n", "made": sent}).status_code == 422
    number = Passkey.objects.get().credential
    ask(stranger, "/sign-in/passkey/")
    assert ask(stranger, "/sign-in/passkey/answer/", {"id": number, "rawId": 5}).status_code == 422


def test_a_passkey_of_somebody_who_left_signs_nobody_in(signed_in: Client, person: User) -> None:
    key = SoftKey()
    made(signed_in, key)
    person.is_active = False
    person.save()
    stranger = Client()
    answer = key.sign_in(ask(stranger, "/sign-in/passkey/").json())
    assert ask(stranger, "/sign-in/passkey/answer/", answer).status_code == 422


def test_one_passkey_is_taken_away_by_its_person_alone(signed_in: Client) -> None:
    made(signed_in, SoftKey())
    number = Passkey.objects.get().pk
    other = Client()
    other.force_login(User.objects.create_user("sam"))
    assert other.post(f"/preferences/passkeys/{number}/away/").status_code == 404
    signed_in.post(f"/preferences/passkeys/{number}/away/")
    assert not Passkey.objects.exists()
