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
from tests.own_database import own_file, run_in

pytestmark = [pytest.mark.benchmark, pytest.mark.django_db]

ROOT = Path(__file__).resolve().parents[2]
FILES = 2_000
BLOCKS, STITCHES = 4, 500  # a block; 2,000 in all, as a small mark on a pocket has
MOST_MORE_WORK, LEAST_SKIPPING = 1.25, 20.0
FORMATS = ("dst", "exp", "vp3", "xxx")
# A workshop's whole collection: what is in the library already is passed over at so many files a second of processor.
MANY_FILES, LEAST_PASSED_OVER_A_SECOND = 50_000, 5_000


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


@pytest.mark.exhaustive
def test_50_000_files_are_passed_over_in_seconds_and_gone_on_with_where_a_run_was_killed(tmp_path, capsys):
    """The library knows half of them as a run that was killed has left it, then all."""
    folder, home = tmp_path / "collection", tmp_path / "home"
    environment = own_file(home)
    write_collection(folder)
    command = ("-m", "tests.benchmarks.collection_load", str(folder))
    told = json.loads(run_in(environment, *command, timeout_s=3_600))
    with capsys.disabled():
        print(
            f"\n{MANY_FILES:,} files: with half of them known {told['resume_s']:.1f} s of processor until the first "
            f"new one is read ({told['resume_known']:,} known), with all known {told['skip_s']:.1f} s "
            f"({told['skip_known']:,} known), moved elsewhere and known by content {told['moved_s']:.1f} s; "
            f"{told['peak_mb']:.0f} MB at most; load {os.getloadavg()[0]:.1f}"
        )
    assert (told["resume_known"], told["skip_known"]) == (MANY_FILES // 2, MANY_FILES)
    assert told["moved_known"] == MANY_FILES
    assert MANY_FILES / told["skip_s"] >= LEAST_PASSED_OVER_A_SECOND
    assert MANY_FILES / told["resume_s"] >= LEAST_PASSED_OVER_A_SECOND


def write_collection(folder: Path) -> None:
    """Write ``MANY_FILES`` tiny files, a thousand to a folder."""
    for number in range(MANY_FILES):
        path = folder / f"{number // 1000:02}" / f"{number:05}.dst"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"%06d" % number)


ASKED = """
import sys
from pathlib import Path
import django
django.setup()
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone
from inventory.work.asking import ask_for
from planning.library.importing import receive_files
from planning.tasks import carry_out_import
files = sorted(Path(sys.argv[1]).iterdir())[: int(sys.argv[2])]
run = receive_files([SimpleUploadedFile(each.name, each.read_bytes()) for each in files], at=timezone.now())
ask_for(carry_out_import, (run.pk,), key=f"import {run.pk}", what="Import", at=timezone.now())
"""
# From a process as small as this: what a child took is never told as less than its parent had when it began it.
WORKED = """
import json, os, subprocess, sys
worker = subprocess.Popen([sys.executable, "manage.py", "work", "--until-empty"])
_, status, used = os.wait4(worker.pid, 0)  # the worker, or whichever of its readers took most
print(json.dumps([os.waitstatus_to_exitcode(status), used.ru_maxrss * 1024 / 1e6]))
"""


def test_what_a_worker_takes_of_memory_does_not_grow_with_the_files(folder, tmp_path, capsys):
    most_mb = {}
    for files in (FILES // 10, FILES):
        environment = {**own_file(tmp_path / f"{files}"), "ENOUGH_THREAD_WORKER": "yes"}
        environment["DJANGO_SETTINGS_MODULE"] = "workshop.settings"
        run_in(environment, "-c", ASKED, str(folder), str(files), timeout_s=600)
        status, most_mb[files] = json.loads(run_in(environment, "-c", WORKED, timeout_s=600))
        count = "from planning.models import Design; print(Design.objects.count())"
        told = run_in(environment, "-c", f"import django; django.setup(); {count}")
        assert (status, int(told)) == (0, files)
    few, many = most_mb.values()
    with capsys.disabled():
        print(
            f"\na worker takes {few:.0f} MB at most for {FILES // 10:,} files and {many:.0f} MB for {FILES:,}"
        )
    assert many <= 1.1 * few
