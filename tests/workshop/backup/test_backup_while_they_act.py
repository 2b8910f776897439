"""A backup made while others act is the workshop at one moment: it restores, and all that hangs together is sound."""

import json
import re
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from tests.own_database import HOUSE, own_database, run_in

HANDS = "tests.inventory.ledger.hands"
KEY = re.compile(r"hand-([0-9]+)-([0-9]+)$")


@pytest.mark.database
@pytest.mark.usefixtures("django_db_setup")
@pytest.mark.parametrize(
    ("writers", "acts", "backups"),
    [
        pytest.param(8, 60, 2, marks=pytest.mark.thorough),
        pytest.param(8, 400, 8, marks=pytest.mark.exhaustive),
    ],
)
def test_backups_made_while_eight_write_restore_to_one_moment(
    writers: int, acts: int, backups: int, tmp_path: Path
) -> None:
    for name in ("running", "restored"):
        (tmp_path / name).mkdir()
    with own_database(tmp_path / "running") as running, own_database(tmp_path / "restored") as restored:
        run_in(running, "-m", HANDS, "prepare", "60")
        paths = [tmp_path / f"{number}.zip" for number in range(backups)]
        told = work_while(running, paths, writers=writers, acts=acts)
        counts = []
        for path in paths:
            run_in(restored, "manage.py", "restore", str(path), "--yes")
            run_in(restored, "manage.py", "doctor")
            books = json.loads(run_in(restored, "-m", HANDS, "books"))
            assert books["problems"] == []
            assert_one_moment(books["entries"], told)
            counts.append(len(books["entries"]))
    assert not [each for each in told if each["outcome"] == "failed"]
    done = [each for each in told if each["outcome"] == "done"]
    assert any(count < len(done) for count in counts), "every backup came when all was done"


def work_while(
    environment: Mapping[str, str], paths: list[Path], *, writers: int, acts: int
) -> list[dict[str, Any]]:
    """Return what all writers tell of all their acts; the backups are made while they act."""
    hands = [
        subprocess.Popen(
            [sys.executable, "-m", HANDS, "work", str(number), str(acts)],
            env=environment,
            cwd=HOUSE,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        for number in range(writers)
    ]
    told: list[dict[str, Any]] = []
    try:
        for hand in hands:
            assert hand.stdout is not None
            assert hand.stdout.readline() == "ready\n"
        backing = subprocess.Popen(
            [sys.executable, "-m", "tests.workshop.backup.backing", *map(str, paths)],
            env=environment,
            cwd=HOUSE,
            stdout=subprocess.PIPE,
            text=True,
        )
        assert backing.stdout is not None
        assert backing.stdout.readline() == "ready\n"
        for hand in hands:
            assert hand.stdin is not None
            hand.stdin.write("go\n")
            hand.stdin.flush()
        for hand in hands:
            said, _ = hand.communicate(timeout=900)
            assert hand.returncode == 0
            told += json.loads(said)
        assert backing.wait(timeout=300) == 0
    finally:
        for hand in hands:
            hand.kill()
    return told


def assert_one_moment(entries: Mapping[str, Any], told: list[dict[str, Any]]) -> None:
    """Each did one act after the other: of every one's acts the first so many are there, and none after those."""
    done: dict[str, list[tuple[int, str]]] = {}
    for each in told:
        whose = KEY.match(each["key"])
        if each["outcome"] == "done" and whose:
            done.setdefault(whose[1], []).append((int(whose[2]), each["key"]))
    assert done
    for acts in done.values():
        there = [key in entries for _, key in sorted(acts)]
        assert there == sorted(there, reverse=True)
    by_key = {each["key"]: each["entries"] for each in told if each["outcome"] == "done"}
    for key, lines in entries.items():
        if key in by_key:
            assert lines == by_key[key], "an act is there in part"
