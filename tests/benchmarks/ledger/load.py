"""What the ledger's benchmarks measure, in a process of its own on a database of its own.

``python -m tests.benchmarks.ledger.load post REPEATS`` and ``… check ENTRIES``; both answer in JSON.
"""

import json
import statistics
import sys
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

import django

django.setup()

from django.db import connection  # noqa: E402  the database needs Django to be set up

from inventory import ledger  # noqa: E402
from inventory.models import StockItem  # noqa: E402
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
    print(json.dumps({"post": post, "check": check}[what](int(size))))


if __name__ == "__main__":
    main()
