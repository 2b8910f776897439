"""A process killed in the middle of an act leaves the act wholly there or wholly not, and the ledger right."""

import json
import os
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest

from tests.inventory.ledger.victims import ACT_SCRIPTS, CARELESS
from tests.own_database import own_database, run_in

# A script; there are four of them.
FEW = 12
MANY = pytest.param(30, marks=pytest.mark.thorough)

pytestmark = [
    pytest.mark.database,
    pytest.mark.usefixtures("django_db_setup"),
    pytest.mark.skipif(
        not hasattr(os, "fork"), reason="dying two hundred times takes fork, which this system does not have"
    ),
]


@pytest.fixture(scope="module")
def environment_for(
    django_db_setup: None, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Callable[[int], Mapping[str, str]]]:
    """One database for all scripts of so many kills: each script brings things of its own to the shelf."""
    made: dict[int, Mapping[str, str]] = {}
    with ExitStack() as opened:

        def of(kills: int) -> Mapping[str, str]:
            if kills not in made:
                folder = tmp_path_factory.mktemp(f"deaths{kills}-")
                made[kills] = opened.enter_context(own_database(folder))
            return made[kills]

        yield of


def deaths(environment: Mapping[str, str], script: str, *, kills: int) -> dict[str, Any]:
    told: dict[str, Any] = json.loads(
        run_in(environment, "-m", "tests.inventory.ledger.victims", script, str(kills), "1147")
    )
    return told


@pytest.mark.parametrize("kills", [FEW, MANY])
@pytest.mark.parametrize("script", [script.name for script in ACT_SCRIPTS])
def test_an_act_that_is_killed_is_there_wholly_or_not_at_all(
    script: str, kills: int, environment_for: Callable[[int], Mapping[str, str]]
) -> None:
    told = deaths(environment_for(kills), script, kills=kills)
    assert told["problems"] == []
    assert told["kills"] == kills
    assert told["acts_done"] >= kills
    # Otherwise the killer only ever came between two acts.
    assert told["caught_in_the_act"] > (kills / 4 if kills > FEW else 0)


def test_an_act_in_two_transactions_would_be_caught(tmp_path: Path) -> None:
    # In a database of its own: what it breaks stays broken.
    with own_database(tmp_path) as environment:
        told = deaths(environment, CARELESS.name, kills=20)
    assert any("is there in part" in problem for problem in told["problems"])
