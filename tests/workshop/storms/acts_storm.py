"""Every act killed at random moments: its rows are all there, or the database is as it was before.

Run as ``python -m tests.workshop.storms.acts_storm KILLS SEED [ACT…]`` on a new database that nobody else uses. Each
act begins from the same database. What it leaves when nobody kills it is known to the last row, and so is what must be
there when it is killed: the one or the other.
"""

import json
import random
import sys
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field

import django

django.setup()

from django.db import connection  # noqa: E402  the database needs Django to be set up

from tests.workshop.storms import databases  # noqa: E402
from tests.workshop.storms.acts import ACTS, open_the_workshop  # noqa: E402
from tests.workshop.storms.deaths import Life, Pace, short_life, whole_life  # noqa: E402
from workshop.doctor.database import database_findings  # noqa: E402
from workshop.doctor.stock import stock_problems  # noqa: E402

BEFORE = "before"
EXAMINED_EVERY = 50


@dataclass
class Stormed:
    """What came of the deaths of one act."""

    kills: int = 0
    absent: int = 0
    whole: int = 0
    after_a_write: int = 0  # killed between its first write and its end
    act_ms: int = 0
    problems: list[str] = field(default_factory=list)


def storm(act: Callable[[], object], *, kills: int, rng: random.Random) -> Stormed:
    """Return what ``kills`` deaths in ``act`` left behind."""
    known, numbers, pace, seen = databases.known(), databases.numbers_given_out(), Pace(), Stormed()
    before, after = known.rows, []
    for _ in range(2):
        pace.learn(whole_life(act))
        databases.settle()
        after.append(databases.rows(known))
        if len(after) == 2:
            seen.problems += examined()
        databases.put_rows_back(before, after[-1], name=BEFORE)
        databases.give_out_again(numbers)
    passing = differing_columns(*after)
    if databases_alike(before, after[0], passing):
        seen.problems.append("the act changes nothing")
    seen.act_ms = round(1000 * (pace.before_s + pace.after_s))
    while seen.kills < kills:
        life = short_life(act, pace=pace, rng=rng)
        databases.settle()
        seen.kills += 1
        seen.after_a_write += life.wrote is not None and life.done is None
        pace.learn(life)
        there = databases.rows(known)
        _look(life, there, (before, after[0]), passing, seen)
        if seen.kills % EXAMINED_EVERY == 0:
            seen.problems += examined()
        if there != before:
            databases.put_rows_back(before, there, name=BEFORE)
        databases.give_out_again(numbers)
    return seen


def _look(
    life: Life,
    there: databases.Rows,
    before_and_after: tuple[databases.Rows, databases.Rows],
    passing: dict[str, set[int]],
    seen: Stormed,
) -> None:
    before, after = before_and_after
    seen.problems += databases.quick_look()
    if databases_alike(there, before, {}):
        seen.absent += 1
        if life.done is not None:
            seen.problems.append("the act was done and is lost")
    elif databases_alike(there, after, passing):
        seen.whole += 1
    else:
        parts = [table for table in there if there[table] not in (before[table], after[table])]
        seen.problems.append(f"the act is there in part: {parts or 'some tables before, some after'}")


def differing_columns(one: databases.Rows, other: databases.Rows) -> dict[str, set[int]]:
    """Return the columns in which two whole acts differ, such as the moment at which a row was written."""
    found: dict[str, set[int]] = {}
    for table, rows in one.items():
        if rows != other[table]:
            assert len(rows) == len(other[table]), f"two whole acts differ by rows of {table}"
            found[table] = {
                column
                for row, same in zip(rows, other[table], strict=True)
                for column in range(len(row))
                if row[column] != same[column]
            }
    return found


def databases_alike(one: databases.Rows, other: databases.Rows, passing: dict[str, set[int]]) -> bool:
    return all(
        [_without(row, passing.get(table)) for row in rows]
        == [_without(row, passing.get(table)) for row in other[table]]
        for table, rows in one.items()
    )


def _without(row: tuple[object, ...], columns: set[int] | None) -> tuple[object, ...]:
    return tuple(value for place, value in enumerate(row) if place not in columns) if columns else row


def examined() -> list[str]:
    """Return what the doctor finds in the database and the stock."""
    return [str(each) for each in database_findings()] + [str(problem) for problem, _ in stock_problems()]


def main(words: Sequence[str]) -> None:
    kills, seed, *names = words
    open_the_workshop()
    databases.keep(BEFORE)
    databases.put_back(BEFORE)
    wrong = examined()
    assert not wrong, wrong
    rng = random.Random(int(seed))
    try:
        for name in names or ACTS:
            print(
                json.dumps({"act": name, **asdict(storm(ACTS[name], kills=int(kills), rng=rng))}), flush=True
            )
    finally:
        connection.close()
        databases.forget(BEFORE)


if __name__ == "__main__":
    main(sys.argv[1:])
