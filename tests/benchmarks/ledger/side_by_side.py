"""What acts take on an empty ledger and on a full one, round by round in turn, in a process of its own.

``python -m tests.benchmarks.ledger.side_by_side ENTRIES COUNTED EMPTY_URL`` on the database that is filled, with a new
one at ``EMPTY_URL`` beside it. ``COUNTED`` says what the full one knows of its rows before they are counted: ``never``
nothing at all, ``small`` what it knew when it had a few. Answers in JSON.
"""

import itertools
import json
import statistics
import sys
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path

import django

django.setup()

from django.db import connection, connections  # noqa: E402  the database needs Django to be set up
from django.db.backends.base.base import BaseDatabaseWrapper  # noqa: E402

from inventory import ledger  # noqa: E402
from inventory.models import Entry, Reservation, Spool, StockItem  # noqa: E402
from tests.benchmarks.ledger.load import NOW, fill  # noqa: E402
from tests.benchmarks.processor import processor_s  # noqa: E402
from tests.factories import a_spool  # noqa: E402
from workshop.backup.rows import another_database  # noqa: E402

ROUNDS, WARMING = 150, 20
BACKEND = "the database's process alone"
Acts = dict[str, Callable[[int], object]]
_moments = itertools.count()


def side_by_side(entries: int, counted: str, empty: BaseDatabaseWrapper) -> dict[str, dict[str, list[float]]]:
    """Return what each act takes, in ms, on the empty ledger and on so many entries: before ``ANALYZE``, and after."""
    full = connections["default"]
    whens = ("before ANALYZE", "after ANALYZE")
    acts: dict[tuple[str, BaseDatabaseWrapper], Acts] = {}
    for ledger_of in (empty, full):
        with standing_on(ledger_of):
            acts |= {(when, ledger_of): _acts_on(*_worked_spools(when), name=when) for when in whens}
            _let_nobody_analyse()
    if counted == "small":
        _analyse()
    fill(entries, analysed=False)
    told = {}
    for when in whens:
        if when == "after ANALYZE":
            for ledger_of in (empty, full):
                with standing_on(ledger_of):
                    _analyse()
        told[when] = _ms_in_turn({each: acts[when, each] for each in (empty, full)})
    assert list(ledger.ledger_problems()) == []
    return told


@contextmanager
def standing_on(database: BaseDatabaseWrapper) -> Iterator[None]:
    """Have everything in the block done on ``database``."""
    before = connections["default"]
    connections["default"] = database
    try:
        yield
    finally:
        connections["default"] = before


def _worked_spools(name: str) -> tuple[Spool, Spool]:
    """Return two new spools: one taken from and taken back, one taken from so often that it can be taken back later."""
    spool, early = (a_spool(metres=1_000_000) for _ in range(2))
    for number in range(ROUNDS):
        ledger.use(early, quantity=1, key=f"{name}-early-{number}", at=_later(), by=None)
        entry = ledger.use(spool, quantity=1, key=f"{name}-past-{number}", at=_later(), by=None)
        ledger.reverse(entry, key=f"{name}-past-back-{number}", at=_later(), by=None)
    return spool, early


def _acts_on(spool: Spool, early: Spool, *, name: str) -> Acts:
    """Return the acts that are measured, each for the number of its round."""
    weighed = ledger.Finding(500.0, StockItem.Known.WEIGHED)

    def use(number: int) -> None:
        ledger.use(spool, quantity=1, key=f"{name}-use-{number}", at=_later(), by=None)

    def take_back(of: str, number: int) -> None:
        entry = Entry.objects.get(key=f"{name}-{of}-{number}", line=0)
        ledger.reverse(entry, key=f"{name}-{of}-back-{number}", at=_later(), by=None)

    def weigh(number: int) -> None:
        key = f"{name}-weigh-{number}"
        ledger.find(spool, quantity=500_000 + number, finding=weighed, key=key, at=_later(), by=None)

    def set_aside(number: int) -> None:
        holder, key = f"job {number}", f"{name}-aside-{number}"
        ledger.set_aside(spool, quantity=1, holder=holder, key=key, at=_later(), by=None)

    return {
        "use": use,
        "take back": partial(take_back, "use"),
        "take back what was used long ago": partial(take_back, "early"),
        "weigh": weigh,
        "set aside": set_aside,
        "release": lambda number: ledger.release(Reservation.objects.filter(key=f"{name}-aside-{number}")),
        "what was reckoned": lambda number: ledger.reckoned_since_looked([early.pk]),
        "history": lambda number: list(Entry.objects.of(spool)[:50]),
    }


def _ms_in_turn(acts: dict[BaseDatabaseWrapper, Acts]) -> dict[str, list[float]]:
    """Return what each act takes of the processor, the database's own process with it, in the order of ``acts``.

    The last row is what of all of them the database's process alone takes: 0 where it is this one.
    """
    taken: dict[tuple[str, BaseDatabaseWrapper], list[tuple[float, float]]] = defaultdict(list)
    for number in range(ROUNDS):
        for database, works in acts.items():
            with standing_on(database):
                for act, work in works.items():
                    before_s = _backend_s()
                    ours_s = processor_s(partial(work, number))
                    taken[act, database].append((ours_s, _backend_s() - before_s))
    ms = {
        of: [statistics.median(seconds) * 1000 for seconds in zip(*rounds[WARMING:], strict=True)]
        for of, rounds in taken.items()
    }
    names = list(next(iter(acts.values())))
    told = {act: [sum(ms[act, database]) for database in acts] for act in names}
    return told | {BACKEND: [sum(ms[act, database][1] for act in names) for database in acts]}


def _later() -> datetime:
    """Return a moment after all that were asked for before: no two acts are of one moment."""
    return NOW + timedelta(seconds=next(_moments))


def _let_nobody_analyse() -> None:
    """Keep PostgreSQL from counting by itself, which it does within a minute: then what is measured were chance."""
    if connection.vendor != "postgresql":
        return
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f'ALTER TABLE "{table}" SET (autovacuum_enabled = false)')


def _analyse() -> None:
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")


def _backend_s() -> float:
    """Return the seconds that the process of the database has taken for this connection: 0 where it is this one."""
    if connection.vendor != "postgresql":
        return 0.0
    pid = connection.connection.info.backend_pid
    nanoseconds, *_rest = Path(f"/proc/{pid}/schedstat").read_text().split()
    return int(nanoseconds) / 1e9


def main() -> None:
    entries, counted, url = sys.argv[1:]
    with another_database(url) as alias:
        print(json.dumps(side_by_side(int(entries), counted, connections[alias])))


if __name__ == "__main__":
    main()
