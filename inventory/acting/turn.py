"""One plan at a time becomes an act; a deadlock or a busy database is tried again before anybody hears of it."""

import random
import time
from collections.abc import Callable
from typing import TypeVar

from django.db import OperationalError, connection, transaction

from inventory.compute.errors import WorkshopError

Done = TypeVar("Done")
# Any number, the same for every process of every version: advisory locks are told apart by it alone.
PLANNING = 7_301_984_112
TIMES = 5
FIRST_WAIT_S = 0.05
# What PostgreSQL calls a deadlock, a lost race and a lock not had in time; SQLite has one word.
BUSY_CODES = {"40P01", "40001", "55P03"}


class Busy(WorkshopError):
    """Others were at the same things for longer than was waited."""


def planning_lock() -> None:
    """Wait until no other act is between its plan and its writing; the turn ends with the transaction.

    To be called first in a transaction, before anything that the plan rests on is read. On SQLite the transaction
    itself is the turn: it is IMMEDIATE.
    """
    if not connection.in_atomic_block:
        raise RuntimeError("The planning lock lasts as long as a transaction; begin one first.")
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [PLANNING])


def tried_again(
    act: Callable[[], Done],
    *,
    times: int = TIMES,
    rng: random.Random | None = None,
    sleep: Callable[[float], None] = time.sleep,
) -> Done:
    """Return what ``act`` (one whole transaction) returns, tried up to ``times`` times while others are in its way.

    Waits longer each time, by chance, so that two that met do not meet again. Raises Busy in words. Within another
    transaction it is tried once: only the outermost can be begun again.
    """
    chance = rng or random.Random()
    if connection.in_atomic_block:
        return act()
    for attempt in range(1, times + 1):
        try:
            with transaction.atomic():
                return act()
        except OperationalError as problem:
            if not is_busy(problem):
                raise
            if attempt == times:
                raise Busy(
                    "Somebody else was changing the same things. Nothing was changed; try again in a moment."
                ) from problem
        sleep(FIRST_WAIT_S * 2 ** (attempt - 1) * (0.5 + chance.random()))
    raise AssertionError("unreachable")


def is_busy(problem: OperationalError) -> bool:
    """Return whether an error only says that others were first.

    >>> is_busy(OperationalError("database is locked")), is_busy(OperationalError("disk is full"))
    (True, False)
    """
    code = getattr(problem.__cause__, "sqlstate", None)
    return code in BUSY_CODES or "is locked" in str(problem) or "deadlock detected" in str(problem)
