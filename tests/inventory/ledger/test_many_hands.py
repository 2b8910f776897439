"""Several processes work on the same twenty things at once: nothing is lost, doubled, oversold or locked out."""

import json
import subprocess
import sys
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from tests.inventory.ledger.hands import SHARED_KEYS
from tests.own_database import HOUSE, own_database, run_in

# Hands, what each does, and how many pieces there are of the scarce thing.
FEW = (3, 60, 8)
MANY = pytest.param(8, 250, 60, marks=pytest.mark.thorough)


def work_together(environment: dict[str, str], *, hands: int, acts: int) -> list[dict[str, Any]]:
    """Return what all hands tell of all their acts, begun at the same moment."""
    processes = [
        subprocess.Popen(
            [sys.executable, "-m", "tests.inventory.ledger.hands", "work", str(number), str(acts)],
            env=environment,
            cwd=HOUSE,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        for number in range(hands)
    ]
    told: list[dict[str, Any]] = []
    try:
        for hand in processes:
            assert hand.stdout is not None
            assert hand.stdout.readline() == "ready\n"
        for hand in processes:
            assert hand.stdin is not None
            hand.stdin.write("go\n")
            hand.stdin.flush()
        for hand in processes:
            said, _ = hand.communicate(timeout=300)
            assert hand.returncode == 0
            told += json.loads(said)
    finally:
        for hand in processes:
            hand.kill()
    return told


@pytest.mark.django_db
@pytest.mark.parametrize(("hands", "acts", "scarce_pieces"), [FEW, MANY])
def test_many_hands_on_the_same_things_leave_the_ledger_right(
    tmp_path: Path, hands: int, acts: int, scarce_pieces: int
) -> None:
    with own_database(tmp_path) as environment:
        run_in(environment, "-m", "tests.inventory.ledger.hands", "prepare", str(scarce_pieces))
        before = json.loads(run_in(environment, "-m", "tests.inventory.ledger.hands", "books"))
        told = work_together(dict(environment), hands=hands, acts=acts)
        after = json.loads(run_in(environment, "-m", "tests.inventory.ledger.hands", "books"))

    failed = [each["why"] for each in told if each["outcome"] == "failed"]
    assert failed == [], f"{len(failed)} acts failed, the first with:\n{failed[0]}"
    assert after["problems"] == []
    assert len(told) >= hands * acts

    # None lost: what a hand was told is what the books have, entry by entry.
    done = [each for each in told if each["outcome"] == "done"]
    assert len(done) > hands * acts / 2, "most acts must succeed, or this shows nothing"
    for each in done:
        assert after["entries"][each["key"]] == each["entries"]
    # None doubled, and none that nobody did.
    assert set(after["entries"]) - set(before["entries"]) == {each["key"] for each in done}

    # One of all who sent the same request moved stock, and all were told the same.
    shared = Counter(each["key"] for each in done if each["key"].startswith("shared-"))
    assert len(shared) > min(SHARED_KEYS, hands * acts / 20) / 2
    assert max(shared.values()) > 1
    # No oversell: of what was too few, every piece went to one hand.
    takers = [
        each
        for each in done
        if any(item == _scarce(before) and moved == -1 for _, item, moved in each["entries"])
    ]
    returned = [
        each
        for each in done
        if any(item == _scarce(before) and moved == 1 for _, item, moved in each["entries"])
    ]
    assert after["scarce"] == scarce_pieces - len(takers) + len(returned) >= 0
    assert any("cannot be taken" in each["why"] for each in told if each["outcome"] == "refused")
    assert after["reserved"] == 0


def _scarce(books: dict[str, Any]) -> int:
    (entry,) = books["entries"]["scarce"]
    return int(entry[1])
