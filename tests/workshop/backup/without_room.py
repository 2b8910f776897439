"""Do every act on a disk without room, and again once there is some; tell what came of each.

Run as ``python -m tests.workshop.backup.without_room DISK`` with the data folder and a new database on that small disk.
"""

import json
import re
import sqlite3
import sys
from collections.abc import Callable
from pathlib import Path

import django

django.setup()

from django.conf import settings  # noqa: E402  the rest needs Django to be set up
from django.contrib.auth.models import User  # noqa: E402
from django.core.files.uploadedfile import SimpleUploadedFile  # noqa: E402
from django.db import DatabaseError, connection  # noqa: E402
from django.http import HttpResponse  # noqa: E402
from django.test import Client  # noqa: E402

from inventory.compute.errors import WorkshopError  # noqa: E402
from tests.workshop.storms import databases  # noqa: E402
from tests.workshop.storms.acts import ACTS, NOW, open_the_workshop  # noqa: E402
from tests.workshop.storms.acts_storm import examined  # noqa: E402
from tests.workshop.storms.journeys import stitch_file  # noqa: E402
from workshop.backup.making import back_up  # noqa: E402
from workshop.backup.restoring import restore  # noqa: E402
from workshop.doctor.stored import stored_findings  # noqa: E402
from workshop.trouble.kinds import FULL, trouble_of  # noqa: E402

ROWS = "label,kind\n" + "".join(f"X{number:05},spool\n" for number in range(3000))
LIST = b"kind,label\n" + ROWS.encode()


MARKUP = re.compile(r"<[^>]+>|\s+")


BEFORE = "before"


class Refused(Exception):
    """A page said why not."""


_signed_in = Client(SERVER_NAME="localhost", raise_request_exception=False)


def page(send: Callable[[Client], HttpResponse]) -> Callable[[], None]:
    def act() -> None:
        answer = send(_signed_in)
        text = answer.content.decode()
        if answer.status_code == 500:
            raise RuntimeError(text[:300])
        if answer.status_code >= 400:
            raise Refused(MARKUP.sub(" ", text)[-600:])
        followed = _signed_in.get(answer["Location"]).content.decode() if answer.status_code == 302 else ""
        if "Nothing is changed." in followed:
            raise Refused("Nothing is changed.")

    return act


PAGES: dict[str, Callable[[], None]] = {
    "add a hoop on its page": page(
        lambda client: client.post(
            "/workshop/hoops/add/",
            {
                "name": "large",
                "field_width_mm": "200",
                "field_height_mm": "200",
                "ring_width_mm": "220",
                "ring_height_mm": "220",
            },
        )
    ),
    "upload a list": page(
        lambda client: client.post(
            "/shelf/files/", {"kind": "spools", "file": SimpleUploadedFile("a.csv", ROWS.encode())}
        )
    ),
    "upload designs": page(
        lambda client: client.post(
            "/designs/import/",
            {
                "stitch_files": [
                    SimpleUploadedFile(f"{number}.vp3", stitch_file(1000 + number)) for number in range(6)
                ]
            },
        )
    ),
    "backup": page(lambda client: client.post("/preferences/backups/", {})),
}


def fill(place: Path) -> Path:
    filler = place / "filler"
    with filler.open("ab", buffering=0) as file:
        for size in (65536, 4096, 1):
            try:
                while True:
                    file.write(b"x" * size)
            except OSError:
                continue
    return filler


def main() -> None:
    open_the_workshop()
    User.objects.create_superuser("morgan", password="spindle-and-thread")
    place, saved = Path(sys.argv[1]), Path(settings.DATA_FOLDER) / "saved.zip"
    back_up(saved, at=NOW)
    acts: dict[str, Callable[[], object]] = {
        **ACTS,
        **PAGES,
        "restore": lambda: restore(saved, at=NOW),
    }
    seen: dict[str, list[str]] = {
        name: []
        for name in (
            "faults",
            "changed while full",
            "not in words",
            "refused",
            "done although full",
            "still refused with room",
            "to mend",
        )
    }
    databases.keep(BEFORE)
    for name, act in acts.items():
        databases.put_back(BEFORE)
        _signed_in.force_login(User.objects.get(username="morgan"))
        before = databases.rows()
        connection.close()
        filler = fill(place)
        outcome = _outcome(act)
        connection.close()
        filler.unlink()
        there = databases.rows()
        if outcome == "done" and there == before:
            seen["not in words"].append(f"{name}: nothing was done, and nothing said")
        elif outcome == "done":
            seen["done although full"].append(name)
        elif outcome == "refused":
            seen["refused"].append(name)
            if there != before:
                seen["changed while full"].append(name)
        else:
            seen["not in words"].append(f"{name}: {outcome}")
        seen["to mend"] += [f"{name}: {each}" for each in databases.quick_look()]
        if there != before:
            seen["to mend"] += [f"{name}: {each}" for each in examined()]
        if outcome != "done":
            try:
                act()
            except Exception as problem:
                seen["still refused with room"].append(f"{name}: {problem!r:.900}")
        connection.close()
        seen["to mend"] += [f"{name}: {each}" for each in stored_findings() if not each.advice]
    databases.forget(BEFORE)
    print(json.dumps(seen))


def _outcome(act: Callable[[], object]) -> str:
    """Return *done*, *refused* where it was told in words, or what else came of it."""
    try:
        act()
    except (WorkshopError, Refused) as problem:
        return "refused" if str(problem) else "no words"
    except (DatabaseError, OSError, sqlite3.Error) as problem:
        # As the page does that stands around every act.
        return "refused" if trouble_of(problem) is FULL else f"{trouble_of(problem)}: {problem!r}"
    except Exception as problem:
        return repr(problem)[:300]
    return "done"


if __name__ == "__main__":
    main()
