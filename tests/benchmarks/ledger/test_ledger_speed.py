"""Speed and memory of the ledger, side by side with the barest thing a database can do."""

import json
from pathlib import Path

import pytest
from django.db import connection

from tests.own_database import DATABASE_FILE, own_database, run_in

REPEATS = 500
ENTRIES = 1_000_000
FLOOR_MS = 0.1


@pytest.mark.benchmark
def test_an_act_takes_at_most_six_times_a_bare_insert(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with own_database(tmp_path) as environment:
        told = json.loads(run_in(environment, "-m", "tests.benchmarks.ledger.load", "post", str(REPEATS)))
    act_ms, insert_ms = told["act_s"] * 1000, told["insert_s"] * 1000
    with capsys.disabled():
        print(f"\n{connection.vendor}, median of {REPEATS} in turn: an act {act_ms:.2f} ms, ", end="")
        print(f"a bare INSERT with its commit {insert_ms:.2f} ms, ratio {act_ms / insert_ms:.2f}")
    assert act_ms <= 6 * insert_ms


@pytest.mark.benchmark
def test_a_million_entries_are_checked_in_little_memory(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with own_database(tmp_path) as environment:
        told = json.loads(run_in(environment, "-m", "tests.benchmarks.ledger.load", "check", str(ENTRIES)))
    with capsys.disabled():
        print(f"\n{connection.vendor}, {ENTRIES:,} entries checked in {told['seconds']:.1f} s, ", end="")
        print(f"peak {told['peak_mb']:.0f} MB ({told['peak_before_mb']:.0f} MB before the check)")
    assert told["peak_mb"] < 300


@pytest.mark.benchmark
@pytest.mark.parametrize("entries", [50_000, pytest.param(ENTRIES, marks=pytest.mark.exhaustive)])
@pytest.mark.parametrize("counted", ["never", "small"])
def test_acts_on_top_of_many_entries_take_what_the_first_ones_take(
    counted: str, entries: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in ("empty", "full"):
        (tmp_path / name).mkdir()
    with own_database(tmp_path / "empty") as empty, own_database(tmp_path / "full") as full:
        url = empty.get("DATABASE_URL", f"sqlite:///{tmp_path / 'empty' / DATABASE_FILE}")
        words = ("-m", "tests.benchmarks.ledger.side_by_side", str(entries), counted, url)
        told = json.loads(run_in(full, *words, timeout_s=900))
    too_much = {}
    for when, acts in told.items():
        *of_acts, _of_the_process_alone = acts.values()
        rows = {**acts, "in all": [sum(each) for each in zip(*of_acts, strict=True)]}
        with capsys.disabled():
            print(
                f"\n{connection.vendor}, rows counted {counted}, {when}: ms of an act on nothing, on {entries:,}"
            )
            for act, (first, ms) in rows.items():
                print(f"{act:36} {first:6.2f} {ms:6.2f} {f'{ms / first:6.2f}' if first else ''}")
        # The median of a hundred rounds sways by some hundredths of a ms, which is much of the shortest acts only.
        too_much |= {(when, act): both for act, both in rows.items() if both[1] > 1.2 * both[0] + FLOOR_MS}
        assert rows["in all"][1] <= 1.2 * rows["in all"][0]
    assert too_much == {}
