"""Every shape that the tables ever had in the history of the project: a database made then is brought to now.

Each distinct state of the migration folders is made by a commit's own code with a few rows in every table, and
updated by today's. Needs the repository's history, as the databases in ``fixtures/upgrades`` do not.
"""

import json
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.own_database import DATABASE_FILE, HOUSE, own_database, run_in

FOLDERS = ("inventory/migrations", "planning/migrations", "workshop/migrations")
# Filled by whoever updates.
NOT_COUNTED = {"auth_permission", "django_content_type", "django_migrations", "django_session"}
FILLS = HOUSE / "fixtures" / "upgrades" / "few_rows.py"
UPDATE = """
import json, django; django.setup()
from django.core.management import call_command
from django.db import connection
from workshop.doctor.database import database_findings
call_command("migrate", verbosity=0, interactive=False, skip_checks=True)
rows = {}
with connection.cursor() as cursor:
    for table in connection.introspection.table_names(cursor):
        cursor.execute(f'SELECT count(*) FROM "{table}"')
        rows[table] = cursor.fetchone()[0]
print(json.dumps({"rows": rows, "findings": [str(each) for each in database_findings()]}))
"""

pytestmark = [
    pytest.mark.exhaustive,
    pytest.mark.database,
    pytest.mark.usefixtures("django_db_setup"),
]


def _git(*words: str, asked: str = "") -> str:
    done = subprocess.run(
        ["git", "-C", str(HOUSE), *words], check=False, capture_output=True, text=True, input=asked
    )
    return done.stdout if done.returncode == 0 else ""


def states() -> list[str]:
    """Return the last commit of each state in which the migration folders ever were, merged lines included.

    The last, for the first of some states could not be started.
    """
    commits = _git("log", "--format=%h").split()
    asked = "".join(f"{commit}:{folder}\n" for commit in commits for folder in FOLDERS)
    answers = _git("cat-file", "--batch-check=%(objectname)", asked=asked).splitlines()
    last: dict[tuple[str, ...], str] = {}
    for number, commit in enumerate(commits):
        here = answers[len(FOLDERS) * number :][: len(FOLDERS)]
        last.setdefault(tuple("" if "missing" in each else each for each in here), commit)
    return list(last.values())[::-1]


@pytest.fixture
def tree(commit: str, tmp_path: Path) -> Iterator[Path]:
    place = tmp_path / "tree"
    _git("worktree", "add", "--force", "--detach", str(place), commit)
    yield place
    _git("worktree", "remove", "--force", str(place))


@pytest.mark.parametrize("commit", states())
def test_a_database_of_any_state_of_the_migrations_is_brought_to_now(
    commit: str, tree: Path, tmp_path: Path
) -> None:
    (tmp_path / "own").mkdir()
    with own_database(tmp_path / "own", empty=True) as environment:
        settings = {"DJANGO_SETTINGS_MODULE": "workshop.settings"}
        before = json.loads(run_in(environment, str(FILLS), at=tree).splitlines()[-1])
        if "cannot" in before:
            assert "Conflicting migrations" in before["cannot"] or "cannot import" in before["cannot"]
            pytest.skip(f"nobody could make a database with {commit}: {before['cannot'][:60]}")
        for file in (tmp_path / "own").glob(f"{DATABASE_FILE}*"):
            file.chmod(0o600)  # which earlier commits left to others, and the doctor would tell of
        after = json.loads(run_in({**environment, **settings}, "-c", UPDATE).splitlines()[-1])
    filled = {table: rows for table, rows in before["rows"].items() if rows and table not in NOT_COUNTED}
    print(commit, f"{len(filled)} tables, {sum(filled.values())} rows; took none: {sorted(before['empty'])}")
    assert len(filled) > 5
    assert {table: after["rows"].get(table) for table in filled} == filled
    assert after["findings"] == []
