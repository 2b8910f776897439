"""How a library of 2,000 stitch files comes in: with two processes against one, killed half-way, and once more.

All is taken in one run on the same files; each assertion is a ratio of processor time, so that a slow or a busy
computer passes too. That two processes read at the same time is for the tests of the readers to show.
"""

import json
import os
import random
import signal
import subprocess
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import pyembroidery
import pytest
from django.utils import timezone

from planning.library.importing import KEPT_AT_ONCE, import_folder
from planning.models import Design, ImportRun
from tests.benchmarks.processor import processor_s
from tests.own_database import own_file

pytestmark = [pytest.mark.benchmark, pytest.mark.django_db]

ROOT = Path(__file__).resolve().parents[2]
FILES = 2_000
BLOCKS, STITCHES = 4, 500  # a block; 2,000 in all, as a small mark on a pocket has
MOST_MORE_WORK, LEAST_SKIPPING = 1.25, 20.0
FORMATS = ("dst", "exp", "vp3", "xxx")


def write_design(place: tuple[Path, int]) -> None:
    """Write a design of a few satin columns that no other number has."""
    path, number = place
    chance = random.Random(number)
    pattern = pyembroidery.EmbPattern()
    for block in range(BLOCKS):
        if block:
            pattern.color_change()
        pattern.add_thread({"hex": f"#{chance.randrange(1 << 24):06x}", "name": f"colour {block + 1}"})
        width, left, top = chance.randrange(20, 60), chance.randrange(500), chance.randrange(500)
        for step in range(STITCHES):
            row, along = divmod(step, 150)
            pattern.stitch_abs(left + 3 * along, top + 70 * row + (width if step % 2 else 0))
        pattern.trim()
    pattern.end()
    pyembroidery.write(pattern, str(path))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("designs")
    places = [(made / f"{number:04}.{FORMATS[number % len(FORMATS)]}", number) for number in range(FILES)]
    with ProcessPoolExecutor() as pool:
        list(pool.map(write_design, places, chunksize=50))
    return made


def bring_in(folder: Path, *, processes: int) -> tuple[ImportRun, float, float]:
    """Return the run, its seconds of processor, and those of the clock."""
    runs: list[ImportRun] = []
    began = time.perf_counter()
    spent_s = processor_s(
        lambda: runs.append(import_folder(folder, trim_at_jumps=3, clock=timezone.now, processes=processes))
    )
    return runs[0], spent_s, time.perf_counter() - began


def killed_half_way(folder: Path, home: Path) -> tuple[int, dict[str, Any], dict[str, Any]]:
    """Return how many designs were stored at the kill, and what the second and the third run told."""
    environment = own_file(home)
    manage = [sys.executable, str(ROOT / "manage.py")]
    command = [*manage, "import_designs", str(folder), "--format", "json"]
    child = subprocess.Popen(
        command, env=environment, cwd=ROOT, stdout=subprocess.DEVNULL, start_new_session=True
    )
    try:
        deadline = time.monotonic() + 600
        while time.monotonic() < deadline and len(list(home.glob("files/designs/*/*"))) < FILES // 2:
            time.sleep(0.2)
    finally:
        os.killpg(child.pid, signal.SIGKILL)
        child.wait()
    stored = len(list(home.glob("files/designs/*/*")))
    second, third = (
        json.loads(subprocess.run(command, env=environment, cwd=ROOT, capture_output=True, check=True).stdout)
        for _ in range(2)
    )
    return stored, second, third


def test_2_000_files_with_two_processes_killed_half_way_and_skipped(folder, settings, tmp_path, capsys):
    settings.MEDIA_ROOT = tmp_path / "one"
    run, one_s, one_waited_s = bring_in(folder, processes=1)
    assert (run.kept, run.refused) == (FILES, 0)
    ImportRun.objects.all().delete()
    Design.objects.all().delete()

    settings.MEDIA_ROOT = tmp_path / "two"
    run, two_s, two_waited_s = bring_in(folder, processes=2)
    assert (run.kept, run.refused) == (FILES, 0)
    assert Design.objects.count() == FILES

    run, skip_s, _ = bring_in(folder, processes=2)
    assert (run.kept, run.known) == (0, FILES)

    stored, second, third = killed_half_way(folder, tmp_path / "home")
    with capsys.disabled():
        print(
            f"\n{FILES:,} files of {BLOCKS * STITCHES:,} stitches: one process {one_s:.1f} s of processor, two "
            f"{two_s:.1f} s (over {one_waited_s / two_waited_s:.2f} times as soon); skipped again {skip_s:.2f} s "
            f"({two_s / skip_s:.0f} times); killed with {stored:,} stored, then {second['known']:,} known and "
            f"{second['kept']:,} kept, then {third['known']:,} known; load {os.getloadavg()[0]:.1f}"
        )
    assert FILES // 2 <= stored < FILES, "it was killed too early or too late to tell anything"
    assert second["known"] + second["kept"] == FILES
    assert stored - KEPT_AT_ONCE <= second["known"] <= stored
    assert (third["kept"], third["known"]) == (0, FILES)
    assert two_s <= MOST_MORE_WORK * one_s
    assert two_s / skip_s >= LEAST_SKIPPING
