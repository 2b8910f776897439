"""Every operation against every part, a tablet's cookie, and tokens of stations: as the table of rights says.

The table that people read, on the page "Who may do what" and in the help, is made of the same one.
"""

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from planning.models import Job, Machine
from tests.factories import a_key
from tests.workshop.api.conftest import Program, a_member, a_program
from workshop.api.site import api
from workshop.models import Role
from workshop.people.rights import API, ROUTES, STATION_ROUTES, Asks, Right, asks, right_of
from workshop.people.stations import STATION_COOKIE, set_up_station

pytestmark = pytest.mark.django_db
FILLED = {"{label}": "S-NONE", "{number}": "987654", "{event}": "1"}


def operations() -> list[tuple[str, str, str]]:
    """Each operation as its way, its address below ``api/1/`` and the name of its row in the table."""
    found = []
    names = _names()
    beneath = reverse("api_description").rpartition("/")[0] + "/"
    for address, ways in api.get_openapi_schema()["paths"].items():
        path = address.removeprefix(beneath)
        found += [(way, path, names[path]) for way in ways]
    return found


def _names() -> dict[str, str]:
    names = {}
    for room in api._get_bound_routers():
        for path, view in room.path_operations.items():
            (name,) = {operation.url_name for operation in view.operations}
            names[path.lstrip("/").replace("path:", "")] = name
    return names


def ask(program: Program, way: str, path: str) -> int:
    for holder, value in FILLED.items():
        path = path.replace(holder, value)
    answer = program.get(path) if way == "get" else program.post(path, {})
    return answer.status_code


def test_every_operation_has_a_row_and_every_row_an_operation() -> None:
    rows = {name for name in ROUTES if name.startswith(API)} - {"api_description", "api_help", "api_metrics"}
    assert {name for _, _, name in operations()} == rows
    assert len(operations()) > 45


def test_a_way_to_change_something_is_a_post_and_takes_more_than_looking() -> None:
    for way, path, name in operations():
        wanted = asks(name, changes=way == "post")
        assert wanted is not None
        assert (wanted > Right.SEE) == (way == "post"), path
        assert way in ("get", "post"), path


@pytest.mark.parametrize("role", Role.values)
@pytest.mark.parametrize("given", [Right.SEE, Right.STITCH, Right.PLAN])
def test_each_part_is_let_through_as_far_as_it_and_its_token_reach(
    db: None, settings: Any, role: str, given: Right
) -> None:
    settings.API_PER_MINUTE = 10**6
    user = a_member("morgan", Role.OWNER)
    program = a_program(user, given)
    user.member.role = role  # a part that was changed after the token was made counts at once
    user.member.save()
    reach = min(given, right_of(role))
    for way, path, name in operations():
        wanted = asks(name, changes=way == "post")
        assert wanted is not None
        assert (ask(program, way, path) == 403) == (reach < wanted), (way, path)


def test_nobody_without_a_token_is_let_through_whatever_cookies_there_are(db: None, settings: Any) -> None:
    settings.API_REFUSED_PER_MINUTE = 10**6
    machine = Machine.objects.create(name="Here")
    _, secret = set_up_station("Tablet", machine=machine, at=timezone.now(), by=None)
    stranger, tablet, owner = Client(), Client(), Client()
    tablet.cookies[STATION_COOKIE] = secret
    owner.force_login(a_member("morgan", Role.OWNER))
    for client in (stranger, tablet, owner):
        for way, path, _ in operations():
            assert ask(Program(client, "", None), way, path) == 401, (way, path)


def test_a_token_of_a_station_reaches_the_runs_of_its_machine_alone(workshop: None, running: Job) -> None:
    at = timezone.now()
    assert running.machine is not None
    here, _ = set_up_station("Left", machine=running.machine, at=at, by=None)
    there, _ = set_up_station("Right", machine=Machine.objects.create(name="Six needles"), at=at, by=None)
    stitcher = a_member("sam", Role.OWNER)
    right, wrong = (a_program(stitcher, Right.PLAN, station=each) for each in (here, there))
    for way, path, name in operations():
        wanted = asks(name, changes=way == "post")
        assert wanted is not None
        about_a_job = "{number}" in path
        inside = name in STATION_ROUTES and wanted <= Right.STITCH
        address = path.replace("{number}", str(running.pk))
        assert (ask(right, way, address) == 403) == (not inside), (way, path)
        assert (ask(wrong, way, address) == 403) == (not inside or about_a_job), (way, path)
    ticked = right.post(f"jobs/{running.pk}/run/events", {"kind": "stop"}).json()["event"]
    assert (ticked["station"], ticked["by"]) == ("Left", "sam")
    here.ended_at = at
    here.save()
    assert right.get(f"jobs/{running.pk}/run").status_code == 401


def test_an_operation_in_no_row_is_closed_to_everybody(
    planner: Program, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delitem(ROUTES, "api_places")
    assert planner.get("places").status_code == 403
    monkeypatch.setitem(ROUTES, "api_places", Asks(Right.OWN, Right.OWN))
    assert planner.get("places").status_code == 403


def test_a_token_forges_nothing_in_a_browser(signed_in: Client, running: Job) -> None:
    """A page elsewhere can have a person's browser send a request with its cookies, and no more than that."""
    sent = Client(enforce_csrf_checks=True)
    sent.cookies = signed_in.cookies
    answer = sent.post(
        f"/api/1/jobs/{running.pk}/drop", "{}", content_type="application/json",
        headers={"Idempotency-Key": a_key(), "Origin": "https://elsewhere.example"},
    )  # fmt: skip
    assert answer.status_code == 401
    running.refresh_from_db()
    assert running.state == Job.State.RUNNING
