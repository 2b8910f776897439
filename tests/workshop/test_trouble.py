"""Trouble with the database or the disk is told so that a person can act on it."""

import errno
import sqlite3
import time

import pytest
from django.db import DataError, OperationalError, connection
from django.test import Client

from inventory.compute.errors import WorkshopError
from tests.own_database import own_database, run_in
from workshop.trouble.kinds import AWAY, BUSY, DAMAGED, FULL, OUT_OF_DATE, READ_ONLY, TOO_LARGE, trouble_of

TOLD = [
    (OperationalError("database is locked"), BUSY),
    (OperationalError("deadlock detected\nDETAIL: Process 1 waits"), BUSY),
    (OperationalError("database or disk is full"), FULL),
    (OperationalError('could not extend file "base/1": No space left on device'), FULL),
    (OperationalError("connection failed: FATAL:  could not write init file"), FULL),
    (OperationalError("attempt to write a readonly database"), READ_ONLY),
    (OperationalError("unable to open database file"), READ_ONLY),
    (OperationalError("database disk image is malformed"), DAMAGED),
    (OperationalError("file is not a database"), DAMAGED),
    (OperationalError("no such column: planning_promise.begun_at"), OUT_OF_DATE),
    (OperationalError("connection to server failed: Connection refused"), AWAY),
    (DataError("integer out of range"), TOO_LARGE),
    (OverflowError("Python int too large to convert to SQLite INTEGER"), TOO_LARGE),
    (OSError(errno.ENOSPC, "No space left on device"), FULL),
    (OSError(errno.EROFS, "Read-only file system"), READ_ONLY),
]


@pytest.mark.parametrize(("problem", "trouble"), TOLD, ids=[str(problem)[:30] for problem, _ in TOLD])
def test_each_kind_has_its_own_page(problem, trouble, signed_in, monkeypatch):
    def fails(*_, **__):
        raise problem

    monkeypatch.setattr("planning.views.jobs.jobs.render", fails)
    answer = signed_in.get("/jobs/")
    assert answer.status_code == trouble.status
    assert trouble.do in answer.content.decode().replace("&#x27;", "'")
    assert trouble_of(problem) is trouble


def _failed(words: str, name: str) -> OperationalError:
    problem, cause = OperationalError(words), sqlite3.OperationalError(words)
    cause.sqlite_errorname = name
    problem.__cause__ = cause
    return problem


@pytest.mark.parametrize(("free", "trouble"), [(4096, FULL), (10**9, READ_ONLY)])
def test_a_disk_without_room_for_the_log_is_not_taken_for_damage(free, trouble, monkeypatch):
    monkeypatch.setattr("shutil.disk_usage", lambda _: type("Usage", (), {"free": free})())
    assert trouble_of(_failed("disk I/O error", "SQLITE_IOERR_SHMSIZE")) is trouble
    assert trouble_of(_failed("unable to open database file", "SQLITE_CANTOPEN")) is trouble
    assert trouble_of(_failed("disk I/O error", "SQLITE_IOERR_SHORT_READ")) is DAMAGED


def test_each_sentence_is_its_own():
    kinds = {trouble for _, trouble in TOLD}
    assert len({each.what for each in kinds}) == len({each.do for each in kinds}) == len(kinds)


def test_a_fault_of_the_program_stays_one(signed_in, monkeypatch):
    def fails(*_, **__):
        raise ZeroDivisionError

    monkeypatch.setattr("planning.views.jobs.jobs.render", fails)
    signed_in.raise_request_exception = False
    assert signed_in.get("/jobs/").status_code == 500


def test_a_refusal_that_no_page_caught_is_told(signed_in, monkeypatch):
    def fails(*_, **__):
        raise WorkshopError("S0001 is not on the shelf.")

    monkeypatch.setattr("planning.views.jobs.jobs.render", fails)
    answer = signed_in.get("/jobs/")
    assert answer.status_code == 422
    assert "S0001 is not on the shelf." in answer.content.decode()


def test_health_tries_a_write_and_keeps_nothing_of_it(client: Client, db):
    from django.contrib.sessions.models import Session

    before = Session.objects.count()
    assert client.get("/health/").content == b"ok\n"
    assert Session.objects.count() == before


def test_health_says_that_the_disk_is_full(client: Client, db, monkeypatch):
    def full(*_, **__):
        raise OperationalError("database or disk is full")

    monkeypatch.setattr("workshop.views.health.try_a_write", full)
    answer = client.get("/health/")
    assert answer.status_code == 503
    assert b"The disk is full" in answer.content


@pytest.mark.skipif(connection.vendor != "sqlite", reason="a writer that holds SQLite's one place")
def test_a_locked_database_is_told_in_words(tmp_path, django_db_setup):
    with own_database(tmp_path) as environment:
        holder = sqlite3.connect(tmp_path / "enough-thread.sqlite3", isolation_level=None)
        holder.execute("PRAGMA journal_mode = WAL")  # as the site has it from its first connection on
        holder.execute("BEGIN IMMEDIATE")
        began = time.monotonic()
        said = run_in(
            environment, "-c",
            "import django, os; os.environ['DJANGO_SETTINGS_MODULE'] = 'workshop.settings'; django.setup()\n"
            "from django.db import connection; connection.ensure_connection()\n"
            "connection.connection.execute('PRAGMA busy_timeout = 200')\n"
            "from django.test import Client; answer = Client(SERVER_NAME='localhost').get('/health/')\n"
            "print(answer.status_code, answer.content.decode())",
        )  # fmt: skip
        holder.execute("ROLLBACK")
    assert said.startswith("503 The workshop is busy"), (said, time.monotonic() - began)


EMPTIED = """
import os, sqlite3, time
import django
django.setup()
from django.db import connection
from workshop.trouble.kinds import trouble_of
there = str(connection.settings_dict["NAME"])
connection.ensure_connection()
connection.close()
somebody = sqlite3.connect(there)
somebody.execute("SELECT count(*) FROM inventory_entry").fetchone()
os.truncate(there, 0)
began = time.monotonic()
try:
    connection.ensure_connection()
except django.db.Error as problem:
    print(trouble_of(problem).name, time.monotonic() - began < 15)
"""


@pytest.mark.skipif(connection.vendor != "sqlite", reason="the file of a SQLite database")
def test_a_file_that_was_emptied_while_others_have_it_open_is_told_without_a_long_wait(
    tmp_path, django_db_setup
):
    with own_database(tmp_path) as environment:
        settings = {"DJANGO_SETTINGS_MODULE": "workshop.settings"}
        assert run_in({**environment, **settings}, "-c", EMPTIED).split() == ["empty", "True"]
