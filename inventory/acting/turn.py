"""One plan at a time becomes an act; a deadlock or a busy database is tried again before anybody hears of it.

Acts that move stock share the shelf; an act that rests on a plan has it alone, so that nothing moves between its plan
and its writing. Either is taken first in a transaction, before any row is locked: nobody who holds a row waits for it.
"""

import random
import time
from collections.abc import Callable
from functools import wraps
from typing import ParamSpec, TypeVar

from django.db import OperationalError, connection, transaction
from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError

Done = TypeVar("Done")
Asked = ParamSpec("Asked")
# Any number, the same for every process of every version: advisory locks are told apart by it alone.
PLANNING = 7_301_984_112
TIMES = 5
FIRST_WAIT_S = 0.05
# Waiting for one lock is given up after so long, as on SQLite; no further try begins after that.
LONGEST_WAIT_S = 30
# What PostgreSQL calls a deadlock, a lost race and a lock not had in time; SQLite has one word.
BUSY_CODES = {"40P01", "40001", "55P03"}


class Busy(WorkshopError):
    """Others were at the same things for longer than was waited."""


def planned_act(act: Callable[Asked, Done]) -> Callable[Asked, Done]:
    """Make ``act`` one transaction that has the shelf alone, and is tried again where others are in its way."""
    return _whole(act, first=planning_lock)


def whole_act(act: Callable[Asked, Done]) -> Callable[Asked, Done]:
    """Make ``act`` one transaction beside others of its kind, tried again where they are in its way."""
    return _whole(act, first=share_the_shelf)


def _whole(act: Callable[Asked, Done], *, first: Callable[[], None]) -> Callable[Asked, Done]:
    @wraps(act)
    def whole(*args: Asked.args, **particulars: Asked.kwargs) -> Done:
        def once() -> Done:
            first()
            return act(*args, **particulars)

        return tried_again(once)

    return whole


def planning_lock() -> None:
    """Wait until no other act is between its plan and its writing, and none moves stock.

    To be called first in a transaction, before anything that the plan rests on is read; the turn ends with the
    transaction. On SQLite the transaction itself is the turn: it is IMMEDIATE.
    """
    _lock("pg_advisory_xact_lock")


def share_the_shelf() -> None:
    """Wait until no act is between its plan and its writing; from now on none begins before the transaction ends."""
    _lock("pg_advisory_xact_lock_shared")


def _lock(taking: str) -> None:
    if not connection.in_atomic_block:
        raise RuntimeError("The planning lock lasts as long as a transaction; begin one first.")
    if connection.vendor == "postgresql":
        # In one go: on a server, going there and back is most of what an act costs.
        asked = f"SELECT set_config('lock_timeout', %s, true), {taking}(%s)"
        with connection.cursor() as cursor:
            cursor.execute(asked, [f"{LONGEST_WAIT_S}s", PLANNING])


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
    if connection.in_atomic_block:
        with transaction.atomic():
            return act()
    chance = rng or random.Random()
    begun = time.monotonic()
    for attempt in range(1, times + 1):
        try:
            with transaction.atomic():
                return act()
        except OperationalError as problem:
            if not is_busy(problem):
                raise
            if attempt == times or time.monotonic() - begun > LONGEST_WAIT_S:
                raise Busy(
                    _(
                        "Somebody else was changing the same things. Nothing was changed; try again in a moment."
                    )
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
