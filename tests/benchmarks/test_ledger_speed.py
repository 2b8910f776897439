"""Speed and memory of the ledger, side by side with the barest thing a database can do."""

import json
from pathlib import Path

import pytest
from django.db import connection

from tests.own_database import DATABASE_FILE, own_database, run_in

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
@pytest.mark.parametrize("counted", ["never", "small"])
def test_acts_on_top_of_a_million_entries_take_what_the_first_ones_take(
    counted: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in ("empty", "full"):
        (tmp_path / name).mkdir()
    with own_database(tmp_path / "empty") as empty, own_database(tmp_path / "full") as full:
        url = empty.get("DATABASE_URL", f"sqlite:///{tmp_path / 'empty' / DATABASE_FILE}")
        words = ("-m", "tests.benchmarks.ledger_side_by_side", str(ENTRIES), counted, url)
        told = json.loads(run_in(full, *words))
    ratios = {}
    with capsys.disabled():
        for when, acts in told.items():
            print(
                f"\n{connection.vendor}, counted {counted} {when}: ms of an act on an empty ledger, on {ENTRIES:,}"
            )
            for act, (first, ms) in acts.items():
                print(f"{act:36} {first:6.2f} {ms:6.2f}")
            *_ours, backend = acts.values()
            whole = [sum(each) for each in zip(*acts.values(), strict=True)]
            ratios[when, "in all"] = whole[1] / whole[0]
            if backend[0]:
                ratios[when, "the database's process"] = backend[1] / backend[0]
        print(", ".join(f"{what} {when} {ratio:.2f}" for (when, what), ratio in ratios.items()))
    assert {what: ratio for what, ratio in ratios.items() if ratio > 1.2} == {}
