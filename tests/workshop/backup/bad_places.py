"""Ask a workshop whose place has gone bad while it runs, and tell what each page answered.

Run as ``python -m tests.workshop.backup.bad_places HOW`` on a new database in a data folder of its own: the database
*truncated* or *emptied*, the whole folder *read-only* (a disk of its own), or every kept file *hollow*.
"""

import json
import subprocess
import sys
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import django

django.setup()

from django.conf import settings  # noqa: E402  the rest needs Django to be set up
from django.contrib.auth.models import User  # noqa: E402
from django.db import connection  # noqa: E402
from django.test import Client  # noqa: E402

from inventory.schema.unchanged import let_go  # noqa: E402
from planning.models import Design, Job  # noqa: E402
from tests.planning.acting.scene import NOW  # noqa: E402
from tests.workshop.storms.acts import RUNNING, open_the_workshop  # noqa: E402
from workshop.backup.making import back_up  # noqa: E402
from workshop.backup.restoring import restore  # noqa: E402


def _database() -> Path:
    return Path(str(connection.settings_dict["NAME"]))


def _nobody_there() -> None:
    """Close all that this process has open: while somebody is there, the log holds what the file lacks."""
    let_go()
    connection.close()


def truncated() -> None:
    _nobody_there()
    with _database().open("r+b") as file:
        file.truncate(_database().stat().st_size // 2)


def emptied() -> None:
    for ending in ("", "-wal"):
        _database().with_name(_database().name + ending).write_bytes(b"")


def read_only() -> None:
    _nobody_there()  # or the disk is busy
    subprocess.run(["mount", "-o", "remount,ro", str(settings.DATA_FOLDER)], check=True)


def hollow() -> None:
    for path in Path(settings.MEDIA_ROOT).rglob("*"):
        if path.is_file():
            path.write_bytes(b"")


HOW: dict[str, Callable[[], None]] = {
    "truncated": truncated,
    "emptied": emptied,
    "read-only": read_only,
    "hollow": hollow,
}


def answers(client: Client) -> list[tuple[str, int, str]]:
    """Return what pages of all kinds answer, and acts."""
    design, job = 1, 4
    asked: list[tuple[str, dict[str, Any] | None]] = [
        *((f"/{page}/", None) for page in ("jobs", "shelf/list/thread", "designs", "buying", "help", "health")),
        *((f"/jobs/{job}/{part}", None) for part in ("", "run/", "cut/", "again/", "quote/")),
        *((f"/designs/{design}/{part}", None) for part in ("", "file/", "picture.png", "strip.png")),
        ("/", None),
        ("/preferences/backups/", None),
        (f"/jobs/{job}/run/happened/", {"kind": "piece", "key": "after", "position": "2"}),
        ("/workshop/hoops/add/", {"name": "new", "field_width_mm": "90", "field_height_mm": "90",
                                  "ring_width_mm": "100", "ring_height_mm": "100"}),
        ("/preferences/backups/", {}),
        ("/sign-in/", {"username": "morgan", "password": "spindle-and-thread"}),
    ]  # fmt: skip
    told = []
    for address, sent in asked:
        answer = client.get(address) if sent is None else client.post(address, sent)
        body = b"".join(answer) if answer.streaming else answer.content
        kind = answer.headers.get("Content-Type", "")
        text = body.decode(errors="replace") if "text" in kind or "json" in kind else ""
        if answer.status_code == 500 and answer.exc_info:
            text = repr(answer.exc_info[1])
        told.append((f"{'get' if sent is None else 'post'} {address}", answer.status_code, text))
    return told


def main() -> None:
    open_the_workshop()
    User.objects.create_superuser("morgan", password="spindle-and-thread")
    assert Job.objects.get(what=RUNNING).pk == 4
    assert Design.objects.earliest("pk").pk == 1
    saved = Path(sys.argv[2])
    back_up(saved, at=NOW)
    client = Client(SERVER_NAME="localhost", raise_request_exception=False)
    client.force_login(User.objects.get(username="morgan"))
    well = answers(client)
    if sys.argv[1] != "hollow":
        restore(saved, at=NOW)
        client.force_login(User.objects.get(username="morgan"))  # nobody was signed in when it was saved
        client.get("/")
    HOW[sys.argv[1]]()
    at_first = answers(client)
    connection.close()
    badly = answers(client)
    again: list[Any] = []
    if sys.argv[1] != "read-only":
        restore(saved, at=NOW + timedelta(minutes=1))
        connection.close()
        client.force_login(User.objects.get(username="morgan"))
        again = answers(client)[:-1]
    print(json.dumps({"well": well, "at first": at_first, "badly": badly, "again": again}))


if __name__ == "__main__":
    main()
