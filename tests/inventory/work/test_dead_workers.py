"""Workers that are killed, put to sleep or asked to end in the midst of work: it goes on elsewhere, each step once."""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from tests.own_database import HOUSE, own_database, run_in

STEPS, PAUSE_S = 150, 0.1  # longer than a loaded machine takes to look
LONGEST_S = 120
ASK = f"""
import django; django.setup()
from django.utils import timezone
from inventory.work import ask_for
from tests.inventory.work.slow import make_places
ask_for(make_places, ({STEPS}, {PAUSE_S}), key="slow", what="", at=timezone.now())
"""
TELL = """
import json, django; django.setup()
from inventory.models import LongWork, Place, WorkProcess
work = LongWork.objects.first() or LongWork(done=0)
print(json.dumps({"state": work.state, "done": work.done, "made": work.what, "deaths": work.deaths,
    "turns": work.turns, "places": Place.objects.count(), "by": work.process and work.process.name,
    "failure": work.failure, "processes": [[each.name, each.kind] for each in WorkProcess.objects.all()]}))
"""
# Whether nobody is in the midst of writing: a process that is put to sleep there would hold everybody up.
IS_FREE = """
import django; django.setup()
import sqlite3
from django.db import OperationalError, connection, transaction
from inventory.models import LongWork
if connection.vendor == "sqlite":
    beside = sqlite3.connect(connection.settings_dict["NAME"], timeout=0.2)
    try:
        beside.execute("BEGIN IMMEDIATE")
        print("yes")
    except sqlite3.OperationalError:
        print("no")
else:
    try:
        with transaction.atomic():
            list(LongWork.objects.select_for_update(nowait=True))
        print("yes")
    except OperationalError:
        print("no")
"""
pytestmark = [pytest.mark.thorough, pytest.mark.database, pytest.mark.usefixtures("django_db_setup")]


@pytest.fixture
def environment(tmp_path: Path) -> Iterator[Mapping[str, str]]:
    with own_database(tmp_path) as environment:
        yield {
            **environment,
            "DJANGO_SETTINGS_MODULE": "workshop.settings",
            "ENOUGH_THREAD_WORKER": "yes",
            "ENOUGH_THREAD_WORK_BEAT_S": "1",
            "ENOUGH_THREAD_WORK_LOST_AFTER_S": "4",
        }


@contextmanager
def a_worker(environment: Mapping[str, str]) -> Iterator[subprocess.Popen[bytes]]:
    words = [sys.executable, "manage.py", "work", "--interval", "0.3"]
    process = subprocess.Popen(words, cwd=HOUSE, env=environment)
    try:
        yield process
    finally:
        if process.poll() is None:
            process.send_signal(signal.SIGCONT)
            process.kill()
        process.wait()


def told(environment: Mapping[str, str]) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(run_in(environment, "-c", TELL))
    return found


def until(environment: Mapping[str, str], wanted: Callable[[dict[str, Any]], bool]) -> dict[str, Any]:
    began = time.monotonic()
    while not wanted(now := told(environment)):
        assert time.monotonic() - began < LONGEST_S, now
        time.sleep(0.1)
    return now


def is_through(now: dict[str, Any]) -> bool:
    return now["state"] not in ("waiting", "under way", "stopping")


def made_once(now: dict[str, Any]) -> None:
    assert now["state"] == "done", now
    assert (now["places"], now["made"], now["done"]) == (STEPS, "." * STEPS, STEPS)


def test_work_whose_worker_is_killed_is_ended_by_another(environment: Mapping[str, str]) -> None:
    run_in(environment, "-c", ASK)
    with a_worker(environment) as first:
        began = until(environment, lambda now: now["done"] > 3)
        assert f":{first.pid}:" in began["by"]
        with a_worker(environment) as second:
            first.kill()
            first.wait()
            ended = until(environment, is_through)
            made_once(ended)
            assert ended["deaths"] == 1
            assert f":{second.pid}:" in ended["by"]


def put_to_sleep(process: subprocess.Popen[bytes], environment: Mapping[str, str]) -> None:
    """Stop a process between two of its writes."""
    for _ in range(50):
        os.kill(process.pid, signal.SIGSTOP)
        if run_in(environment, "-c", IS_FREE).strip() == "yes":
            return
        os.kill(process.pid, signal.SIGCONT)
        time.sleep(PAUSE_S)
    raise AssertionError("it writes without a pause")


def test_a_worker_that_slept_and_was_thought_dead_writes_nothing_more(environment: Mapping[str, str]) -> None:
    run_in(environment, "-c", ASK)
    with a_worker(environment) as first:
        until(environment, lambda now: now["done"] > 3)
        put_to_sleep(first, environment)
        with a_worker(environment) as second:
            until(environment, lambda now: now["turns"] == 3)  # taken, taken up, taken again
            os.kill(first.pid, signal.SIGCONT)
            ended = until(environment, is_through)
            made_once(ended)
            assert f":{second.pid}:" in ended["by"]


def test_a_worker_that_is_asked_to_end_lays_its_work_down_for_the_next(
    environment: Mapping[str, str],
) -> None:
    run_in(environment, "-c", ASK)
    with a_worker(environment) as first:
        until(environment, lambda now: now["done"] > 3)
        first.terminate()
        assert first.wait(20) == 0
        left = told(environment)
        assert (left["state"], left["deaths"]) == ("waiting", 0)
    with a_worker(environment):
        made_once(until(environment, is_through))


def test_a_stop_where_no_worker_runs_leaves_the_others_waiting(environment: Mapping[str, str]) -> None:
    run_in(environment, "-c", ASK)
    run_in(environment, "-c", ASK.replace('"slow"', '"beside"'))
    stop = """
import django; django.setup()
import time
from django.utils import timezone
from inventory.models import LongWork
from inventory.work import ask_to_stop
ask_to_stop(LongWork.objects.get(key="slow"), at=timezone.now(), by=None)
time.sleep(5)
print(dict(LongWork.objects.values_list("key", "was_stopped")), LongWork.objects.waiting().count())
"""
    assert run_in(environment, "-c", stop).strip() == "{'beside': False, 'slow': True} 1"
    assert told(environment)["places"] == 0


def test_the_site_itself_does_the_work_where_no_worker_is_said_to_run(environment: Mapping[str, str]) -> None:
    alone = {**environment, "ENOUGH_THREAD_WORKER": ""}
    # A site that is killed in the midst of its own work, and one that is started after it.
    died = subprocess.Popen(
        [sys.executable, "-c", f"{ASK}\nimport time; time.sleep(600)"], cwd=HOUSE, env=alone
    )
    try:
        until(alone, lambda now: now["done"] > 3)
    finally:
        died.kill()
        died.wait()
    starts = "import workshop.wsgi, time; time.sleep(600)"
    next_one = subprocess.Popen([sys.executable, "-c", starts], cwd=HOUSE, env=alone)
    try:
        ended = until(alone, is_through)
        made_once(ended)
        assert ended["deaths"] == 1
        assert {kind for _, kind in ended["processes"]} == {"site"}
    finally:
        next_one.terminate()
        next_one.wait()
