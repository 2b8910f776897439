"""The frame of every page: places, error pages, headers, and nothing inline that the browser would refuse."""

import json
import re
from pathlib import Path

import pytest
from django.apps import apps
from django.conf import LazySettings
from django.contrib.auth.models import User
from django.contrib.staticfiles import finders
from django.db import DatabaseError, connection
from django.test import Client
from pytest_django.asserts import assertContains, assertNotContains

from tests.pages import page_text
from workshop.context import nav_places

pytestmark = [pytest.mark.django_db, pytest.mark.urls("tests.workshop.places")]

INLINE = {
    "a style attribute": re.compile(r"<[^>]*\sstyle\s*=", re.IGNORECASE),
    "a style element": re.compile(r"<style\b", re.IGNORECASE),
    "a script in the page": re.compile(r"<script\b(?![^>]*\ssrc\s*=)", re.IGNORECASE),
    "an event attribute": re.compile(r"<[^>]*\s(on[a-z]+|hx-on[:\w-]*)\s*=", re.IGNORECASE),
    "a javascript: address": re.compile(r"javascript:", re.IGNORECASE),
    "something fetched from elsewhere": re.compile(
        r"<(script|link|img|use|source|iframe)\b[^>]*\s(src|href)\s*=\s*[\"']?(https?:)?//", re.IGNORECASE
    ),
}
OWN_PAGES = ["/", "/preferences/", "/preferences/password/", "/nowhere/", "/forbidden/", "/malformed/"]


def refused_by_the_browser(page: str) -> list[str]:
    """Return what in ``page`` the content security policy would block."""
    return [what for what, pattern in INLINE.items() if pattern.search(page)]


def templates() -> list[Path]:
    folders = [
        Path(apps.get_app_config(app).path) / "templates" for app in ("workshop", "planning", "inventory")
    ]
    return sorted(path for folder in folders for path in folder.rglob("*") if path.is_file())


@pytest.mark.parametrize("path", templates(), ids=lambda path: path.name)
def test_no_template_holds_anything_inline(path: Path) -> None:
    assert refused_by_the_browser(path.read_text()) == []


@pytest.mark.parametrize("path", OWN_PAGES)
def test_no_page_holds_anything_inline(signed_in: Client, path: str) -> None:
    assert refused_by_the_browser(signed_in.get(path).content.decode()) == []


@pytest.mark.parametrize(
    "fault",
    [
        '<p class="a" style="color:red">', "<style>p{}</style>", "<script>go()</script>",
        '<body onload="go()">',
        '<a hx-on:click="go()">', '<a href="javascript:go()">', '<script src="https://elsewhere.example/a.js">',
        '<link rel="stylesheet" href="//elsewhere.example/a.css">',
    ],
)  # fmt: skip
def test_the_search_for_inline_things_finds_them(fault: str) -> None:
    assert len(refused_by_the_browser(fault)) == 1


@pytest.mark.parametrize(
    "path", ["/", "/nowhere/", "/forbidden/", "/malformed/", "/health/", "/preferences/"]
)
def test_every_answer_carries_the_security_headers(signed_in: Client, path: str) -> None:
    headers = signed_in.get(path).headers
    policy = headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "script-src 'self'" in policy
    assert "style-src 'self'" in policy
    assert "unsafe" not in policy
    assert headers["X-Frame-Options"] == "DENY"
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "same-origin"


def test_only_places_that_exist_are_in_the_navigation(signed_in: Client) -> None:
    names = [place.name for place in nav_places("/")]
    assert {"Today", "Shelf", "Settings"} <= set(names)
    page = signed_in.get("/")
    assertContains(page, '<a href="/shelf/">')
    assertContains(page, '<a href="/" aria-current="page">')


def test_a_place_without_a_page_is_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("workshop.context.PLACES", (("Today", "today"), ("Attic", "attic")))
    assert [place.name for place in nav_places("/")] == ["Today"]


@pytest.mark.parametrize(
    ("path", "here"),
    [
        ("/", ("Today", "page")),
        ("/shelf/", ("Shelf", "page")),
        ("/shelf/spools/", ("Shelf", "true")),
        ("/preferences/password/", ("Settings", "true")),
        ("/nowhere/", None),
    ],
)
def test_the_place_a_page_lies_in_is_marked(path: str, here: tuple[str, str] | None) -> None:
    marked = [(place.name, place.current) for place in nav_places(path) if place.current]
    assert marked == ([here] if here else [])


def test_places_are_hidden_from_people_who_are_not_signed_in(client: Client, person: User) -> None:
    assertNotContains(client.get("/sign-in/"), "<nav")


@pytest.mark.parametrize(
    ("path", "status", "words"),
    [
        ("/malformed/", 400, "That request was not understood"),
        ("/forbidden/", 403, "Not for this account"),
        ("/nowhere/", 404, "Nothing is kept here"),
        ("/broken/", 500, "Something broke here"),
    ],
)
def test_an_error_page_says_what_happened_and_leads_on(
    signed_in: Client, path: str, status: int, words: str
) -> None:
    signed_in.raise_request_exception = False
    response = signed_in.get(path)
    assertContains(response, f"<h1>{words}</h1>", status_code=status)
    assertContains(response, '<a class="button" href="/">Go to Today</a>', status_code=status)


def test_the_page_for_a_broken_server_asks_nothing_of_the_database(
    signed_in: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    def gone(*_: object, **__: object) -> None:
        raise DatabaseError("the disk is full")

    signed_in.raise_request_exception = False
    monkeypatch.setattr(connection, "cursor", gone)
    assertContains(signed_in.get("/broken/"), "Something broke here", status_code=500)


def test_a_missing_page_shows_an_odd_address_harmlessly(signed_in: Client) -> None:
    assertNotContains(signed_in.get("/<script>/"), "<script>/", status_code=404)


def test_a_form_from_a_stale_page_is_explained(person: User) -> None:
    careful = Client(enforce_csrf_checks=True)
    response = careful.post("/sign-in/", {"username": "morgan", "password": "spindle-and-thread"})
    assertContains(response, "<h1>Send it once more</h1>", status_code=403)


def test_health_answers_without_an_account(client: Client) -> None:
    response = client.get("/health/")
    assert (response.status_code, response.content) == (200, b"ok\n")


def test_health_says_when_the_database_is_gone(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    def gone(*_: object, **__: object) -> None:
        raise DatabaseError("no route")

    monkeypatch.setattr(connection, "cursor", gone)
    assert client.get("/health/").status_code == 503


def test_what_the_manifest_names_is_there(client) -> None:
    manifest = client.get("/manifest.webmanifest")
    assert manifest["Content-Type"] == "application/manifest+json"
    for icon in manifest.json()["icons"]:
        assert finders.find(icon["src"].removeprefix("/static/"))


@pytest.mark.parametrize("debug", [False, True])
def test_htmx_is_our_own_copy_and_evaluates_nothing(
    signed_in: Client, settings: LazySettings, debug: bool
) -> None:
    settings.DEBUG = debug
    page = page_text(signed_in.get("/"))
    assert re.search(r'<script src="/static/django_htmx/htmx-2(\.min)?\.js" defer></script>', page)
    config = re.search(r"name=\"htmx-config\" content='([^']+)'", page)
    assert config is not None
    assert json.loads(config[1]).items() >= {
        "includeIndicatorStyles": False, "allowEval": False, "selfRequestsOnly": True,
    }.items()  # fmt: skip
    assert refused_by_the_browser(page) == []


def test_messages_are_shown_with_their_weight(client: Client) -> None:
    User.objects.create_superuser("morgan")
    client.force_login(User.objects.get())
    response = client.post(
        "/preferences/",
        {"length_unit": "m", "weight_unit": "g", "size_unit": "cm", "theme": "auto"},
        follow=True,
    )
    assertContains(response, '<div class="messages" role="status">')
    assertContains(response, "Saved. Every page now uses these units and this look.")
