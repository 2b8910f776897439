"""Hold the database locked for so many seconds, and tell what pages and acts answer meanwhile and after.

Run as ``python -m tests.workshop.backup.locked HOW SECONDS`` on a new database: *writing* (SQLite: somebody writes),
*acting* (PostgreSQL: an act has the shelf alone) or *tables* (PostgreSQL: an update has every table).
"""

import json
import re
import sqlite3
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import django

django.setup()

from django.contrib.auth.models import User  # noqa: E402  the rest needs Django to be set up
from django.db import connection  # noqa: E402
from django.test import Client  # noqa: E402

from inventory.acting.turn import PLANNING  # noqa: E402
from tests.own_database import address_of  # noqa: E402
from tests.workshop.storms import databases  # noqa: E402
from tests.workshop.storms.acts import open_the_workshop  # noqa: E402
from tests.workshop.storms.found import the_spool  # noqa: E402
from workshop.backup.rows import all_models  # noqa: E402

MARKUP = re.compile(r"<[^>]+>|\s+")
HOOP = {
    "name": "new",
    "field_width_mm": "90",
    "field_height_mm": "90",
    "ring_width_mm": "100",
    "ring_height_mm": "100",
}


def asked() -> list[tuple[str, dict[str, Any] | None]]:
    label = the_spool("B").label
    return [
        ("/", None),
        ("/jobs/4/", None),
        ("/health/", None),
        ("/jobs/4/run/happened/", {"kind": "piece", "key": "locked", "position": "2"}),
        (f"/shelf/{label}/do/take/", {"quantity": "1 m", "key": "locked-use"}),
        ("/workshop/hoops/add/", HOOP),
        ("/sign-in/", {"username": "morgan", "password": "spindle-and-thread"}),
    ]


def hold(how: str) -> Callable[[], None]:
    """Take the lock, and return what lets go of it."""
    if how == "writing":
        file = sqlite3.connect(Path(str(connection.settings_dict["NAME"])), isolation_level=None)
        file.execute("BEGIN IMMEDIATE")
        return lambda: (file.execute("ROLLBACK"), file.close())[1]
    import psycopg  # only where the tests run on PostgreSQL

    line = psycopg.connect(address_of(str(connection.settings_dict["NAME"])))
    if how == "acting":
        line.execute("SELECT pg_advisory_xact_lock(%s)", [PLANNING])
    else:
        tables = ", ".join(f'"{model._meta.db_table}"' for model in all_models())
        line.execute(f"LOCK TABLE {tables} IN ACCESS EXCLUSIVE MODE")  # type: ignore[arg-type]
    return lambda: (line.rollback(), line.close())[1]


def all_at_once(
    clients: list[Client], wanted: list[tuple[str, dict[str, Any] | None]]
) -> list[dict[str, Any]]:
    told: list[dict[str, Any]] = []

    def ask(client: Client, address: str, sent: dict[str, Any] | None) -> None:
        began = time.monotonic()
        answer = client.get(address) if sent is None else client.post(address, sent, follow=True)
        text = MARKUP.sub(" ", answer.content.decode(errors="replace"))[:1500]
        after = time.monotonic() - began
        told.append(
            {
                "asked": address,
                "status": answer.status_code,
                "text": text,
                "to": answer.request["PATH_INFO"],
                "after_s": round(after, 1),
            }
        )
        connection.close()

    threads = [
        threading.Thread(target=ask, args=(client, *each))
        for client, each in zip(clients, wanted, strict=True)
    ]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    return sorted(told, key=lambda each: each["asked"])


def main() -> None:
    how, seconds = sys.argv[1], float(sys.argv[2])
    open_the_workshop()
    person = User.objects.create_superuser("morgan", password="spindle-and-thread")
    clients = []
    for address, _ in asked():
        client = Client(SERVER_NAME="localhost", raise_request_exception=False)
        if address != "/sign-in/":
            client.force_login(person)
        client.get("/help/")
        clients.append(client)
    wanted, before = asked(), databases.rows()
    connection.close()
    let_go = hold(how)
    timer = threading.Timer(seconds, let_go) if how != "writing" else None
    if timer:
        timer.start()
        meanwhile = all_at_once(clients, wanted)
        timer.join()
    else:  # a connection of SQLite belongs to its thread
        meanwhile = []
        asking = threading.Thread(target=lambda: meanwhile.extend(all_at_once(clients, wanted)))
        asking.start()
        time.sleep(seconds)
        let_go()
        asking.join()
    there = databases.rows()
    changed = [table for table in before if before[table] != there[table]]
    after = all_at_once(clients, wanted)
    print(json.dumps({"meanwhile": meanwhile, "changed": changed, "after": after}))


if __name__ == "__main__":
    main()
