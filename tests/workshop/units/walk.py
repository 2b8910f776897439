"""Every page and every refused form of the demo workshop for somebody who reads yards, inches and ounces.

    python -m tests.workshop.units.walk

It answers in JSON: what each page says in metres, centimetres, millimetres or grams all the same, for the test beside
it. Each form is sent as it stands, and with numbers that no field takes; nothing of it stays.
"""

import json
import os
import re
import sys
from typing import Any

from tests.benchmarks.large_shelf.page_walk import pages_to_look_at
from tests.page_forms import Forms
from tests.workshop.languages.every_page import AT, Texts, known_words, lay_out

NUMBER = r"(?<![\w#.,])\d[\d.,\u202f]*"
METRIC = re.compile(
    rf"{NUMBER}[\s\u00a0\u202f]?(?:mm|cm|m|km|g|kg|mg)(?:²|/m²|/km)?(?![\w/²])"
    r"|(?:, |in |\()(?:mm|cm|m|km|g|kg|mg|g/m²)(?=[\s.;:)]|$)"
    r"|\b(?:milli|centi)met(?:re|er)s?\b|\bmetres?\b|\bgrams?\b|^(?:mm|cm|m|km|g|kg|mg|g/m²)$"
)
NOTHING = re.compile("(?!)")
# What no field of a number takes.
TYPED = ("99999999", "-1", "1 light-year")


def said_in_metric(html: str, *, without: re.Pattern[str] = NOTHING) -> list[str]:
    """Return each text of a page that names a metric unit, apart from what is taken out of it ``without`` asking.

    >>> said_in_metric("<p>Take 12.5 m off</p><p>2.00 in</p><label>Length, mm</label><i>5 min</i>")
    ['Take 12.5 m off', 'Length, mm']
    """
    texts = (" ".join(each.split()) for each in Texts(html).texts)
    return list(dict.fromkeys(each for each in texts if METRIC.search(without.sub("", each))))


def _answers(client: Any, address: str, *, without: re.Pattern[str], sent_before: set[Any]) -> list[str]:
    """Return what is said of the forms of a page that are refused; whatever they did is taken back.

    A form that stands on many pages, or for many things on one, is sent once: ``sent_before`` has those that were.
    """
    from django.db import transaction

    found: list[str] = []
    page = client.get(address, follow=True).content.decode()
    for action, fields in Forms(page).found:
        if "csrfmiddlewaretoken" not in fields and action.startswith("/"):
            continue
        alike = re.sub(r"\d+", "#", (action or address).partition("?")[0]), frozenset(fields)
        if "sign-out" in action or alike in sent_before:
            continue
        sent_before.add(alike)
        for typed in TYPED:
            sent = {
                name: typed if _is_open(name, value) else value
                for name, value in fields.items()
                if name != "csrfmiddlewaretoken"
            }
            with transaction.atomic():
                sender = type(client)(HTTP_HOST="localhost")
                sender.cookies = client.cookies.copy()  # a new password ends what is taken back with it
                answer = sender.post(action or address, sent, follow=True)
                transaction.set_rollback(True)
            if "html" in answer.headers.get("Content-Type", ""):
                found += said_in_metric(answer.content.decode(), without=without)
    return list(dict.fromkeys(found))


def _is_open(name: str, value: str) -> bool:
    return name not in ("key", "next", "csrfmiddlewaretoken") and bool(re.fullmatch(r"[\d.,]*", value))


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "workshop.settings")
    os.environ["ENOUGH_THREAD_WORKER"] = "request"
    import django

    django.setup()
    from unittest import mock

    from django.contrib.auth.models import User
    from django.test import Client
    from django.utils import timezone

    with mock.patch.object(timezone, "now", return_value=AT):
        lay_out()
        pages = all_pages()
        walker = User.objects.get(username="walker")
        json.dump(look(Client(HTTP_HOST="localhost"), pages, walker), sys.stdout)


def all_pages() -> dict[str, str]:
    """Return the address of every page, and of each kind of those that have several."""
    from django.urls import reverse

    from inventory.catalogue.pages import BOOKS
    from inventory.lists.found import TABS
    from inventory.models import StockItem
    from inventory.shelf.acts import acts_for
    from inventory.shelf.arrival_forms import ARRIVALS
    from inventory.shelf.reads import item_by_label
    from planning.models import Fabric, Job
    from planning.views.facts.setup import KINDS

    found = pages_to_look_at()
    for slug, book in BOOKS.items():
        found[f"catalogue_list {slug}"] = reverse("catalogue_list", args=[slug])
        found[f"catalogue_add {slug}"] = reverse("catalogue_add", args=[slug])
        if (record := book.model._default_manager.filter(book.only).first()) is not None:
            found[f"catalogue_record {slug}"] = reverse("catalogue_record", args=[slug, record.pk])
    found |= {f"shelf_list {slug}": reverse("shelf_list", args=[slug]) for slug in TABS}
    found |= {f"receive {slug}": reverse("receive", args=[slug]) for slug in ARRIVALS}
    for slug, kind in KINDS.items():
        found[f"setup_add {slug}"] = reverse("setup_add", args=[slug])
        if (record := kind.model._default_manager.first()) is not None:
            found[f"setup_record {slug}"] = reverse("setup_record", args=[slug, record.pk])
    for kind_of in StockItem.Kind.values:
        thing = StockItem.objects.filter(kind=kind_of, retired_at__isnull=True).first()
        described = thing and item_by_label(thing.label)
        if not thing or not described:
            continue
        found[f"item {kind_of}"] = reverse("item", args=[thing.label])
        for act in acts_for(described.item):
            found[f"act {kind_of} {act.slug}"] = reverse("act", args=[thing.label, act.slug])
    for job in Job.objects.all():
        found[f"job {job.state} {job.pk}"] = reverse("job", args=[job.pk])
    for fabric in Fabric.objects.all()[:3]:
        found[f"plan_sheet {fabric}"] = f"{found['plan_sheet']}&fabric={fabric.pk}"
    return found


def look(client: Any, pages: dict[str, str], person: Any) -> dict[str, Any]:
    """Return how many pages were looked at, and what each says in metric units: as it is, and of refused forms."""
    from workshop.models import Preference

    Preference.objects.update_or_create(
        user=person, defaults={"length_unit": "yd", "weight_unit": "oz", "size_unit": "in"}
    )
    client.force_login(person)
    # What people and files brought is theirs: a put-up may be called "1,000 m spool".
    named = re.compile("|".join(re.escape(each) for each in known_words()))
    shown: dict[str, list[str]] = {}
    refused: dict[str, list[str]] = {}
    seen, sent_before = 0, set[Any]()
    for route, address in pages.items():
        answer = client.get(address, headers={"accept-language": "en-GB"}, follow=True)
        if "html" not in answer.headers.get("Content-Type", ""):
            continue
        assert answer.status_code < 500, route
        seen += 1
        shown[route] = said_in_metric(answer.content.decode(), without=named)
        refused[route] = [
            each
            for each in _answers(client, address, without=named, sent_before=sent_before)
            if each not in shown[route]
        ]
    return {"pages": seen, "shown": shown, "refused": refused}


if __name__ == "__main__":
    main()
