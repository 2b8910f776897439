"""No address answers 500 to any input: what cannot be done is said in words."""

import random
from collections import Counter
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import NoReverseMatch, get_resolver, resolve, reverse

from inventory.shelf.forms import MoneyField
from inventory.stocktakes.stocktakes import begin_place
from planning.jobs.jobs import JobFacts, make_job
from planning.library.designs import keep_design
from planning.models import Fabric, Hoop, Job, Layer, Machine
from planning.run.promise import promise
from planning.run.ticks import begin
from planning.stitch_files.reading import read_design_file
from tests.factories import (
    NOW,
    a_bobbin_style,
    a_place,
    a_roll,
    a_shade,
    a_spool,
    some_bobbins,
)
from tests.own_database import HOUSE
from tests.page_forms import Forms
from tests.sizes import searched
from tests.workshop.fuzz import JSON, SKIPPED, Asked, Fuzzer, named_routes, names_read

BADGE = HOUSE / "fixtures" / "designs" / "name-tag.exp"


@pytest.fixture
def workshop(db: None, settings, tmp_path: Path) -> None:
    settings.MEDIA_ROOT = tmp_path / "files"
    settings.BACKUP_FOLDER = tmp_path / "backups"
    hoop = Hoop.objects.create(
        name="medium", field_width_mm=130, field_height_mm=180, ring_width_mm=150, ring_height_mm=200
    )
    machine = Machine.objects.create(name="one needle", needles=1, bobbin_style=a_bobbin_style())
    machine.hoops.add(hoop)
    twill = Fabric.objects.create(name="twill", thickness_mm=0.6)
    Layer.objects.create(fabric=twill, kind="tear-away", count=1)
    a_spool(a_shade("R", hex="#b01c2e", name="harbour red"), left_m=900, place=a_place())
    some_bobbins(count=20)
    a_roll()
    begin_place(a_place(), key="round", at=NOW, by=None)
    design = keep_design(read_design_file(BADGE), content=BADGE, trim_at_jumps=3, at=NOW)
    for number in range(3):
        wanted = JobFacts(
            what=f"job {number}", pieces=3, tests=1, machine=machine, fabric=twill, needed_on=date(2026, 4, 1)
        )
        job = make_job(wanted, designs=[design], at=NOW, by=None)
        if number:
            promise(job, at=NOW, by=None, although_short=True)
        if number == 2:
            begin(job, at=NOW)


def faults(client: Client, *, seed: int, requests: int) -> list[str]:
    owner = User.objects.create_superuser("morgan", password="spindle-and-thread")
    client.force_login(owner)
    client.raise_request_exception = False
    keys = (1, 1, 1, 2, 2, 3, 0, 99, 2**31, 2**63 - 1, 2**63, 10**30)
    fuzzer = Fuzzer(client, random.Random(seed), keys)
    found: Counter[str] = Counter()
    asked = 0
    for each in fuzzer.run(requests):
        asked += bool(each.status)
        if each.status == 500:
            found[f"{each.method} {each.address} {each.data!r:.300}: {each.fault}"] += 1
    assert asked > requests * 0.5
    return list(found)


def test_what_views_read_and_forms_ask_is_known_to_the_requests(client):
    client.get("/")  # loads every view
    assert {"q", "pieces", "pin", "exclude", "strictness", "code", "key", "colour", "shown"} <= set(
        names_read()
    )
    assert len(names_read()) > 150


def test_no_address_answers_500_to_a_few_hundred_odd_requests(workshop, client):
    assert faults(client, seed=1, requests=200) == []


@pytest.mark.parametrize("seed", searched(range(2, 12)))
def test_no_address_answers_500_to_thousands_of_odd_requests(workshop, client, seed):
    assert faults(client, seed=seed, requests=500) == []


@pytest.mark.thorough
@pytest.mark.parametrize("number", [2**31, 2**63 - 1, 2**63, 10**30])
def test_every_address_and_form_answers_a_number_beyond_all_in_words(workshop, client, number):
    """As a part of the address, and as the value of all that its page and the views know of."""
    fuzzer = _owner_asks(client)
    found = []
    for name, converters in named_routes(get_resolver()):
        for key in converters:
            found += _asked(fuzzer, name, converters, {key: number}, {})
        found += _asked(fuzzer, name, converters, {}, dict.fromkeys(names_read(), str(number)))
    assert found == []


@pytest.mark.parametrize(
    "value",
    [
        pytest.param("1e999", marks=pytest.mark.thorough),
        *(pytest.param(value, marks=pytest.mark.exhaustive) for value in ("-1e999", "nan", "9" * 400)),
    ],
)
def test_every_field_of_every_form_answers_what_is_no_number_in_words(workshop, client, value):
    """One field after the other, the rest as its page has them, so that no earlier refusal hides a later fault."""
    fuzzer = _owner_asks(client)
    found, fields = [], 0
    for name, converters in named_routes(get_resolver()):
        address = _address(name, converters, {})
        if name in SKIPPED or address is None:
            continue
        page = fuzzer._send(Asked("get", address))
        found += [page.fault] if page.status == 500 else []
        for action, filled in Forms(page.text).found:
            for each in filled if resolve(action or address).url_name not in SKIPPED else ():
                fields += 1
                answer = fuzzer._send(Asked("post", action or address, filled | {each: value}))
                found += [f"{address} {each}: {answer.fault}"] if answer.status == 500 else []
    assert found == []
    assert fields > 300


def _owner_asks(client: Client) -> Fuzzer:
    client.force_login(User.objects.create_superuser("morgan", password="spindle-and-thread"))
    client.raise_request_exception = False
    return Fuzzer(client, random.Random(0), (1,))


def _address(name: str, converters: dict[str, str], given: dict[str, int]) -> str | None:
    stand_in = {"int": 1, "str": "S0001", "slug": "x"}
    words = {key: given.get(key, stand_in.get(kind, "x")) for key, kind in converters.items()}
    try:
        return reverse(name, kwargs=words)
    except NoReverseMatch:
        return None


def _asked(
    fuzzer: Fuzzer, name: str, converters: dict[str, str], given: dict[str, int], data: Any
) -> list[str]:
    address = _address(name, converters, given)
    if name in SKIPPED or address is None:
        return []
    answers = [fuzzer._send(Asked(method, address, data)) for method in ("get", "post")]
    return [f"{each.method} {address}: {each.fault}" for each in answers if each.status == 500]


@pytest.mark.parametrize("amount", ["1" * 30, "-" + "9" * 40, "100000000", "1e999"])
def test_an_amount_that_cannot_be_rounded_is_refused_in_words(amount):
    with pytest.raises(ValidationError, match=r"price|number"):
        MoneyField().clean(amount)


@pytest.mark.parametrize("number", range(len(JSON)))
def test_odd_events_of_a_phone_are_answered_in_words(workshop, client, number):
    client.force_login(User.objects.create_superuser("morgan", password="spindle-and-thread"))
    job = Job.objects.get(state=Job.State.RUNNING)
    answer = client.post(f"/jobs/{job.pk}/run/events/", JSON[number], content_type="application/json")
    assert answer.status_code in (200, 400, 422)
    body = answer.json()
    assert body.get("problem") or all(each["problem"] for each in body["events"] if each)
    assert not job.events.exists()
