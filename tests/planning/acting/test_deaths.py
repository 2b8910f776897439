"""A process killed in the middle of an act on a plan leaves it wholly there or wholly not, and the books right."""

import json
import os
from pathlib import Path

import pytest

from tests.own_database import own_database, run_in

FEW = 4
SOME = pytest.param(8, marks=pytest.mark.thorough)  # of each of seven
MANY = pytest.param(30, marks=pytest.mark.exhaustive)
SCRIPTS = ("promise", "cut", "draft", "repeat", "tick", "swap", "finish")

pytestmark = [
    pytest.mark.database,
    pytest.mark.usefixtures("django_db_setup"),
    pytest.mark.skipif(not hasattr(os, "fork"), reason="the victims are forked, which this system cannot"),
]


@pytest.mark.parametrize("kills", [FEW, SOME, MANY])
@pytest.mark.parametrize("script", SCRIPTS)
def test_an_act_on_a_plan_that_is_killed_is_there_wholly_or_not_at_all(
    script: str, kills: int, tmp_path: Path
) -> None:
    with own_database(tmp_path) as environment:
        words = ("-m", "tests.planning.acting.deaths", script, str(kills), "1147")
        told = json.loads(run_in(environment, *words, timeout_s=1_200).splitlines()[-1])
    assert told["problems"] == []
    assert told["kills"] == kills
    assert told["acts_done"] >= kills
    assert told["caught_in_the_act"] > (kills / 4 if kills > FEW else 0)
