"""An import that is killed while it lands leaves nothing of it, and lands whole when it is started again."""

import os
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from fixtures.imports import make
from tests.inventory.ledger.act_scripts_import import import_script
from tests.own_database import HOUSE, own_file


@pytest.mark.skipif(os.name == "nt", reason="kill -9 is a thing of POSIX")
@pytest.mark.usefixtures("django_db_setup")
@pytest.mark.parametrize("rows", [300, pytest.param(1_500, marks=pytest.mark.thorough)])
def test_a_killed_import_leaves_nothing_and_lands_when_started_again(tmp_path, rows):
    # A database file of its own, because what is killed must be a process of its own.
    environment = own_file(tmp_path)

    def run(*command: str) -> str:
        manage = [sys.executable, str(HOUSE / "manage.py"), *command]
        return subprocess.run(manage, env=environment, check=True, stdout=subprocess.PIPE, text=True).stdout

    run("import_stock", "shades", str(Path(make.__file__).parent / "good/shades.csv"))
    content, _ = make.ten_thousand_spools(rows=rows)
    (tmp_path / "spools.csv").write_bytes(content)
    script = [sys.executable, "-c", import_script(tmp_path / "spools.csv")]

    # It waits for a word that never comes, so that it cannot land before it is killed.
    waits = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "text": True}
    with subprocess.Popen(script, env=environment, **waits) as importing:
        assert importing.stdout is not None
        for line in importing.stdout:
            done, total = map(int, line.split())
            if done > total // 2:  # some spools are written, and the transaction is open
                importing.kill()
                break
    assert importing.returncode == -9
    assert _rows(tmp_path) == (0, 0)

    goes_on = {"stdin": subprocess.DEVNULL, "stdout": subprocess.PIPE, "text": True}
    again = subprocess.run(script, env=environment, check=True, **goes_on)
    assert again.stdout.splitlines()[-1] == f"landed {rows:,} new, 0 changed, 0 unchanged"
    assert _rows(tmp_path) == (rows, rows)
    assert f"{rows:,} items, {rows:,} entries" in run("check_ledger")


def _rows(folder: Path) -> tuple[int, int]:
    (database,) = folder.glob("*.sqlite3")
    with sqlite3.connect(database) as connection:
        items = connection.execute("SELECT count(*) FROM inventory_stockitem").fetchone()[0]
        entries = connection.execute("SELECT count(*) FROM inventory_entry").fetchone()[0]
    connection.close()
    return items, entries
