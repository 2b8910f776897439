"""A request is carried out once for its key, and whatever is refused has one shape."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.conf import LazySettings
from django.test import Client
from django.utils import timezone

from inventory.models import Entry, Spool
from planning.models import Job
from tests.workshop.api.conftest import Program, a_member, a_program
from workshop.models import KeptAnswer, RequestCount, Role, Token
from workshop.people.rights import Right
from workshop.people.tokens import counted, end_token

pytestmark = pytest.mark.django_db


def taken() -> int:
    return Entry.objects.filter(reason="use").count()


def test_the_same_request_sent_again_is_answered_as_before_and_moves_nothing(planner: Program) -> None:
    path, body = f"stock/{Spool.objects.get().label}/use", {"mm": 5000}
    first, again = planner.post(path, body, key="k"), planner.post(path, body, key="k")
    assert (first.content, first.status_code) == (again.content, again.status_code)
    assert again["Idempotent-Replayed"] == "true"
    assert taken() == 1


def test_an_act_without_a_key_of_its_own_is_answered_as_before_too(planner: Program) -> None:
    job = Job.objects.get(state="promised")
    first, again = (planner.post(f"jobs/{job.pk}/release", key="once") for _ in range(2))
    assert first.status_code == again.status_code == 200
    assert planner.post(f"jobs/{job.pk}/release", key="twice").status_code == 409


def test_a_key_that_came_with_another_request_is_refused(planner: Program) -> None:
    path = f"stock/{Spool.objects.get().label}/use"
    planner.post(path, {"mm": 5000}, key="k")
    refused = planner.post(path, {"mm": 6000}, key="k")
    assert refused.status_code == 422
    assert "sent before with another request" in refused.json()["detail"]
    assert taken() == 1


def test_a_refusal_is_not_kept_so_that_the_request_may_come_again(planner: Program) -> None:
    path = f"stock/{Spool.objects.get().label}/use"
    assert planner.post(path, {"mm": 10**9}, key="k").status_code == 422
    assert not KeptAnswer.objects.exists()
    assert planner.post(path, {"mm": 1000}, key="k").status_code == 200


def test_two_people_may_choose_the_same_key(planner: Program) -> None:
    other = a_program(a_member("sam", Role.STITCHER), Right.STITCH)
    path = f"stock/{Spool.objects.get().label}/use"
    assert {each.post(path, {"mm": 1000}, key="k").status_code for each in (planner, other)} == {200}
    assert taken() == 2


@pytest.mark.parametrize("key", ["", "k" * 65, "two words", "ключ"])
def test_a_key_is_asked_for_on_every_act(planner: Program, key: str) -> None:
    headers = {"Authorization": f"Bearer {planner.secret}"}
    if key:
        headers["Idempotency-Key"] = key.encode().decode("latin-1")
    path = f"/api/1/stock/{Spool.objects.get().label}/use"
    refused = planner.client.post(path, '{"mm": 1}', content_type="application/json", headers=headers)
    assert refused.status_code == 400
    assert "Idempotency-Key" in refused.json()["detail"]


@pytest.mark.parametrize(
    ("sent", "kind", "status"),
    [
        ("{", "application/json", 400),
        ('{"mm": 1e999}', "application/json", 400),
        ('{"mm": ' + "[" * 99 + "]" * 99 + "}", "application/json", 400),
        ("mm=1", "application/x-www-form-urlencoded", 415),
        ('{"mm": "1"}', "application/json", 422),
        ('{"mm": 1, "metres": 1}', "application/json", 422),
        ('{"mm": 0}', "application/json", 422),
        ('{"mm": 1, "reference": "a\\u0000b"}', "application/json", 422),
        ('{"mm": 1, "reference": "\\ud800"}', "application/json", 422),
    ],
)
def test_a_body_that_cannot_be_used_is_refused_in_one_shape(
    planner: Program, sent: str, kind: str, status: int
) -> None:
    headers = {"Authorization": f"Bearer {planner.secret}", "Idempotency-Key": "k"}
    path = f"/api/1/stock/{Spool.objects.get().label}/use"
    refused = planner.client.post(path, sent, content_type=kind, headers=headers)
    assert (refused.status_code, refused["Content-Type"]) == (status, "application/problem+json")
    told = refused.json()
    assert set(told) >= {"type", "title", "status", "detail"}
    assert told["status"] == status
    assert told["type"].startswith("http://testserver/help/api/#")


def test_whatever_stands_before_the_operations_refuses_in_the_same_shape(planner: Program) -> None:
    nowhere, wrong_way = planner.get("no/such/thing"), planner.get(f"stock/{Spool.objects.get().label}/use")
    assert (nowhere.status_code, nowhere["Content-Type"]) == (404, "application/problem+json")
    assert (wrong_way.status_code, wrong_way["Allow"]) == (405, "POST")
    assert wrong_way["Content-Type"] == "application/problem+json"


def test_a_fault_is_told_as_one_and_shows_nothing_of_the_program(
    planner: Program, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("a secret of the program")

    monkeypatch.setattr("workshop.api.stock.shelf", broken)
    fault = planner.get("stock")
    assert (fault.status_code, fault["Content-Type"]) == (500, "application/problem+json")
    assert b"secret" not in fault.content


@pytest.mark.parametrize("header", ["", "Bearer", "Bearer thread_none", "Basic bW9yZ2Fu", "Bearer \xff"])
def test_without_a_token_that_lets_in_there_is_nothing(workshop: None, header: str) -> None:
    refused = Client().get("/api/1/stock", headers={"Authorization": header} if header else {})
    assert refused.status_code == 401
    assert refused["WWW-Authenticate"].startswith("Bearer")


def test_a_cookie_lets_no_program_in(signed_in: Client) -> None:
    assert signed_in.get("/api/1/stock").status_code == 401
    assert signed_in.post("/api/1/jobs", "{}", content_type="application/json").status_code == 401


def test_a_token_ends_by_itself_by_an_owner_and_with_its_person(planner: Program) -> None:
    assert planner.token is not None
    assert planner.get("stock").status_code == 200
    Token.objects.update(ends_at=timezone.now() - timedelta(seconds=1))
    assert planner.get("stock").status_code == 401
    Token.objects.update(ends_at=timezone.now() + timedelta(days=1))
    end_token(planner.token, at=timezone.now())
    assert planner.get("stock").status_code == 401
    other = a_program(a_member("sam", Role.VIEWER), Right.SEE)
    assert other.token is not None
    other.token.user.is_active = False
    other.token.user.save()
    assert other.get("stock").status_code == 401


def test_a_token_never_reaches_farther_than_its_person_does_now(planner: Program) -> None:
    assert planner.token is not None
    planner.token.user.member.role = Role.VIEWER
    planner.token.user.member.save()
    path = f"stock/{Spool.objects.get().label}/use"
    refused = planner.post(path, {"mm": 1000})
    assert refused.status_code == 403
    assert "tick pieces, weigh" in refused.json()["detail"]
    assert planner.get("stock").status_code == 200


def test_only_the_hash_of_a_token_is_kept(planner: Program) -> None:
    assert planner.secret not in str(list(Token.objects.values()))


def test_requests_are_counted_by_token_and_by_address_over_all_processes(
    planner: Program, settings: LazySettings
) -> None:
    settings.API_PER_MINUTE, settings.API_REFUSED_PER_MINUTE = 3, 2
    # Where a minute ends in between, the count begins anew: asked once more often than twice the limit, it shows.
    answers = [planner.get("places") for _ in range(8)]
    assert {each.status_code for each in answers} == {200, 429}
    slowed = next(each for each in answers if each.status_code == 429)
    assert 1 <= int(slowed["Retry-After"]) <= 60
    strangers = [Client().get("/api/1/places").status_code for _ in range(6)]
    assert set(strangers) == {401, 429}


def test_a_count_begins_anew_with_each_minute(db: None) -> None:
    at = timezone.now()
    assert [counted("token few", at=at, most=10) for _ in range(3)] == [1, 2, 3]
    assert counted("token few", at=at + timedelta(minutes=1), most=10) == 1
    assert counted("token other", at=at, most=10) == 1


def test_many_requests_are_counted_some_at_a_time_and_with_those_of_other_processes(
    db: None, django_assert_num_queries: Any
) -> None:
    at = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
    with django_assert_num_queries(0):
        assert [counted("token many", at=at, most=600) for _ in range(9)] == list(range(1, 10))
    assert counted("token many", at=at, most=600) == 10
    RequestCount.objects.filter(who="token many").update(count=310)  # another process has answered 300
    assert [counted("token many", at=at, most=600) for _ in range(10)][-1] == 320
    assert counted("token many", at=at + timedelta(minutes=1), most=600) == 1
