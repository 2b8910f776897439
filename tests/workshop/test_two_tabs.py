"""A form that was open while somebody else did something: it is taken or refused in words, and the books stay right.

Every form of every page against every act, by chance: one tab shows the page, then the act is done, then the form is
sent as the page had it, with something plausible where it left a field empty.
"""

import random
from collections.abc import Iterator, Sequence
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import connection, transaction
from django.test import Client
from django.urls import NoReverseMatch, get_resolver, resolve, reverse

from inventory.compute.errors import WorkshopError
from inventory.models import StockItem
from planning.models import Job
from tests.page_forms import Forms
from tests.sizes import searched
from tests.workshop.fuzz import SKIPPED, named_routes
from workshop.doctor.stock import stock_problems

TYPED = ("1", "2", "3", "10 m", "20 g", "R", "B", "half", "S0001", "2026-12-01", "wall")
SLUGS = (
    "machines",
    "fabrics",
    "hoops",
    "spools",
    "rolls",
    "shades",
    "use",
    "weigh",
    "count",
    "cut",
    "place",
    "receive",
)
# Sign the other tab out or change who may what.
LEFT_ALONE = SKIPPED | {"sign_in", "people", "person", "join", "new_password"}
Form = tuple[str, dict[str, str]]


@pytest.mark.parametrize("seed", searched(range(10), first=0))
@pytest.mark.django_db
def test_a_form_that_was_open_while_somebody_else_acted(
    client: Client, settings, tmp_path, seed: int
) -> None:
    from tests.workshop.storms.acts import ACTS, open_the_workshop  # fills the factories' workshop

    settings.MEDIA_ROOT, settings.BACKUP_FOLDER = tmp_path / "files", tmp_path / "backups"
    open_the_workshop()
    client.force_login(User.objects.create_superuser("morgan", password="spindle-and-thread"))
    client.raise_request_exception = False
    rng = random.Random(seed)
    forms, found, told = sorted(_forms(client).items()), [], {"taken": 0, "refused": 0}
    for _ in range(150):
        (page, (action, fields)), (name, act) = rng.choice(forms), rng.choice(list(ACTS.items()))
        with transaction.atomic():
            try:
                with transaction.atomic():
                    act()
                answer = client.post(action, _filled(fields, rng))
                told["taken" if answer.status_code == 302 else "refused"] += 1
                what = f"{name}, then {page} to {action}"
                if answer.status_code == 500:
                    found.append(f"{what}: {answer.exc_info[1]!r:.300}")
                found += [f"{what}: {problem}" for problem, _ in stock_problems()]
            except WorkshopError:
                pass  # the act itself: what it rests on was not there
            finally:
                transaction.set_rollback(True)
    print(f"{len(forms)} forms, {len(ACTS)} acts, {told} of 150 pairs on {connection.vendor}")
    assert found == []
    assert told["taken"] > 20
    assert len(forms) > 200


def _forms(client: Client) -> dict[str, Form]:
    """Return every form of every page that can be reached, by the page and its place there."""
    found: dict[str, Form] = {}
    for name, converters in named_routes(get_resolver()):
        for address in _addresses(name, converters) if name not in LEFT_ALONE else ():
            answer = client.get(address)
            if answer.status_code == 200 and "html" in answer.headers.get("Content-Type", ""):
                for number, (action, fields) in enumerate(Forms(answer.content.decode()).found):
                    to = (action or address).partition("?")[0]
                    if fields and resolve(to).url_name not in LEFT_ALONE:
                        found[f"{address} {number}"] = (action or address, fields)
    return found


def _addresses(name: str, converters: dict[str, str]) -> Iterator[str]:
    keys: dict[str, Sequence[Any]] = {
        key: [1, *Job.objects.values_list("pk", flat=True)] if kind == "int" else [*SLUGS, *_labels()]
        for key, kind in converters.items()
    }
    tried = set()
    for number in range(max([1, *(len(each) for each in keys.values())])):
        try:
            address = reverse(name, kwargs={key: each[number % len(each)] for key, each in keys.items()})
        except NoReverseMatch:
            continue
        if address not in tried:
            tried.add(address)
            yield address


def _labels() -> list[str]:
    return list(StockItem.objects.order_by("kind", "pk").values_list("label", flat=True))[::3]


def _filled(fields: dict[str, str], rng: random.Random) -> dict[str, str]:
    return {
        name: value or (rng.choice(TYPED) if rng.random() < 0.7 else "") for name, value in fields.items()
    }
