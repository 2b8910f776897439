"""How the tests are run: on all cores unless that cannot pay or somebody decided otherwise, and none forgotten."""

import os
import tomllib
from pathlib import Path

import pytest

import manage

HOUSE = Path(manage.__file__).parent


@pytest.mark.parametrize(
    ("words", "are_spread"),
    [
        ([], True),
        (["-q", "-m", "thorough"], True),
        (["tests/planning", "-x"], True),
        (["-m", "database and not browser and not benchmark"], True),
        (["tests/workshop/test_pages.py"], False),
        (["tests/workshop/test_pages.py::test_health"], False),
        (["-k", "health"], False),
        (["-m", "benchmark", "-s"], False),
        (["--pdb"], False),
    ],
)
def test_tests_are_spread_over_all_cores_where_that_pays(
    monkeypatch: pytest.MonkeyPatch, words: list[str], are_spread: bool
) -> None:
    monkeypatch.setattr(os, "sched_getaffinity", lambda _: {0, 1, 2}, raising=False)
    assert manage._workers(words) == (["-n", "3", "--dist", "worksteal"] if are_spread else [])


def test_a_number_of_workers_that_was_asked_for_and_a_single_core_are_respected(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    assert manage._workers(["-n", "5"]) == manage._workers(["-n0"]) == []
    monkeypatch.setattr(os, "sched_getaffinity", lambda _: {0}, raising=False)
    assert manage._workers([]) == []


def test_what_the_suite_leaves_out_is_run_by_the_full_checks() -> None:
    options = tomllib.loads((HOUSE / "pyproject.toml").read_text())["tool"]["pytest"]["ini_options"]
    assert options["addopts"].endswith(
        "-m 'not thorough and not exhaustive and not browser and not benchmark'"
    )
    full = (HOUSE / ".ci/run").read_text()
    for stage in (
        "--durations=10",
        '-m "database and not thorough and not exhaustive and not browser and not benchmark"',
        '-m "browser and not exhaustive"',
        '-m "thorough and not exhaustive and not browser and not benchmark"',
        '-m "benchmark and not exhaustive"',
    ):
        assert f"manage.py test {stage}" in full
