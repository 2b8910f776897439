"""Thousands of spoiled files, and the worst of them: what becomes of each, and how long it takes."""

import time
from collections.abc import Callable
from pathlib import Path

import pytest

from planning.stitch_files.reading import ReadDesign, UnreadableDesign, read_design_file, read_design_files
from tests.planning.outcomes import outcomes, table
from tests.planning.stitch_files.test_bad_files import (
    DST_END,
    DST_HEADER,
    DST_JUMP,
    DST_STITCH,
    hollow_hus,
    hungry_hus,
    swollen_hus,
)
from tests.planning.stitch_files.test_mutated_files import SEED, assert_all_is_well, most_memory_of_a_child

COUNT = 5_000
DEMO = Path(__file__).parents[2] / "fixtures" / "designs"


@pytest.mark.benchmark
def test_5_000_spoiled_files_are_answered_in_words_and_damage_that_matters_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    start = time.monotonic()
    found = list(outcomes(COUNT, seed=SEED, folder=tmp_path))
    taken = time.monotonic() - start
    with capsys.disabled():
        print(f"\n{table(found)}\n{COUNT:,} files in {taken:.0f} s, {COUNT / taken:.0f} a second; ", end="")
        print(f"the largest process took {most_memory_of_a_child() / 2**20:.0f} MiB")
    assert_all_is_well(found, count=COUNT)
    assert most_memory_of_a_child() < 1 << 30


@pytest.mark.benchmark
def test_two_processes_read_a_library_faster_than_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    paths = []
    for number in range(8):
        for path in sorted(DEMO.iterdir()):
            paths.append(tmp_path / f"{number}-{path.name}")
            paths[-1].write_bytes(path.read_bytes())

    def files_a_second(read: Callable[[], list[object]]) -> float:
        start = time.monotonic()
        assert all(isinstance(each, ReadDesign) for each in read())
        return len(paths) / (time.monotonic() - start)

    def with_standing(processes: int) -> float:
        return files_a_second(lambda: [each for _, each in read_design_files(paths, processes=processes)])

    alone = files_a_second(lambda: [read_design_file(path) for path in paths])
    # The best of several: other work on the machine can only take away. It needs two cores that are free.
    rates = [(with_standing(1), with_standing(2)) for _ in range(7)]
    one, two = map(max, zip(*rates, strict=True))
    with capsys.disabled():
        print(
            f"\n{len(paths)} files: {alone:.1f} a second with a process each, {one:.1f} with one standing process, "
            f"{two:.1f} with two ({two / one:.2f} times as many)"
        )
    assert two / one >= 1.6


@pytest.mark.benchmark
@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("huge.dst", lambda: DST_HEADER + (DST_STITCH + DST_JUMP) * 600_000 + DST_END),
        ("bomb.hus", lambda: swollen_hus(5_000_000)),
        ("half-bomb.hus", lambda: swollen_hus(499_999)),
        ("hollow.hus", lambda: hollow_hus(200)),
        ("hungry.hus", hungry_hus),
    ],
)
def test_the_worst_files_are_answered_within_five_seconds(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str, content: Callable[[], bytes]
) -> None:
    path = tmp_path / name
    path.write_bytes(content())
    start = time.monotonic()
    try:
        answer = f"{read_design_file(path).walked.stitches:,} stitches"
    except UnreadableDesign as problem:
        answer = str(problem)
    taken = time.monotonic() - start
    with capsys.disabled():
        print(f"\n{name} ({path.stat().st_size:,} bytes) in {taken:.2f} s: {answer}")
    assert taken < 5
