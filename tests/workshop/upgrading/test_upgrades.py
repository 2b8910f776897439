"""Databases that earlier commits made: each is updated, loses nothing, and goes through a whole job.

What each holds is said in ``fixtures/upgrades/README.md``. PostgreSQL's were made on PostgreSQL by the same code.
"""

import json
import lzma
import sqlite3
from pathlib import Path

import pytest
from django.db import connection
from django.db.migrations.loader import MigrationLoader

from inventory.schema.tables import _clauses, _plain
from tests.own_database import HOUSE, own_database, own_file, run_in

KEPT = HOUSE / "fixtures" / "upgrades"
COMMITS = sorted({path.name.partition(".")[0] for path in KEPT.glob("*.sql.xz")})
OURS = {"inventory", "planning", "workshop"}
# Tables that an update itself writes in.
NOT_COUNTED = {"auth.Permission", "contenttypes.ContentType", "sessions.Session"}
WITHOUT_RUNS = {"e9b2467", "4481769", "0048641", "e9aa84b", "017aeda"}
# Of these the demo itself has six jobs, in all states, and a stocktake under way.
WITH_JOBS_IN_THE_DEMO = {"f929586", "71aee86"}
WITHOUT_ORDERS = {"e9b2467", "4481769", "0048641", "017aeda", "e644348", "47ad4f9"}
# Landed before databases were kept for each of them; the databases of every commit are made by test_history.py.
BEFORE_THE_HABIT = 14
QUICKLY = "c85c594"  # has all kinds of work in it, and needs mending; the others take a minute of processor


def test_at_least_six_earlier_commits_are_kept_for_both_engines():
    assert len(COMMITS) >= 6
    for commit in COMMITS:
        assert {path.name for path in KEPT.glob(f"{commit}.*")} == {
            f"{commit}.sqlite.sql.xz",
            f"{commit}.postgresql.sql.xz",
        }


@pytest.mark.thorough
def test_each_later_migration_has_a_database_made_just_before_it():
    done = [recorded(commit) for commit in COMMITS]
    migrations = MigrationLoader(None).disk_migrations
    for (app, name), migration in migrations.items():
        if app in OURS and int(name[:4]) > BEFORE_THE_HABIT:
            needs = {each for each in migration.dependencies if each[0] in OURS}
            assert any((app, name) not in each and needs <= each for each in done), (
                f"No database is kept from just before {app} {name}: python -m fixtures.upgrades.make COMMIT"
            )


@pytest.mark.parametrize(
    "commit",
    [commit if commit == QUICKLY else pytest.param(commit, marks=pytest.mark.thorough) for commit in COMMITS],
)
def test_an_earlier_database_is_updated_and_goes_through_a_whole_job(commit, tmp_path, django_db_setup):
    rows_before = rows_in_dump(commit)
    (tmp_path / "earlier").mkdir()
    with own_database(tmp_path / "earlier", filled_from=commit, migrated=False) as environment:
        found = json.loads(run_in(environment, "-m", "tests.workshop.upgrading.whole_job"))
        if connection.vendor == "sqlite":  # reads its own account of its tables
            own_file(tmp_path / "new")
            assert shape(tmp_path / "earlier") == shape(tmp_path / "new")
    for label, before in rows_before.items():
        if label not in NOT_COUNTED:
            assert found["rows"][label] == before, f"{label}: {before} before, {found['rows'][label]} after"
    of_demo = commit in WITH_JOBS_IN_THE_DEMO
    assert sum(found["jobs"].values()) == (10 if of_demo else 4)
    if commit not in WITHOUT_RUNS:
        wanted = 2 if of_demo else 1
        assert found["jobs"]["running"] == found["jobs"]["promised"] == found["jobs"]["finished"] == wanted
    if commit not in WITHOUT_ORDERS:
        assert found["half received"] == 1
    assert found["stocktakes"] == (2 if of_demo else 1)


UNMENDED = """
import django; django.setup()
from django.core.management import call_command
from django.db import connection
from workshop.doctor.database import database_findings
with connection.cursor() as cursor:
    cursor.execute("DELETE FROM django_migrations WHERE name LIKE '%%_every_earlier_%%'", [])
    cursor.execute("ALTER TABLE planning_promise DROP COLUMN waiting_min")
before = [str(each) for each in database_findings()]
call_command("migrate", verbosity=0, skip_checks=True)
after = [str(each) for each in database_findings()]
import json; print(json.dumps([before, after]))
"""


@pytest.mark.thorough
def test_a_database_that_went_past_the_mending_without_it_is_mended(tmp_path, django_db_setup):
    with own_database(tmp_path) as environment:
        settings = {"DJANGO_SETTINGS_MODULE": "workshop.settings"}
        before, after = json.loads(run_in({**environment, **settings}, "-c", UNMENDED).splitlines()[-1])
    assert before
    assert after == []


def recorded(commit: str) -> set[tuple[str, str]]:
    """Return the migrations that a kept database says are done."""
    return set(_laid_out(commit).execute("SELECT app, name FROM django_migrations"))


def _laid_out(commit: str) -> sqlite3.Connection:
    database = sqlite3.connect(":memory:")
    database.executescript(lzma.decompress((KEPT / f"{commit}.sqlite.sql.xz").read_bytes()).decode())
    return database


def rows_in_dump(commit: str) -> dict[str, int]:
    """Return how many rows each model's table had before, counted in the SQLite dump."""
    from django.apps import apps

    database = _laid_out(commit)
    there = {name for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    return {
        model._meta.label: database.execute(f'SELECT count(*) FROM "{model._meta.db_table}"').fetchone()[0]
        for model in apps.get_models()
        if model._meta.db_table in there
    }


def shape(folder: Path) -> dict[str, frozenset[str]]:
    database = sqlite3.connect(folder / "enough-thread.sqlite3")
    rows = database.execute("SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL")
    return {
        f"{kind} {name}": frozenset(_clauses(sql)) if kind == "table" else frozenset([_plain(sql)])
        for kind, name, sql in rows
    }
