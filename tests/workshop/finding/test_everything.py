"""Things typed into the header as people type them, and what comes first."""

from datetime import UTC, datetime
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from inventory.models import Order, Supplier
from planning.models import Design, Job
from tests.factories import a_key
from workshop.demo import load_demo
from workshop.demo.designs import keep_demo_designs
from workshop.finding.everything import Labelled, find

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)


@pytest.fixture
def demo(settings: Any, tmp_path: Any) -> None:
    settings.MEDIA_ROOT = tmp_path
    load_demo(at=NOW, by=None)
    keep_demo_designs(machine="Six needles at the back", at=NOW)
    Job.objects.create(pk=12, what="Caps for the rowing club", pieces=24, made_at=NOW)
    Job.objects.create(pk=13, what="Harbour pennants", pieces=60, made_at=NOW)
    supplier = Supplier.objects.get(name__startswith="Marlhithe")
    Order.objects.create(number=3, supplier=supplier, made_at=NOW, key=a_key())


def first(asked: str) -> str:
    """Return the kind and the name of what comes first: what is opened, or the head of the first group."""
    found = find(asked)
    if isinstance(found.very, Labelled):
        return f"label {found.very.label} {found.very.rest}".strip()
    if found.very is not None:
        return f"opens {found.very}"
    if found.is_empty:
        return "nothing"
    row = found.groups[0].rows[0]
    called = row.shade.name if found.groups[0].kind == "threads" else getattr(row, "what", None) or str(row)
    return f"{found.groups[0].kind} {called}"


TYPED = [
    ("S0042", "label S0042"),
    ("s0042", "label S0042"),
    ("  S0042  ", "label S0042"),
    ("S0001 12 m", "label S0001 12 m"),
    ("HTTPS://SHELF.EXAMPLE/S/S0042", "label S0042"),
    ("http://shelf.example/thread/s/S0042/", "label S0042"),
    ("navy", "threads Midnight Navy"),
    ("Midnight Navy", "threads Midnight Navy"),
    ("midnight", "threads Midnight Navy"),
    ("N210", "threads Midnight Navy"),
    ("n210", "threads Midnight Navy"),
    ("Strakewell N210", "threads Midnight Navy"),
    ("rope tan", "threads Rope Tan"),
    ("ropetan", "threads Rope Tan"),
    ("Rop Tan", "threads Rope Tan"),
    ("red", "threads Signal Red"),
    ("black", "threads Tar Black"),
    ("white", "threads Foam White"),
    ("dark blue", "threads Night Passage"),
    ("light grey", "threads Bone Fid"),
    ("#000000", "threads Tar Black"),
    ("#ffffff", "threads Foam White"),
    ("harbour pennant", "designs harbour-pennant"),
    ("harbour-pennant", "opens harbour-pennant"),
    ("crew cap", "designs crew-cap-badge"),
    ("cap badge", "designs crew-cap-badge"),
    ("lighthouse", "opens lighthouse"),
    ("lighthous", "designs lighthouse"),
    ("caps for the rowing club", "opens Caps for the rowing club"),
    ("rowing", "jobs Caps for the rowing club"),
    ("rowing clubb", "jobs Caps for the rowing club"),
    ("pennants", "jobs Harbour pennants"),
    ("job 12", "opens Caps for the rowing club"),
    ("Job #13", "opens Harbour pennants"),
    ("#12", "opens Caps for the rowing club"),
    ("order 3", "opens order 3"),
    ("cone rack", "opens Cone rack"),
    ("drawer", "places Drawer 1"),
    ("marlhithe", "orders order 3"),
    ("twill", "fabrics Woven twill"),
    ("six needles", "machines Six needles at the back"),
    ("zzzqqq", "nothing"),
]


@pytest.mark.usefixtures("demo")
def test_what_people_type_leads_to_what_they_mean(
    client: Client, django_user_model: Any, django_assert_max_num_queries: Any
) -> None:
    assert {asked: first(asked) for asked, _ in TYPED} == dict(TYPED)

    client.force_login(django_user_model.objects.create_superuser("morgan"))

    def answer(asked: str) -> Any:
        return client.get(reverse("find"), {"q": asked})

    assert answer("S0042").url == reverse("item", args=["S0042"])
    assert answer("S0042 12 m").url == f"{reverse('scan')}?code=S0042+12+m"
    assert answer("order 3").url == reverse("order", args=[3])
    assert answer("lighthouse").url == reverse("design", args=[Design.objects.get(name="lighthouse").pk])
    assert "This is for <strong>lighthouse</strong>" in answer("lighthuose").content.decode()
    with django_assert_max_num_queries(45):
        assert "more threads" in answer("e").content.decode()


@pytest.mark.django_db
def test_an_empty_workshop_and_odd_words_are_answered_in_words(client: Client, person: Any) -> None:
    client.force_login(person)
    for asked in ("\x00", "#", "job 99999999999999", "order 999999999", "%", "'", "lab:1,2", "x" * 4000):
        page = client.get(reverse("find"), {"q": asked})
        assert page.status_code == 200
    assert "Nothing goes by that" in client.get(reverse("find"), {"q": "zzzqqq"}).content.decode()
    assert "Find anything" in client.get(reverse("find")).content.decode()
