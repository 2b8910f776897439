"""Many files are read by a few standing processes, each file as if it were alone."""

import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from inventory.processes.children import StandingReaders
from planning.library.digests import DesignDigest, digest_design_files, digest_of
from planning.stitch_files import reading
from planning.stitch_files.formats import FORMATS
from planning.stitch_files.processes import READING
from planning.stitch_files.reading import (
    MIB,
    ReadDesign,
    ReadLimits,
    UnreadableDesign,
    read_design_file,
    read_design_files,
)
from tests.planning.stitch_files.test_bad_files import TEXT, hungry_hus, slow_dst
from tests.planning.written_files import file_bytes, pennant

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="files are read one by one there")

DST = file_bytes(pennant(), "dst")
ORDER = {"extension": "dst", "stitches": 5000, "blocks": 9, "memory_bytes": 1 << 30, "cpu_seconds": 20}


@pytest.fixture
def started(monkeypatch: pytest.MonkeyPatch) -> list[subprocess.Popen[bytes]]:
    """Return the processes that the test starts."""
    processes: list[subprocess.Popen[bytes]] = []
    start = subprocess.Popen

    def watched(*args: object, **options: object) -> subprocess.Popen[bytes]:
        processes.append(start(*args, **options))  # type: ignore[call-overload]
        return processes[-1]

    monkeypatch.setattr(subprocess, "Popen", watched)
    return processes


def files(folder: Path, count: int) -> list[Path]:
    paths = [folder / f"pennant-{number}.dst" for number in range(count)]
    for path in paths:
        path.write_bytes(DST)
    return paths


def test_many_files_give_what_each_gives_alone(tmp_path: Path) -> None:
    for extension in FORMATS:
        (tmp_path / f"cap.{extension}").write_bytes(file_bytes(pennant(), extension))
        (tmp_path / f"half.{extension}").write_bytes(file_bytes(pennant(), extension)[:2500])
    (tmp_path / "letter.pes").write_bytes(TEXT)
    (tmp_path / "empty.dst").write_bytes(b"")
    paths = [*sorted(tmp_path.iterdir()), tmp_path / "gone.dst"]

    found = dict(read_design_files(map(str, paths)))
    assert sorted(found) == sorted(paths)
    for path, many in found.items():
        if isinstance(many, UnreadableDesign):
            with pytest.raises(UnreadableDesign, match=f"^{re.escape(str(many))}$"):
                read_design_file(path)
            continue
        alone = read_design_file(path)
        assert (many.name, many.sha256, many.warnings) == (alone.name, alone.sha256, alone.warnings)
        assert many.records.threads == alone.records.threads
        assert np.array_equal(many.records.x_tenths, alone.records.x_tenths)
        assert np.array_equal(many.records.y_tenths, alone.records.y_tenths)
        assert np.array_equal(many.records.command, alone.records.command)


def test_the_library_is_told_by_the_process_that_reads_what_it_would_have_found_itself(
    tmp_path: Path,
) -> None:
    for extension in FORMATS:
        (tmp_path / f"cap.{extension}").write_bytes(file_bytes(pennant(), extension))
    (tmp_path / "half.dst").write_bytes(DST[:2000])
    (tmp_path / "letter.pes").write_bytes(TEXT)
    (tmp_path / "blank.dst").write_bytes(DST[:512] + DST[-3:])
    paths = sorted(tmp_path.iterdir())
    read = dict(read_design_files(paths, trim_at_jumps=5))
    found = dict(digest_design_files(paths, processes=2, trim_at_jumps=5))
    assert sorted(found) == paths
    assert sum(isinstance(each, DesignDigest) for each in found.values()) == len(FORMATS) + 1
    for path, digest in found.items():
        own = read[path]
        if isinstance(own, ReadDesign):
            assert digest == digest_of(own)
        else:
            assert str(digest) == str(own)


def test_a_file_that_kills_its_reader_costs_the_library_no_other(tmp_path: Path) -> None:
    (tmp_path / "slow.dst").write_bytes(slow_dst())
    (tmp_path / "sound.dst").write_bytes(DST)
    limits = ReadLimits(cpu_seconds=1)
    found = dict(digest_design_files(sorted(tmp_path.iterdir()), processes=1, limits=limits))
    assert "takes more than 1 seconds of computing" in str(found[tmp_path / "slow.dst"])
    assert isinstance(found[tmp_path / "sound.dst"], DesignDigest)


def test_the_rule_for_trims_holds_for_many_files_too(tmp_path: Path) -> None:
    [(_, found)] = read_design_files(files(tmp_path, 1), trim_at_jumps=50)
    assert isinstance(found, ReadDesign)
    assert found.walked.trims == 0


def test_no_files_give_nothing(started: list[subprocess.Popen[bytes]]) -> None:
    assert list(read_design_files([])) == []
    assert started == []


def test_files_are_taken_as_they_are_needed(tmp_path: Path) -> None:
    taken: list[Path] = []

    def paths() -> Iterator[Path]:
        for path in files(tmp_path, 12):
            taken.append(path)
            yield path

    for done, _ in enumerate(read_design_files(paths(), processes=2), start=1):
        assert len(taken) <= done + 2
    assert len(taken) == 12


def test_a_few_processes_read_all_files_and_none_is_left(
    tmp_path: Path, started: list[subprocess.Popen[bytes]]
) -> None:
    assert len(list(read_design_files(files(tmp_path, 9), processes=2))) == 9
    assert len(started) == 2
    assert all(process.returncode is not None for process in started)


def test_whoever_stops_listening_leaves_no_process_behind(
    tmp_path: Path, started: list[subprocess.Popen[bytes]]
) -> None:
    answers = read_design_files(files(tmp_path, 9))
    next(answers)
    answers.close()  # type: ignore[attr-defined]
    assert started
    assert all(process.returncode is not None for process in started)


def test_a_file_that_takes_too_long_costs_no_other_file(tmp_path: Path) -> None:
    paths = files(tmp_path, 4)
    (tmp_path / "slow.dst").write_bytes(slow_dst())
    found = dict(read_design_files([tmp_path / "slow.dst", *paths], limits=ReadLimits(cpu_seconds=1)))
    assert "takes more than 1 seconds of computing" in str(found[tmp_path / "slow.dst"])
    assert all(isinstance(found[path], ReadDesign) for path in paths)


def test_a_file_that_hangs_is_given_up_and_costs_no_other_file(
    tmp_path: Path, started: list[subprocess.Popen[bytes]]
) -> None:
    with StandingReaders[str](1, wall_seconds=60, program=READING) as readers:
        readers.ask("first", DST, ORDER)
        assert readers.next_answer()[1].status == 0
        readers.wall_seconds = 0.3
        readers.ask("hung", slow_dst(), ORDER | {"stitches": 500_000})
        job, answer = readers.next_answer()
        assert (job, answer.status, answer.output) == ("hung", None, b"")
        assert started[0].returncode == -signal.SIGKILL
        readers.wall_seconds = 60
        readers.ask("last", DST, ORDER)
        assert readers.next_answer()[1].status == 0
    assert len(started) == 2


def test_an_answer_that_waited_for_its_listener_is_not_given_up() -> None:
    long = DST[:512] + DST[512:-3] * 16 + DST[-3:]  # its answer is more than fits into a pipe
    with StandingReaders[str](1, wall_seconds=60, program=READING) as readers:
        readers.ask("first", DST, ORDER)
        readers.next_answer()
        readers.wall_seconds = 1
        readers.ask("long", long, ORDER | {"stitches": 50_000, "blocks": 100})
        readers.selector.select(60)  # the answer begins to come, however busy the machine is
        time.sleep(1.1)
        _, answer = readers.next_answer()
    assert answer.status == 0
    assert len(answer.output) > 1 << 16


def test_a_file_that_takes_too_much_memory_costs_no_other_file(tmp_path: Path) -> None:
    (tmp_path / "hungry.hus").write_bytes(hungry_hus())
    paths = files(tmp_path, 3)
    limits = ReadLimits(memory_bytes=100 * MIB)
    found = dict(read_design_files([tmp_path / "hungry.hus", *paths], limits=limits, processes=1))
    assert "needs more memory to read" in str(found[tmp_path / "hungry.hus"])
    assert all(isinstance(found[path], ReadDesign) for path in paths)


def test_a_killed_process_costs_the_file_that_it_was_reading_and_no_other(
    started: list[subprocess.Popen[bytes]],
) -> None:
    with StandingReaders[str](2, wall_seconds=60, program=READING) as readers:
        readers.ask("killed", slow_dst(), ORDER | {"stitches": 500_000})
        readers.ask("sound", DST, ORDER)
        os.kill(started[0].pid, signal.SIGKILL)
        answers = dict(readers.next_answer() for _ in range(2))
        # Not as late as when the time for the file is up: then it would have no status.
        assert answers["killed"].status == -signal.SIGKILL
        assert answers["sound"].status == 0
        readers.ask("one more", DST, ORDER)
        os.kill(started[1].pid, signal.SIGKILL)
        started[1].wait()
        readers.next_answer()
        readers.ask("after a death between two files", DST, ORDER)
        assert readers.next_answer()[1].status == 0


def test_a_killed_process_is_answered_in_words(
    tmp_path: Path, started: list[subprocess.Popen[bytes]]
) -> None:
    def paths() -> Iterator[Path]:
        yield from files(tmp_path, 1)
        (tmp_path / "slow.dst").write_bytes(slow_dst())
        yield tmp_path / "slow.dst"
        for process in started:
            process.kill()
        (tmp_path / "last.dst").write_bytes(DST)
        yield tmp_path / "last.dst"

    found = dict(read_design_files(paths(), processes=1))
    assert "needs more than this computer may give to read it" in str(found[tmp_path / "slow.dst"])
    assert isinstance(found[tmp_path / "last.dst"], ReadDesign)


def test_a_fault_of_the_reading_program_is_told_with_its_last_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    room = tmp_path / "planning" / "stitch_files"
    room.mkdir(parents=True)
    (tmp_path / "planning" / "__init__.py").touch()
    (room / "__init__.py").touch()
    (room / "child.py").write_text("raise SystemExit('no library here')")
    monkeypatch.setattr("inventory.processes.children.PACKAGE_ROOT", tmp_path)
    [(_, found)] = read_design_files(files(tmp_path, 1))
    assert "the reading program itself failed (no library here). The file may be sound." in str(found)


def test_a_refusal_keeps_nothing_of_the_file_alive(tmp_path: Path) -> None:
    (tmp_path / "cap.dst").write_bytes(TEXT)
    (tmp_path / "bare.dst").write_bytes(b"LA:\r".ljust(512) + b"\0\0\xf3")
    for _, found in read_design_files(sorted(tmp_path.iterdir())):
        assert isinstance(found, UnreadableDesign)
        assert (found.__traceback__, found.__context__, found.__cause__) == (None, None, None)


def test_the_environment_of_the_site_does_not_reach_the_standing_processes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DATABASE_URL", "postgres://harbour")
    seen: list[dict[str, str]] = []
    start = subprocess.Popen

    def watched(*args: object, **options: object) -> object:
        seen.append(dict(options["env"]))  # type: ignore[call-overload]
        return start(*args, **options)  # type: ignore[call-overload]

    monkeypatch.setattr(subprocess, "Popen", watched)
    list(read_design_files(files(tmp_path, 1)))
    assert [("PYTHONPATH" in each, "DATABASE_URL" in each) for each in seen] == [(True, False)]


def test_where_a_process_cannot_be_forked_the_files_are_read_one_by_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reading, "CAN_STAND", False)
    monkeypatch.setattr(StandingReaders, "ask", None)
    (tmp_path / "letter.pes").write_bytes(TEXT)
    paths = [tmp_path / "letter.pes", *files(tmp_path, 2)]
    found = list(read_design_files(paths))
    assert [path for path, _ in found] == paths
    assert [isinstance(answer, ReadDesign) for _, answer in found] == [False, True, True]
