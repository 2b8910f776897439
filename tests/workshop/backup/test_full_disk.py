"""A full disk: every act is refused in words, nothing is lost, and it works again once there is room."""

import json
import os
import subprocess
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
from django.db import connection

from tests.own_database import own_database, run_in

pytestmark = [
    pytest.mark.thorough,
    pytest.mark.skipif(connection.vendor != "sqlite", reason="PostgreSQL's disk is not ours to fill"),
]
SIZE = "24m"


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of a few megabytes: in memory where that may be mounted, else in a file that is mounted as one."""
    place = tmp_path / "small"
    place.mkdir()
    if os.geteuid() != 0:
        pytest.skip("mounting a small disk needs the rights of root")
    if subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={SIZE}", "tmpfs", place]).returncode:
        image = tmp_path / "disk"
        subprocess.run(["truncate", "-s", SIZE, image], check=True)
        subprocess.run(["mkfs.ext4", "-q", "-m", "0", image], check=True)
        subprocess.run(["mount", "-o", "loop", image, place], check=True)
    yield place
    subprocess.run(["umount", "-l", place], check=True)


def told(environment: Mapping[str, str]) -> dict[str, Any]:
    answer: dict[str, Any] = json.loads(
        run_in(environment, "-m", "tests.workshop.backup.without_room", timeout_s=600).splitlines()[-1]
    )
    return answer


def test_every_act_on_a_full_disk_is_told_in_words_and_nothing_is_lost(
    small_disk: Path, django_db_setup: None
) -> None:
    with own_database(small_disk) as environment:
        said = told(environment)
    assert said["faults"] == []
    assert said["changed while full"] == []
    assert said["not in words"] == []
    assert said["still refused with room"] == []
    assert said["to mend"] == []
    # What fits into the pages that the database has already may be done; much more would mean that there was room.
    assert len(said["done although full"]) <= 3, said["done although full"]
    for must in ("upload designs", "upload a list", "backup", "restore"):
        assert must in said["refused"], said
