"""Every page of the demo workshop in English and in a made language, for the test beside it; it answers in JSON.

    python -m tests.workshop.languages.every_page MARKS_FOLDER

The made language puts every marked text in ⟦ ⟧ (``fixtures/catalogues.py``): what stands outside is not marked, unless
it is data, which the database knows, or comes from Django, which speaks German there. ``shapes`` names pages whose
elements or attributes differ between the two languages, such as a drawing whose numbers have a decimal comma.
"""

import json
import os
import re
import sys
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

AT = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
# Attributes that people read.
READ = frozenset(
    {
        "title", "aria-label", "aria-description", "placeholder", "alt", "label", "hx-confirm", "data-label",
        "data-once", "data-one", "data-many", "data-none",
    }
)  # fmt: skip
# What passes through to a machine, or is said in the words of one: code, and texts that are always English.
NOT_READ = frozenset({"script", "style", "code", "kbd", "pre"})
NO_END = frozenset({"input", "meta", "link", "img", "br", "hr", "source", "col", "wbr"})
WORD = re.compile(r"[^\W\d_]{2,}")
# Names, units and signs that are the same in every language, as patterns.
EVERYWHERE = (
    r"ΔE\w*", r"lab:[\d.,-]+", r"April|August|September|November", r"P[EC][CS]|DST", r"read_design",
    r"English", r"Deutsch", r"ΔE", r"ISO", r"CIE\w*", r"SI", r"QR", r"PIN", r"JSON", r"CSV", r"XLSX",
    r"OpenAPI", r"SQLite", r"PostgreSQL", r"Python", r"Django", r"Linux [\w.-]+", r"Prometheus", r"https?",
    r"HTTPS?", r"[bB]ytes", r"#[0-9a-fA-F]{6}", r"[A-Z]{1,4}\d+\w*",
    r"(?:cm|mm|km|mg|kg|oz|yd|in|ft|ms|min|kB|KB|MB|GB|MiB|dtex|tex|den|Nm|Ne)²?",
    r"[\w./-]+\.(?:csv|xlsx|pes|dst|zip|html|json|py)",
)  # fmt: skip


class Texts(HTMLParser):
    """What people read on a page, ``texts``, and its elements with the attributes that they do not read, ``shape``."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.shape: list[tuple[str, tuple[tuple[str, str | None], ...]]] = []
        self._within: list[tuple[str, bool]] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        # English always, or a page of the handbook, which is written in each language by itself.
        foreign = (given.get("lang") or "").startswith("en") or "handbook-page" in (given.get("class") or "")
        is_quiet = any(quiet for _tag, quiet in self._within)
        if tag not in NO_END:
            self._within.append((tag, tag in NOT_READ or (foreign and tag != "html")))
        if is_quiet:
            return
        kept = []
        for name, value in attrs:
            is_words = name in READ or name.startswith(("data-say", "data-name-"))
            is_words |= tag == "input" and name == "value"
            if not is_words:
                kept.append((name, _steady(name, value)))
            elif value and not (
                tag == "input" and name == "value" and given.get("type") in ("hidden", "radio")
            ):
                self.texts.append(value)
        if tag != "html":
            self.shape.append((tag, tuple(kept)))

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in NO_END:
            self.handle_endtag(tag)

    def handle_endtag(self, tag: str) -> None:
        while any(name == tag for name, _quiet in self._within) and self._within.pop()[0] != tag:
            pass

    def handle_data(self, data: str) -> None:
        if data.strip() and not any(quiet for _tag, quiet in self._within):
            self.texts.append(data)


def _steady(name: str, value: str | None) -> str | None:
    """Return an attribute without what is another each time, keys of acts and tokens against forgery, and without the
    folder of a language's pictures."""
    if name in ("content", "hx-headers") or value is None:
        return "…"
    value = re.sub(r"/pictures/[a-z]{2}/", "/pictures/…/", value)
    return re.sub(r"[0-9a-f]{8}-?[0-9a-f]{4}-?[0-9a-f-]{16,}", "…", value)


def outside_marks(texts: Iterable[str]) -> Iterator[str]:
    """Yield what of the texts stands in no ⟦ ⟧, which may begin in one text and end in another."""
    depth, rest = 0, ""
    for sign in "\n".join(texts):
        if sign == "⟦":
            depth += 1
        elif sign == "⟧":
            depth = max(0, depth - 1)
        elif not depth or sign == "\n":
            rest += sign
    yield from (" ".join(line.split()) for line in rest.split("\n") if WORD.search(line))


def lay_out() -> dict[str, str]:
    """Lay the demo workshop out, with its week, and return the addresses of all pages by their routes."""
    from datetime import timedelta

    from django.contrib.auth.models import User

    from tests.benchmarks.large_shelf.page_walk import pages_to_look_at
    from workshop.demo import load_demo
    from workshop.demo.designs import keep_demo_designs
    from workshop.demo.week import lay_out_week
    from workshop.people.members import invite, make_first_account
    from workshop.people.stations import set_up_station
    from workshop.people.tokens import Right, make_token

    demo = load_demo(at=AT, by=None)
    lay_out_week(keep_demo_designs(at=AT, machine=demo.batch.machine), at=AT + timedelta(minutes=1))
    owner = make_first_account("walker", password="walks every page 7")
    from planning.models import Machine

    set_up_station("Tablet 1", machine=Machine.objects.order_by("pk")[0], at=AT, by=owner)
    make_token("wall scale", user=owner, right=Right.STITCH, at=AT, by=owner)
    invite("stitcher", what="Robin Example", at=AT, by=User.objects.get(pk=owner.pk))
    return pages_to_look_at()


def known_words() -> list[str]:
    """Return every text in the database, the longest first: what people and files brought is not translated.

    A single word in small letters is a code rather than a name, and would hide the same word where it is not marked.
    """
    from django.apps import apps
    from django.db import models

    from workshop.handbook.pages import handbook

    found = {each.title for each in handbook("de").values()}
    # What is typed, or stands in a file, is said so in every language.
    typed = {"most"}
    ours = [apps.get_app_config(name) for name in ("inventory", "planning", "workshop")]
    for model in (each for app in ours for each in app.get_models()):
        fields = [
            field.attname
            for field in model._meta.concrete_fields
            if isinstance(field, models.CharField | models.TextField) and not field.choices
        ]
        for row in model._default_manager.values_list(*fields) if fields else ():
            found |= {part.strip() for value in row if value for part in str(value).splitlines()}
    names = {each for each in found if WORD.search(each) and not re.fullmatch("[a-z_]+", each)}
    designs = apps.get_model("planning", "Design").objects.values_list("name", flat=True)
    return sorted(names | {"walker", *typed, *designs}, key=len, reverse=True)


def django_says() -> re.Pattern[str]:
    """Return what Django's own German messages fit."""
    import gettext

    import django

    said = set()
    for place in ("conf", "contrib/auth"):
        with (Path(django.__file__).parent / place / "locale/de/LC_MESSAGES/django.mo").open("rb") as file:
            catalogue = gettext.GNUTranslations(file)._catalog  # type: ignore[attr-defined]
        for asked, each in catalogue.items():
            english = asked if isinstance(asked, str) else asked[0]
            if WORD.search(each) and english and each != english.partition("\x04")[2]:
                said |= {each} - {english}
    patterns = (
        re.sub(r"%(?:\\\(\w+\\\))?[sd]", r".{1,80}?", re.escape(" ".join(each.split()))) for each in said
    )
    return re.compile(rf"(?<!\w)(?:{'|'.join(sorted(patterns, key=len, reverse=True))})(?!\w)")


def main(marks: str) -> None:
    os.environ["ENOUGH_THREAD_MARKS"] = marks
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "workshop.settings")
    os.environ["ENOUGH_THREAD_WORKER"] = "request"
    import django

    django.setup()
    from unittest import mock

    from django.contrib.auth.models import User
    from django.test import Client
    from django.utils import timezone

    with mock.patch.object(timezone, "now", return_value=AT):
        pages = lay_out()
        client = Client(HTTP_HOST="localhost")
        client.force_login(User.objects.get(username="walker"))
        json.dump(_looked_at(client, pages), sys.stdout)


def _looked_at(client: Any, pages: dict[str, str]) -> dict[str, Any]:
    known = re.compile("|".join(rf"(?<!\w){re.escape(each)}(?!\w)" for each in known_words()), re.IGNORECASE)
    theirs, everywhere = django_says(), re.compile(rf"(?<!\w)(?:{'|'.join(EVERYWHERE)})(?!\w)")
    unmarked: dict[str, list[str]] = {}
    shapes: dict[str, str] = {}
    seen = 0
    for route, address in pages.items():
        both = [
            client.get(address, headers={"accept-language": each}, follow=True) for each in ("en-GB", "de")
        ]
        if "html" not in both[0].headers.get("Content-Type", ""):
            continue
        assert both[0].status_code == both[1].status_code < 500, route
        seen += 1
        english, made = (Texts(each.content.decode()) for each in both)
        if english.shape != made.shape:
            pairs = zip(english.shape, made.shape, strict=False)
            shapes[route] = next(
                (f"{one} | {other}" for one, other in pairs if one != other),
                f"{len(english.shape)} and {len(made.shape)} elements",
            )
        left = []
        for text in outside_marks(made.texts):
            rest = theirs.sub(" ", everywhere.sub(" ", known.sub(" ", text.replace("Enough Thread", " "))))
            is_route = route == "watching" and text.partition(",")[0] in pages  # slow ones, with their time
            is_typed = route == "files" and text.startswith(": ")  # what a column of a file takes
            if WORD.search(rest) and not is_route and not is_typed:
                left.append(text)
        if left:
            unmarked[route] = left
    return {"pages": seen, "unmarked": unmarked, "shapes": shapes}


if __name__ == "__main__":
    main(sys.argv[1])
