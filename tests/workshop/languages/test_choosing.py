"""In which language somebody is answered: the one chosen, else the browser's, else the workshop's."""

import pytest
from django.contrib.auth.models import AnonymousUser, User
from django.http import HttpResponse
from django.test import Client, RequestFactory
from django.utils import translation

from inventory.compute import spoken
from inventory.management.examples import spoken_to
from workshop import environment
from workshop.middleware import PersonMiddleware, language_of
from workshop.models import Preference

GERMAN = {"accept-language": "de-CH,de;q=0.9,en;q=0.5"}
THERE = [("en-gb", "English"), ("de", "Deutsch")]


def test_a_page_speaks_as_the_browser_asks(client: Client, db: None) -> None:
    answered = client.get("/sign-in/", headers=GERMAN, follow=True)
    assert answered.headers["Content-Language"] == "de"
    assert '<html lang="de"' in answered.content.decode()
    assert "Accept-Language" in answered.headers["Vary"]
    assert '<html lang="en-gb"' in client.get("/sign-in/", follow=True).content.decode()


def test_what_somebody_chose_goes_before_the_browser(signed_in: Client) -> None:
    words = {"language": "en-gb", "length_unit": "m", "weight_unit": "g", "size_unit": "cm", "theme": "auto"}
    assert signed_in.post("/preferences/", words).status_code == 302
    assert '<html lang="en-gb"' in signed_in.get("/preferences/", headers=GERMAN).content.decode()
    signed_in.post("/preferences/", {**words, "language": ""})
    assert '<html lang="de"' in signed_in.get("/preferences/", headers=GERMAN).content.decode()
    refused = signed_in.post("/preferences/", {**words, "language": "tlh"})
    assert refused.status_code == 200


def test_programs_are_answered_in_english(rf: RequestFactory, db: None) -> None:
    middleware = PersonMiddleware(lambda request: HttpResponse(translation.get_language()))
    for path, expected in (("/api/1/spools", b"en-gb"), ("/shelf/", b"de")):
        request = rf.get(path, headers=GERMAN)
        request.user = AnonymousUser()
        assert middleware(request).content == expected


@pytest.mark.parametrize(
    ("typed", "expected"), [("", "en-gb"), ("de", "de"), ("Deutsch", "de"), ("en", "en-gb")]
)
def test_the_workshops_language_is_named_as_people_would(
    typed: str, expected: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("ENOUGH_THREAD_LANGUAGE", typed)
    assert environment.language(THERE) == expected


def test_a_language_that_is_not_there_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ENOUGH_THREAD_LANGUAGE", "tlh")
    with pytest.raises(ValueError, match="de"):
        environment.language(THERE)


@pytest.mark.parametrize(("typed", "expected"), [("", "metric"), (" Imperial ", "imperial")])
def test_the_workshops_units_are_named(typed: str, expected: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ENOUGH_THREAD_UNITS", typed)
    assert environment.units() == expected
    monkeypatch.setenv("ENOUGH_THREAD_UNITS", "cubits")
    with pytest.raises(ValueError, match="cubits"):
        environment.units()


def test_figures_are_written_as_the_reader_writes_them() -> None:
    assert spoken.figure(1234.56, 1) == "1,234.6"
    with translation.override("de"):
        assert spoken.figure(1234.56, 1) == "1.234,6"
        assert spoken.figure(-1234.5, 2, grouped=False) == "-1234,50"


def test_what_is_written_to_somebody_speaks_as_they_chose(signed_in: Client) -> None:
    user = User.objects.get(pk=int(signed_in.session["_auth_user_id"]))
    assert language_of(None) == language_of(user) == "en-gb"
    Preference.objects.create(user=user, language="de")
    assert language_of(user) == "de"


def test_what_a_device_keeps_speaks_as_its_browser_asks(signed_in: Client) -> None:
    assert '"lang": "de"' in signed_in.get("/worker.js", headers=GERMAN).content.decode()
    assert '"lang": "en-gb"' in signed_in.get("/worker.js").content.decode()
    assert signed_in.get("/manifest.webmanifest", headers=GERMAN).json()["lang"] == "de"


def test_data_of_commands_are_english_whatever_the_workshop_speaks() -> None:
    with translation.override("de"):
        with spoken_to("json"):
            assert translation.get_language() == "en-gb"
        with spoken_to("text"):
            assert translation.get_language() == "de"
