"""Speed and memory of the ledger, side by side with the barest thing a database can do."""

import json
from pathlib import Path

import pytest
from django.db import connection

from tests.own_database import own_database, run_in

REPEATS = 500
ENTRIES = 1_000_000


@pytest.mark.benchmark
def test_an_act_takes_at_most_six_times_a_bare_insert(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with own_database(tmp_path) as environment:
        told = json.loads(run_in(environment, "-m", "tests.benchmarks.ledger_load", "post", str(REPEATS)))
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
        told = json.loads(run_in(environment, "-m", "tests.benchmarks.ledger_load", "check", str(ENTRIES)))
    with capsys.disabled():
        print(f"\n{connection.vendor}, {ENTRIES:,} entries checked in {told['seconds']:.1f} s, ", end="")
        print(f"peak {told['peak_mb']:.0f} MB ({told['peak_before_mb']:.0f} MB before the check)")
    assert told["peak_mb"] < 300


@pytest.mark.benchmark
@pytest.mark.exhaustive
def test_acts_on_top_of_a_million_entries_take_what_the_first_ones_take(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with own_database(tmp_path) as environment:
        told = json.loads(run_in(environment, "-m", "tests.benchmarks.ledger_load", "acts", str(ENTRIES)))
    with capsys.disabled():
        print(
            f"\n{connection.vendor}, ms of an act on an empty ledger, on {ENTRIES:,} entries, and after ANALYZE:"
        )
        for act, empty in told["empty"].items():
            print(f"{act:36} {empty:6.2f} {told['full'][act]:6.2f} {told['analysed'][act]:6.2f}")
    empty, full, analysed = (sum(told[when].values()) for when in ("empty", "full", "analysed"))
    assert full <= 1.2 * empty
    assert analysed <= 1.2 * min(empty, full)
