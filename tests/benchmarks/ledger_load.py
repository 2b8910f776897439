"""What the ledger's benchmarks measure, in a process of its own on a database of its own.

``python -m tests.benchmarks.ledger_load post REPEATS``, ``… check ENTRIES`` and ``… acts ENTRIES``; all answer in JSON.
"""

import json
import os
import statistics
import sys
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

import django

django.setup()

from django.db import connection  # noqa: E402  the database needs Django to be set up

from inventory import ledger  # noqa: E402
from inventory.models import Entry, Reservation, Spool, StockItem  # noqa: E402
from tests.benchmarks.processor import processor_s  # noqa: E402
from tests.factories import a_put_up, a_shade, a_spool  # noqa: E402

NOW = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
COLUMNS = (
    "item_id, quantity, reason, at, by_id, reference, key, line, reverses_id, sigma_before, known_before"
)


def post(repeats: int) -> dict[str, float]:
    """Return the median seconds of processor of an act and of a bare INSERT of such a row, taken in turn."""
    spool = a_spool(metres=100_000)
    make_like_table()
    at = connection.ops.adapt_datetimefield_value(NOW)
    marks = ", ".join(["%s"] * 11)

    def insert(number: int) -> None:
        row = [spool.pk, -1, "use", at, None, "", f"row-{number}", 0, None, 1.0, "sealed"]
        with connection.cursor() as cursor:
            cursor.execute(f"INSERT INTO like_entry ({COLUMNS}) VALUES ({marks})", row)

    def act(number: int) -> None:
        ledger.use(spool, quantity=1, key=f"act-{number}", at=NOW, by=None)

    times: dict[str, list[float]] = {"insert_s": [], "act_s": []}
    for number in range(repeats + 50):
        for name, work in (("insert_s", insert), ("act_s", act)):
            times[name].append(processor_s(partial(work, number)))
    # The first ones warm up connections and caches.
    return {name: statistics.median(taken[50:]) for name, taken in times.items()}


def acts(entries: int) -> dict[str, dict[str, float]]:
    """Return the median ms of each act where there is nothing, on top of so many entries, and after ``ANALYZE``."""
    spool = a_spool(a_shade("2000"), metres=1_000_000)
    told = {"empty": _ms_of_acts(spool, "empty")}
    fill(entries, analysed=False)
    told["full"] = _ms_of_acts(spool, "full")
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    told["analysed"] = _ms_of_acts(spool, "analysed")
    assert list(ledger.ledger_problems()) == []
    return told


def _ms_of_acts(spool: Spool, name: str, *, repeats: int = 150) -> dict[str, float]:
    """Return what each act takes of the processor, with what the database's own process takes for it."""
    weighed = ledger.Finding(500.0, StockItem.Known.WEIGHED)

    def take_back(number: int) -> None:
        entry = Entry.objects.get(key=f"{name}-use-{number}", line=0)
        ledger.reverse(entry, key=f"{name}-back-{number}", at=NOW, by=None)

    def look_back(number: int) -> None:
        list(Entry.objects.of(spool)[:50])

    works = {
        "use": lambda number: ledger.use(spool, quantity=1, key=f"{name}-use-{number}", at=NOW, by=None),
        "take back": take_back,
        "weigh": lambda number: ledger.find(
            spool, quantity=500_000 + number, finding=weighed, key=f"{name}-weigh-{number}", at=NOW, by=None
        ),
        "set aside": lambda number: ledger.set_aside(
            spool, quantity=1, holder=f"job {number}", key=f"{name}-aside-{number}", at=NOW, by=None
        ),
        "release": lambda number: ledger.release(
            list(Reservation.objects.filter(key=f"{name}-aside-{number}"))
        ),
        "history": look_back,
    }
    taken: dict[str, list[float]] = {each: [] for each in works}
    for number in range(repeats + 20):
        for each, work in works.items():
            taken[each].append(processor_s(partial(work, number)))
    before = _backend_s()
    for number in range(repeats + 20, 2 * repeats):
        for work in works.values():
            work(number)
    told = {each: statistics.median(times[20:]) * 1000 for each, times in taken.items()}
    return told | {"the database's process, all of them": (_backend_s() - before) * 1000 / (repeats - 20)}


def _backend_s() -> float:
    """Return the seconds that the process of the database has taken for this connection: 0 where it is this one."""
    if connection.vendor != "postgresql":
        return 0.0
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_backend_pid()")
        (pid,) = cursor.fetchone()
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def make_like_table() -> None:
    """Make a table with the columns, keys and indexes of the entries, and none of the ledger about it."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("CREATE TABLE like_entry (LIKE inventory_entry INCLUDING ALL)")
            return
        cursor.execute("SELECT name, sql FROM sqlite_master WHERE tbl_name = 'inventory_entry' AND sql IS NOT NULL "
                       "AND type IN ('table', 'index') ORDER BY type DESC")  # fmt: skip
        for name, sql in cursor.fetchall():
            like = sql.replace(f'"{name}"', f'"like_{name}"', 1)
            cursor.execute(
                like.replace('"inventory_entry"', '"like_entry"').replace('"like_inventory', '"like')
            )


def check(entries: int) -> dict[str, float]:
    """Return the processor time that the check takes over so many entries, and the most memory the process ever had."""
    fill(entries)
    connection.close()
    before_mb = peak_mb()
    problems: list[object] = []
    taken = processor_s(lambda: problems.extend(ledger.ledger_problems()))
    assert problems == [], problems[:3]
    return {"seconds": taken, "peak_mb": peak_mb(), "peak_before_mb": before_mb}


def fill(entries: int, *, items: int = 2_000, analysed: bool = True) -> None:
    """Put ``items`` spools on the shelf with ``entries`` in all, among them a use and its reversal for each."""
    shade = a_shade("1147")
    a_put_up()
    spool = a_spool(shade)
    like = "known, kind, lot, note, reserved"
    with connection.cursor() as cursor:
        series = (
            "generate_series(1, {n}) AS s(n)"
            if connection.vendor == "postgresql"
            else "(WITH RECURSIVE c(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM c WHERE n < {n}) SELECT n FROM c) AS s"
        )
        cursor.execute(
            f"INSERT INTO inventory_stockitem (label, on_hand, sigma, {like}) "
            f"SELECT 'X' || n, 0, 0.0, {like} FROM inventory_stockitem, {series.format(n=items)} WHERE id = %s",
            [spool.pk],
        )
        cursor.execute("SELECT MIN(id) FROM inventory_stockitem WHERE label LIKE 'X%%'")
        (first,) = cursor.fetchone()
        cursor.execute("SELECT COALESCE(MAX(id), 0) FROM inventory_entry")
        (last,) = cursor.fetchone()
        at = connection.ops.adapt_datetimefield_value(NOW)
        # Every fifth is a use and the next takes it back; the others receive.
        cursor.execute(
            f"INSERT INTO inventory_entry ({COLUMNS}) SELECT %s + (n / 5) %% {items}, "
            "CASE n %% 5 WHEN 1 THEN -7 WHEN 2 THEN 7 ELSE 1000 END, "
            "CASE n %% 5 WHEN 1 THEN 'use' WHEN 2 THEN 'reverse' ELSE 'receive' END, "
            f"%s, NULL, '', 'bulk-' || n, 0, CASE n %% 5 WHEN 2 THEN %s + n - 1 ELSE NULL END, 0.0, 'sealed' "
            f"FROM {series.format(n=entries)} ORDER BY n",
            [first, at, last],
        )
        cursor.execute(
            "UPDATE inventory_stockitem SET on_hand = "
            "(SELECT COALESCE(SUM(quantity), 0) FROM inventory_entry WHERE item_id = inventory_stockitem.id) "
            "WHERE label LIKE 'X%%'",
            [],
        )
        if analysed:
            cursor.execute("ANALYZE")
    assert StockItem.objects.filter(label__startswith="X").count() == items


def peak_mb() -> float:
    """Return the most memory this process ever held, in MB."""
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmHWM:"):
            return int(line.split()[1]) / 1024
    raise AssertionError("/proc/self/status has no VmHWM")


def main() -> None:
    what, size = sys.argv[1:]
    print(json.dumps({"post": post, "check": check, "acts": acts}[what](int(size))))


if __name__ == "__main__":
    main()
