"""What the site tells of itself: lines of the log, numbers, what is slow, and the owner's page."""

import io
import json
import logging
import re

import pytest
from django.conf import LazySettings
from django.contrib.auth.models import User
from django.test import Client
from django.utils import timezone
from pytest_django.asserts import assertContains

from planning.models import Job, Machine
from tests.factories import NOW
from tests.workshop.api.conftest import Program, a_member, a_program
from workshop.models import Role
from workshop.people.members import invite
from workshop.people.rights import Right
from workshop.people.stations import set_up_station
from workshop.watching.logs import JsonLines, OfRequest
from workshop.watching.numbers import HERE, Numbers

pytestmark = pytest.mark.django_db
SERIES = re.compile(r'[a-z_]+(\{[a-z_]+="(\\.|[^"\\])*"(,[a-z_]+="(\\.|[^"\\])*")*\})? -?[0-9.e+]+')


@pytest.fixture
def lines(monkeypatch: pytest.MonkeyPatch) -> list[dict[str, object]]:
    """The lines that the log has as JSON."""
    found: list[dict[str, object]] = []

    class Keeps(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            found.append(json.loads(self.format(record)))

    handler = Keeps()
    handler.setFormatter(JsonLines())
    handler.addFilter(OfRequest())
    for name in ("workshop.requests", "workshop.slow"):
        logger = logging.getLogger(name)
        monkeypatch.setattr(logger, "handlers", [handler])
        monkeypatch.setattr(logger, "level", logging.INFO)
        logger.manager._clear_cache()
    return found


def test_each_request_has_an_id_and_a_line_with_its_person(
    signed_in: Client, lines: list[dict[str, object]]
) -> None:
    answer = signed_in.get("/preferences/")
    (line,) = lines
    assert line["request"] == answer["X-Request-ID"]
    assert (line["person"], line["route"], line["status"]) == ("morgan", "preferences", 200)
    assert isinstance(line["queries"], int)
    assert line["queries"] > 0


def test_what_a_token_did_at_a_station_says_so(db: None, lines: list[dict[str, object]]) -> None:
    machine = Machine.objects.create(name="Six needles")
    job = Job.objects.create(what="caps", pieces=1, machine=machine, made_at=NOW)
    station, _ = set_up_station("Left wall", machine=machine, at=timezone.now(), by=None)
    a_program(a_member("sam", Role.STITCHER), Right.STITCH, station=station).get(f"jobs/{job.pk}")
    (line,) = lines
    assert (line["person"], line["station"], line["token"]) == ("sam", "Left wall", "a program")


def test_a_secret_of_a_link_is_in_no_line(
    person: User, client: Client, lines: list[dict[str, object]]
) -> None:
    secret = invite(Role.STITCHER, at=timezone.now(), by=person)
    client.get(f"/join/{secret}/?x={secret}")
    assert secret not in json.dumps(lines)
    assert lines[0]["route"] == "join"


def test_a_link_that_was_refused_and_still_lets_in_is_in_no_line_of_words(
    person: User, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    told = io.StringIO()
    handler = logging.StreamHandler(told)
    handler.addFilter(OfRequest())
    for name in ("django.request", "django.security.csrf"):
        monkeypatch.setattr(logging.getLogger(name), "handlers", [handler])
    secret = invite(Role.STITCHER, at=timezone.now(), by=person)
    assert Client(enforce_csrf_checks=True).post(f"/join/{secret}/", {}).status_code == 403
    assert "/join/…/" in told.getvalue()
    assert "Forbidden" in told.getvalue()
    assert secret not in told.getvalue()
    assert client.get(f"/join/{secret}/").status_code == 200  # it still lets somebody in


def test_only_a_proxy_of_ours_names_a_request(client: Client, settings: LazySettings) -> None:
    named = {"X-Request-ID": "from-the-proxy-1"}
    assert client.get("/help/api/", headers=named)["X-Request-ID"] != "from-the-proxy-1"
    settings.TRUSTED_PROXIES = ["127.0.0.1"]
    assert client.get("/help/api/", headers=named)["X-Request-ID"] == "from-the-proxy-1"
    odd = client.get("/help/api/", headers={"X-Request-ID": "a\nb" * 9})
    assert "\n" not in odd["X-Request-ID"]


def test_a_slow_statement_is_noted_with_its_page_and_without_its_values(
    signed_in: Client, settings: LazySettings, lines: list[dict[str, object]]
) -> None:
    settings.SLOW_QUERY_MS = 0
    before = HERE.slow_count
    signed_in.get("/find/", {"q": "a secret word"})
    assert HERE.slow_count > before
    slow = [line for line in lines if line["logger"] == "workshop.slow"]
    assert slow
    assert {line["route"] for line in slow} <= {"find", "unknown"}
    assert "a secret word" not in json.dumps(slow)
    assertContains(signed_in.get("/preferences/watching/"), "SELECT")


def test_an_owner_sees_versions_sizes_queue_and_the_last_backup(signed_in: Client) -> None:
    page = signed_in.get("/preferences/watching/")
    for said in (
        "Django",
        "Database",
        "Processes that do it now",
        "There is none yet",
        "Wrong passwords within",
    ):
        assertContains(page, said)
    assert not re.findall(r"<dt>[^<]*\w_\w", page.content.decode())  # no names of fields among the words
    other = Client()
    other.force_login(a_member("sam", Role.PLANNER))
    assert other.get("/preferences/watching/").status_code == 403


def test_numbers_are_told_in_the_format_that_prometheus_reads_to_a_token_alone(person: User) -> None:
    assert Client().get("/api/1/metrics").status_code == 401
    program = a_program(person, Right.SEE)
    program.get("places")
    answer = program.get("metrics")
    assert answer["Content-Type"].startswith("text/plain; version=0.0.4")
    text = answer.content.decode()
    for line in text.splitlines():
        assert line.startswith(("# HELP ", "# TYPE ")) or SERIES.fullmatch(line), line
    assert re.search(
        r'thread_requests_total\{route="api_places",method="GET",status="200",process="\d+"\} \d+', text
    )
    names = [line.split()[2] for line in text.splitlines() if line.startswith("# TYPE ")]
    assert len(names) == len(set(names))
    assert 'thread_jobs{state="running"} 0' in text


def test_a_histogram_only_grows_towards_its_end() -> None:
    numbers = Numbers()
    for seconds in (0.01, 0.2, 3.0, 20.0):
        numbers.note_answer("jobs", "GET", 200, seconds=seconds, queries=2)
    assert [numbers.classes["jobs", end] for end in (0.05, 0.25, 5.0, 10.0)] == [1, 2, 3, 3]
    assert numbers.slowest_routes() == [("jobs", 4, pytest.approx(23.21 / 4), 2.0)]


def test_a_fault_names_its_request_and_the_log_has_the_same(
    person: User, monkeypatch: pytest.MonkeyPatch, lines: list[dict[str, object]]
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("workshop.api.stock.shelf", broken)
    fault: Program = a_program(person, Right.SEE)
    answer = fault.get("stock")
    assert answer.status_code == 500
    assert answer.json()["instance"] == f"urn:request:{lines[-1]['request']}"
