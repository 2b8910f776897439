"""Many clients at several site processes and workers: nothing fails, nothing is sold twice or lost to a kill."""

import json
import socket
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
from django.db import connection

from tests.own_database import own_database, run_in
from tests.workshop.load.sizes import STEPS

pytestmark = [pytest.mark.database, pytest.mark.usefixtures("django_db_setup")]


def free_ports(number: int) -> list[int]:
    with ExitStack() as open_now:
        taken = [open_now.enter_context(socket.socket()) for _ in range(number)]
        for each in taken:
            each.bind(("127.0.0.1", 0))
        return [each.getsockname()[1] for each in taken]


def under_load(folder: Path, *, sites: int, **load: Any) -> dict[str, Any]:
    with own_database(folder) as environment:
        # Signs of life at short distances, so that the dead are known as dead within the test.
        quick = {"ENOUGH_THREAD_WORK_BEAT_S": "1", "ENOUGH_THREAD_WORK_LOST_AFTER_S": "10"}
        words = json.dumps({**load, "ports": free_ports(sites)})
        said = run_in({**environment, **quick}, "-m", "tests.workshop.load.many", words, timeout_s=900)
    told: dict[str, Any] = json.loads(said.splitlines()[-1])
    print(json.dumps({name: told[name] for name in told if name not in ("work", "imports")}))
    return told


def nothing_is_lost_or_doubled(told: dict[str, Any], *, work: int) -> None:
    assert told["errors"] == []
    assert told["oversold"] == []
    assert told["doctor"] == []
    for what in ("ticks", "spools"):
        done, there = told[what]
        assert done == there, what
    assert {each["state"] for each in told["work"]} == {"done"}
    assert [each["made"] for each in told["work"] if each["key"].startswith("slow")] == ["." * STEPS] * work
    for run in told["imports"]:
        assert run["found"] == run["done"] == run["rows"] == run["kept"]
    assert told["designs"] == sum(run["kept"] for run in told["imports"])
    assert told["backups"] == 1


# The small storm, and the whole one.
@pytest.mark.parametrize(
    ("clients", "seconds", "work"),
    [
        pytest.param(8, 12, 1, marks=pytest.mark.thorough),
        pytest.param(60, 60, 6, marks=pytest.mark.exhaustive),
    ],
)
@pytest.mark.skipif(connection.vendor != "postgresql", reason="Several site processes take PostgreSQL.")
def test_many_at_three_site_processes_and_two_workers_of_which_one_each_is_killed(
    tmp_path: Path, clients: int, seconds: int, work: int
) -> None:
    told = under_load(tmp_path, sites=3, clients=clients, seconds=seconds, workers=2, work=work, kill=True)
    nothing_is_lost_or_doubled(told, work=work)
    assert told["moves"] > 0


@pytest.mark.parametrize(
    ("clients", "seconds", "work"),
    [
        pytest.param(6, 10, 1, marks=pytest.mark.thorough),
        pytest.param(30, 60, 2, marks=pytest.mark.exhaustive),
    ],
)
@pytest.mark.skipif(connection.vendor != "sqlite", reason="It is SQLite that is loaded here.")
def test_many_at_one_site_process_on_sqlite_that_does_the_long_work_itself(
    tmp_path: Path, clients: int, seconds: int, work: int
) -> None:
    told = under_load(tmp_path, sites=1, clients=clients, seconds=seconds, work=work)
    nothing_is_lost_or_doubled(told, work=work)


@pytest.mark.exhaustive
@pytest.mark.skipif(connection.vendor != "postgresql", reason="Several site processes take PostgreSQL.")
def test_how_much_more_two_and_four_site_processes_answer(tmp_path: Path) -> None:
    answered = {}
    for sites in (1, 2, 4):
        told = under_load(tmp_path / str(sites), sites=sites, clients=16, seconds=20)
        assert told["errors"] == []
        answered[sites] = told["requests_a_second"]
    print({sites: round(each / answered[1], 2) for sites, each in answered.items()})
    assert answered[1] > 0
