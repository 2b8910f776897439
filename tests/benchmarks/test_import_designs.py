"""How fast a library of 2,000 stitch files comes in: on two cores against one, and skipping against reading.

All rates are taken in one run on the same files; each assertion is a ratio, so that a slow computer passes too.
Reading is always done beside the keeping, so one process alone is one that has a single core for all of it.
"""

import os
import random
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import pyembroidery
import pytest
from django.utils import timezone

from planning.importing import import_folder
from planning.models import Design, ImportRun

pytestmark = [pytest.mark.benchmark, pytest.mark.django_db]

FILES = 2_000
BLOCKS, STITCHES = 4, 500  # a block; 2,000 in all, as a small mark on a pocket has
LEAST_GAIN, LEAST_SKIPPING = 1.6, 20.0
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


def bring_in(folder: Path, *, processes: int) -> tuple[ImportRun, float]:
    began = time.perf_counter()
    run = import_folder(folder, trim_at_jumps=3, clock=timezone.now, processes=processes)
    return run, time.perf_counter() - began


@contextmanager
def one_core() -> Iterator[None]:
    """Keep this process, and those that it starts, on one core."""
    allowed = os.sched_getaffinity(0)
    os.sched_setaffinity(0, {min(allowed)})
    try:
        yield
    finally:
        os.sched_setaffinity(0, allowed)


@pytest.mark.skipif(
    not hasattr(os, "sched_getaffinity") or len(os.sched_getaffinity(0)) < 2,
    reason="needs two cores to give out",
)
def test_two_cores_import_faster_than_one_and_what_is_known_is_skipped(folder, settings, tmp_path, capsys):
    settings.MEDIA_ROOT = tmp_path / "one"
    with one_core():
        run, one_s = bring_in(folder, processes=1)
    assert (run.kept, run.refused) == (FILES, 0)
    ImportRun.objects.all().delete()
    Design.objects.all().delete()

    settings.MEDIA_ROOT = tmp_path / "two"
    run, two_s = bring_in(folder, processes=2)
    assert (run.kept, run.refused) == (FILES, 0)
    assert Design.objects.count() == FILES

    run, skip_s = bring_in(folder, processes=2)
    assert (run.kept, run.known) == (0, FILES)
    with capsys.disabled():
        print(
            f"\n{FILES} files of {BLOCKS * STITCHES:,} stitches: one core {FILES / one_s:.0f} files/s, two "
            f"{FILES / two_s:.0f} files/s ({one_s / two_s:.2f} times); skipped again {FILES / skip_s:,.0f} files/s "
            f"({two_s / skip_s:.0f} times)"
        )
    assert one_s / two_s >= LEAST_GAIN
    assert two_s / skip_s >= LEAST_SKIPPING
