"""Migrations are history: what has landed never changes."""

import shutil
from pathlib import Path

import pytest

from fixtures.landed_migrations import APPS, HOUSE, migration_problems, migrations_noted, migrations_there


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    for app in APPS:
        shutil.copytree(HOUSE / app / "migrations", tmp_path / app / "migrations")
    return tmp_path


def test_every_migration_is_as_it_landed():
    assert migration_problems(migrations_there(), migrations_noted()) == []


def test_a_touched_migration_is_found(copy):
    touched = copy / "planning" / "migrations" / "0004_the_run.py"
    touched.write_text(touched.read_text().replace("begun_at", "started_at"))
    (problem,) = migration_problems(migrations_there(copy), migrations_noted())
    assert problem.startswith("planning/migrations/0004_the_run.py was changed after it had landed.")


def test_a_renumbered_migration_is_found_twice(copy):
    folder = copy / "inventory" / "migrations"
    (folder / "0005_needle_and_speed.py").rename(folder / "0099_needle_and_speed.py")
    gone, new = migration_problems(migrations_there(copy), migrations_noted())
    assert gone == "inventory/migrations/0005_needle_and_speed.py has landed and is gone. Put it back."
    assert new.startswith("inventory/migrations/0099_needle_and_speed.py is new.")
