"""Killed at random moments, everything is there wholly or not at all, and what was interrupted goes on."""

import json
import os
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pytest
from django.db import connection

from tests.own_database import own_database, run_in

# The thorough: these acts so many times, and these journeys; below twenty seconds together on an idle machine.
SOME_ACTS, FEW = ("promise", "cut", "finish", "swap", "receive an order"), 4
SHORT_JOURNEYS, SHORT = ("backup", "restore", "import"), 2
# The exhaustive: every act and every journey.
MANY = 200
EARLIER = "c85c594"
JOURNEYS = ("backup", "restore", "update", "move", "import")

pytestmark = [
    pytest.mark.database,
    pytest.mark.usefixtures("django_db_setup"),
    pytest.mark.skipif(not hasattr(os, "fork"), reason="the victims are forked, which this system cannot"),
]


def many(journeys: Iterable[str]) -> list[Any]:
    """Return each with many kills, and some with few for the thorough."""
    few = [pytest.param(each, SHORT, marks=pytest.mark.thorough) for each in SHORT_JOURNEYS]
    all_of_them = [pytest.param(each, MANY, marks=pytest.mark.exhaustive) for each in journeys]
    return all_of_them + [each for each in few if each.values[0] in journeys]


@pytest.mark.parametrize(
    ("acts", "kills"),
    [
        pytest.param(SOME_ACTS, FEW, marks=pytest.mark.thorough),
        pytest.param((), MANY, marks=pytest.mark.exhaustive),
    ],
    ids=["some", "every"],
)
def test_an_act_that_is_killed_is_there_to_the_last_row_or_not_at_all(
    acts: tuple[str, ...], kills: int, tmp_path: Path
) -> None:
    with own_database(tmp_path) as environment:
        words = ("-m", "tests.workshop.storms.acts_storm", str(kills), "1147", *acts)
        said = run_in(environment, *words, timeout_s=14_400, told_in=tmp_path / "told.jsonl")
    told = [json.loads(line) for line in said.splitlines()]
    print(said)
    assert len(told) == len(acts) or (not acts and len(told) > 50)
    for each in told:
        assert each["problems"] == [], each
        assert each["kills"] == kills == each["absent"] + each["whole"]
        if kills == MANY:
            assert each["absent"] > 0
            assert each["after_a_write"] > kills / 10, each["act"]
    assert sum(each["after_a_write"] for each in told) > len(told) * kills / 10


@pytest.mark.parametrize(("journey", "kills"), many(JOURNEYS))
def test_a_journey_that_is_killed_ends_well(journey: str, kills: int, tmp_path: Path) -> None:
    earlier = {"filled_from": EARLIER, "migrated": False} if journey == "update" else {}
    with own_database(tmp_path, **earlier) as environment:
        environment = {**environment, "MOVE_TO": f"sqlite:///{tmp_path / 'there.sqlite3'}"}
        told = storm(environment, journey, kills)
    assert told["problems"] == []
    assert told["kills"] == kills
    if kills == MANY:
        assert min(told["arrived"], told["not_begun"] + told["under_way"]) > 0


@pytest.mark.skipif(connection.vendor != "postgresql", reason="moves to PostgreSQL")
@pytest.mark.parametrize(("journey", "kills"), many(["move"]))
def test_a_move_to_a_server_that_is_killed_can_be_done_again(
    journey: str, kills: int, tmp_path: Path
) -> None:
    (tmp_path / "here").mkdir()
    with own_database(tmp_path) as there:
        here = {**there, "MOVE_TO": there["DATABASE_URL"], "ENOUGH_THREAD_DATA": str(tmp_path / "here")}
        here["DATABASE_URL"] = f"sqlite:///{tmp_path / 'here' / 'here.sqlite3'}"
        run_in(here, "manage.py", "migrate", "--skip-checks", "--verbosity", "0")
        told = storm(here, journey, kills)
    assert told["problems"] == []
    assert told["kills"] == kills


def storm(environment: Any, journey: str, kills: int) -> dict[str, Any]:
    words = ("-m", "tests.workshop.storms.journeys", journey, str(kills), "1147")
    said = run_in(environment, *words, timeout_s=7_200)
    print(said)
    told: dict[str, Any] = json.loads(said.splitlines()[-1])
    return told
