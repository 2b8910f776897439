"""Several people at the site at once, under its real server: nothing fails, nothing is sold twice."""

import json
import socket
from pathlib import Path

import pytest

from tests.own_database import own_database, run_in
from tests.sizes import searched

CLIENTS = 8


@pytest.mark.parametrize("seconds", searched((15, 60), first=1))
@pytest.mark.database
@pytest.mark.usefixtures("django_db_setup")
def test_eight_people_do_all_sorts_of_acts_for_a_while(tmp_path: Path, seconds: int) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with own_database(tmp_path) as environment:
        words = ("-m", "tests.planning.acting.clients", str(CLIENTS), str(seconds), str(port))
        told = json.loads(run_in(environment, *words, timeout_s=600).splitlines()[-1])
    print(told)
    assert told["errors"] == []
    assert told["oversold"] == []
    assert told["problems"] == []
    done = {word.removesuffix(", done") for word in told["told"] if word.endswith(", done")}
    assert done >= {"promise", "tick", "swap", "cut", "receive", "draft", "weigh", "move"}
