"""Thousands of spoiled files, and the worst of them: what becomes of each, and how long it takes."""

import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from planning.stitch_files.reading import ReadDesign, UnreadableDesign, read_design_file, read_design_files
from tests.benchmarks.processor import processor_s, yardsticks
from tests.planning.outcomes import Outcome, outcomes, table
from tests.planning.stitch_files.test_bad_files import (
    DST_END,
    DST_HEADER,
    DST_JUMP,
    DST_STITCH,
    hollow_hus,
    hungry_hus,
    swollen_hus,
)
from tests.planning.stitch_files.test_mutated_files import SEED, assert_all_is_well

COUNT = 5_000
DEMO = Path(__file__).parents[2] / "fixtures" / "designs"


def most_memory_of_a_child() -> int:
    """Return the bytes of the largest process that this one has started and seen end."""
    import resource

    return resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss * (1 if sys.platform == "darwin" else 1024)


@pytest.mark.thorough
def test_5_000_spoiled_files_are_answered_in_words_and_damage_that_matters_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = most_memory_of_a_child()  # the largest of the tests before this one
    found: list[Outcome] = []
    taken = processor_s(lambda: found.extend(outcomes(COUNT, seed=SEED, folder=tmp_path)))
    with capsys.disabled():
        print(f"\n{table(found)}\n{COUNT:,} files in {taken:.0f} s of processor; ", end="")
        print(f"the largest process took {most_memory_of_a_child() / 2**20:.0f} MiB")
    assert_all_is_well(found, count=COUNT)
    assert most_memory_of_a_child() < max(1 << 30, before + 1)


@pytest.mark.benchmark
def test_two_processes_do_no_more_work_than_one(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    paths = []
    for number in range(8):
        for path in sorted(DEMO.iterdir()):
            paths.append(tmp_path / f"{number}-{path.name}")
            paths[-1].write_bytes(path.read_bytes())

    waited_s: dict[int, float] = {}

    def read(processes: int) -> None:
        start = time.monotonic()
        assert all(isinstance(each, ReadDesign) for _, each in read_design_files(paths, processes=processes))
        waited_s[processes] = time.monotonic() - start

    alone_s = processor_s(lambda: [read_design_file(path) for path in paths])
    spent = [(processor_s(lambda: read(1)), processor_s(lambda: read(2))) for _ in range(5)]
    one_s, two_s = map(min, zip(*spent, strict=True))
    with capsys.disabled():
        print(
            f"\n{len(paths)} files, seconds of processor: {alone_s:.1f} with a process each, {one_s:.1f} with one "
            f"standing process, {two_s:.1f} with two; with two it was over {waited_s[1] / waited_s[2]:.2f} times as "
            "soon (twice where two cores have nothing else to do)"
        )
    # That they read at the same time is for the tests of the readers to show; no clock of a busy machine can.
    assert two_s <= 1.25 * one_s
    assert one_s < alone_s / 2


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
def test_the_worst_files_take_no_more_than_so_much_of_the_processor(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str, content: Callable[[], bytes]
) -> None:
    path = tmp_path / name
    path.write_bytes(content())
    answers: list[str] = []

    def read() -> None:
        try:
            answers.append(f"{read_design_file(path).walked.stitches:,} stitches")
        except UnreadableDesign as problem:
            answers.append(str(problem))

    taken = yardsticks(read)
    with capsys.disabled():
        print(f"\n{name} ({path.stat().st_size:,} bytes) in {taken:.0f} yardsticks: {answers[0]}")
    assert taken < 85  # about five seconds
