"""Taking turns: one plan at a time, and tried again where others were in the way."""

import random
import threading
import time

import pytest
from django.db import OperationalError, connection, transaction

from inventory.acting import Busy, planning_lock, tried_again


@pytest.mark.django_db(transaction=True)
def test_a_busy_database_is_tried_again_until_it_takes_the_act():
    waits: list[float] = []
    answers = iter([OperationalError("database is locked"), OperationalError("deadlock detected"), None])

    def act() -> str:
        problem = next(answers)
        if problem:
            raise problem
        return "done"

    assert tried_again(act, rng=random.Random(1), sleep=waits.append) == "done"
    assert len(waits) == 2
    assert waits[1] > waits[0] > 0


@pytest.mark.django_db(transaction=True)
def test_one_that_stays_busy_is_told_in_words():
    def act() -> None:
        raise OperationalError("database is locked")

    with pytest.raises(Busy, match="Nothing was changed; try again"):
        tried_again(act, sleep=lambda _: None)


@pytest.mark.django_db(transaction=True)
def test_another_error_is_not_tried_again():
    tries = []

    def act() -> None:
        tries.append(1)
        raise OperationalError("disk is full")

    with pytest.raises(OperationalError):
        tried_again(act, sleep=lambda _: None)
    assert len(tries) == 1


@pytest.mark.django_db(transaction=True)
def test_the_lock_wants_a_transaction():
    with pytest.raises(RuntimeError):
        planning_lock()


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "postgresql", reason="on SQLite the transaction is the turn")
def test_two_plans_take_turns():
    order: list[str] = []
    taken = threading.Event()

    def other() -> None:
        taken.wait(10)
        with transaction.atomic():
            planning_lock()
            order.append("second")
        connection.close()

    waiting = threading.Thread(target=other)
    waiting.start()
    with transaction.atomic():
        planning_lock()
        taken.set()
        time.sleep(0.3)
        order.append("first")
    waiting.join(10)
    assert order == ["first", "second"]
