"""A full disk: every act is refused in words, nothing is lost, and it works again once there is room."""

import json
import os
import shutil
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from django.db import connection

from tests.own_database import own_database, run_in
from tests.workshop.backup.small_disk import Server, small_disk

pytestmark = [pytest.mark.thorough, pytest.mark.database, pytest.mark.usefixtures("django_db_setup")]
on_sqlite = pytest.mark.skipif(connection.vendor != "sqlite", reason="the file of a SQLite database")
on_a_server = pytest.mark.skipif(connection.vendor != "postgresql", reason="a PostgreSQL server")
SETTINGS = {"DJANGO_SETTINGS_MODULE": "workshop.settings"}


def told(environment: Mapping[str, str], disk: Path) -> dict[str, Any]:
    answer: dict[str, Any] = json.loads(
        run_in(
            environment, "-m", "tests.workshop.backup.without_room", str(disk), timeout_s=1_200
        ).splitlines()[-1]
    )
    return answer


def look_at(said: Mapping[str, Any]) -> None:
    assert said["faults"] == []
    assert said["changed while full"] == []
    assert said["not in words"] == []
    assert said["still refused with room"] == []
    assert said["to mend"] == []
    for must in ("upload designs", "upload a list", "backup", "restore"):
        assert must in said["refused"], said


@on_sqlite
def test_every_act_on_a_full_disk_is_told_in_words_and_nothing_is_lost(tmp_path: Path) -> None:
    with small_disk(tmp_path / "small", size="24m") as disk, own_database(disk) as environment:
        said = told(environment, disk)
    look_at(said)
    # What fits into the pages that the database has already may be done; much more would mean that there was room.
    assert len(said["done although full"]) <= 3, said["done although full"]


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """Give a folder where the server's own person may go, which the tests' folders are not."""
    with TemporaryDirectory(dir="/dev/shm" if Path("/dev/shm").is_dir() else None) as folder:
        Path(folder).chmod(0o755)
        yield Path(folder)


@on_a_server
def test_every_act_beside_a_server_whose_tables_have_no_room(open_folder: Path) -> None:
    """The tables and the workshop's files lie on the full disk, the server's log elsewhere."""
    elsewhere = Server(open_folder / "elsewhere")
    with small_disk(open_folder / "small", size="120m") as disk, started(elsewhere):
        tables = disk / "tables"
        tables.mkdir()
        shutil.chown(tables, "postgres")
        elsewhere.carry_out(
            f"CREATE TABLESPACE small LOCATION '{tables}'", "CREATE DATABASE own TABLESPACE small"
        )
        environment = {
            **os.environ,
            "DATABASE_URL": f"{elsewhere.address}/own",
            "ENOUGH_THREAD_DATA": str(disk),
        }
        run_in(environment, "manage.py", "migrate", "--skip-checks", "--verbosity", "0")
        said = told({**environment, **SETTINGS}, disk)
    print(said)
    look_at(said)


UNTIL_IT_ENDS = """
import json, sys, django; django.setup()
from pathlib import Path
from django.db import DatabaseError
from inventory import ledger
from inventory.models import Spool
from tests.planning.acting.scene import NOW
from tests.workshop.backup.without_room import fill
from tests.workshop.storms.acts import open_the_workshop
from workshop.trouble.kinds import trouble_of
open_the_workshop()
filler, spool, done, told = fill(Path(sys.argv[1])), Spool.objects.earliest("pk"), 0, ""
while done < 20_000 and not told:
    try:
        ledger.use(spool, quantity=1, key=f"act-{done}", at=NOW, by=None)
        done += 1
    except DatabaseError as problem:
        trouble = trouble_of(problem)
        told = trouble.name if trouble else repr(problem)
filler.unlink()
print(json.dumps({"done": done, "told": told}))
"""
AFTERWARDS = """
import json, django; django.setup()
from inventory import ledger
from inventory.models import Entry, Spool
from tests.planning.acting.scene import NOW
from tests.workshop.storms.acts_storm import examined
there = Entry.objects.filter(key__startswith="act-").count()
ledger.use(Spool.objects.earliest("pk"), quantity=1, key="afterwards", at=NOW, by=None)
print(json.dumps({"there": there, "to mend": examined()}))
"""


@on_a_server
def test_a_server_that_ends_because_its_log_has_no_room_loses_nothing(open_folder: Path) -> None:
    """Everything of the server lies on the full disk: it gives up in the middle of an act, and is started again."""
    with small_disk(open_folder / "small", size="160m") as disk:
        disk.chmod(0o755)
        server = Server(disk / "server")
        environment = {**os.environ, **SETTINGS, "ENOUGH_THREAD_DATA": str(disk / "data")}
        environment["DATABASE_URL"] = f"{server.address}/own"
        with started(server):
            server.carry_out("CREATE DATABASE own")
            run_in(environment, "manage.py", "migrate", "--skip-checks", "--verbosity", "0")
            said = json.loads(run_in(environment, "-c", UNTIL_IT_ENDS, str(disk)).splitlines()[-1])
        with started(server):
            after = json.loads(run_in(environment, "-c", AFTERWARDS).splitlines()[-1])
    print(said, after)
    assert said["told"] in ("full", "away"), said
    # The last may have been kept although nobody was told any more.
    assert after["there"] - said["done"] in (0, 1)
    assert after["to mend"] == []


@contextmanager
def started(server: Server) -> Iterator[None]:
    server.start()
    try:
        yield
    finally:
        server.stop()
