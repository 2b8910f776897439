"""Two people at the same moment: of two acts that exclude each other one is done, never both and never neither."""

import json
import os
from pathlib import Path

import pytest

from tests.own_database import own_database, run_in

FEW = 3
SOME = pytest.param(8, marks=pytest.mark.thorough)
MANY = pytest.param(50, marks=pytest.mark.exhaustive)
RACES = (
    "promise_promise", "cut_cut", "cut_promise", "draft_draft", "draft_sent_twice", "again_sent_twice",
    "tick_release", "tick_tick", "swap_tick", "begin_take_back",
)  # fmt: skip

pytestmark = [
    pytest.mark.database,
    pytest.mark.usefixtures("django_db_setup"),
    pytest.mark.skipif(not hasattr(os, "fork"), reason="the hands are forked, which this system cannot"),
]


@pytest.mark.parametrize("rounds", [FEW, SOME, MANY])
@pytest.mark.parametrize("race", RACES)
def test_of_two_at_the_same_moment(race: str, rounds: int, tmp_path: Path) -> None:
    with own_database(tmp_path) as environment:
        words = ("-m", "tests.planning.acting.races", race, str(rounds))
        told = json.loads(run_in(environment, *words, timeout_s=1_200).splitlines()[-1])
    print(race, told)
    assert told["problems"] == []
    assert told["rounds"] == rounds
    if race in {"draft_sent_twice", "again_sent_twice", "swap_tick"}:
        assert told["both"] == rounds
