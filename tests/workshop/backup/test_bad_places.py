"""A workshop whose place goes bad while it runs: every page tells what to do, and a restore puts it right."""

import json
import subprocess
from pathlib import Path
from typing import Any

import pytest
from django.db import connection

from tests.own_database import own_database, run_in
from tests.workshop.backup.small_disk import small_disk
from workshop.trouble.kinds import DAMAGED, EMPTY, READ_ONLY, Trouble

pytestmark = [pytest.mark.exhaustive, pytest.mark.database, pytest.mark.usefixtures("django_db_setup")]
on_sqlite = pytest.mark.skipif(connection.vendor != "sqlite", reason="the file of a SQLite database")


def told(how: str, folder: Path, saved: Path) -> dict[str, Any]:
    with own_database(folder) as environment:
        settings = {"DJANGO_SETTINGS_MODULE": "workshop.settings"}
        words = ("-m", "tests.workshop.backup.bad_places", how, str(saved))
        answer: dict[str, Any] = json.loads(run_in({**environment, **settings}, *words).splitlines()[-1])
    return answer


def the_same(answers: list[list[Any]]) -> list[list[Any]]:
    """Leave out what an act answers, which is done only once."""
    return [each[:2] for each in answers if each[0].startswith("get")]


@on_sqlite
@pytest.mark.parametrize(("how", "trouble"), [("truncated", DAMAGED), ("emptied", EMPTY)])
def test_a_database_file_that_goes_bad_is_told_by_every_page_and_restored(
    how: str, trouble: Trouble, tmp_path: Path
) -> None:
    said = told(how, tmp_path, tmp_path.with_suffix(".zip"))
    # Whoever had it open may have some of it in memory still, until it first misses something.
    aware = False
    for (asked, status, text), before in zip(said["at first"], said["well"], strict=True):
        aware |= status == trouble.status
        if aware:
            assert status == trouble.status, (asked, status, text)
            assert trouble.title in text or DAMAGED.title in text, (asked, text)
        else:
            assert [asked, status] == before[:2], text
            assert asked.startswith("get"), "an act was done on what is in memory alone"
    for asked, status, text in said["badly"]:
        assert status == trouble.status, (asked, status, text)
        assert trouble.title in text, asked
    assert the_same(said["again"]) == the_same(said["well"])


@on_sqlite
def test_where_nothing_may_be_written_pages_are_shown_and_acts_refused_in_words(tmp_path: Path) -> None:
    with small_disk(tmp_path / "small", size="60m") as disk:
        said = told("read-only", disk, tmp_path / "saved.zip")
        subprocess.run(["mount", "-o", "remount,rw", str(disk)], check=True)
    told_of = said["at first"] + said["badly"]
    for asked, status, text in told_of:
        assert status < 500 or READ_ONLY.title in text, (asked, status, text)
    acts = [each for each in told_of if each[0].startswith("post") and "backups" not in each[0]]
    assert all(status >= 400 for _, status, _ in acts), acts


def test_kept_files_without_a_byte_break_no_page_and_come_back(tmp_path: Path) -> None:
    said = told("hollow", tmp_path, tmp_path.with_suffix(".zip"))
    assert [each for each in said["at first"] + said["badly"] if each[1] >= 500] == []
    assert the_same(said["again"]) == the_same(said["well"])
