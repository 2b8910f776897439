"""One step of a workshop whose kept files lie in a bucket, or in a folder; which, the environment says.

Run as ``python -m tests.workshop.backup.in_a_bucket STEP …`` on a migrated database; what came of it is JSON.
"""

import io
import json
import sys
from datetime import UTC, date, datetime
from typing import Any

import django

django.setup()

from django.contrib.auth.models import User  # noqa: E402  the rest needs Django to be set up
from django.core.files.uploadedfile import SimpleUploadedFile  # noqa: E402
from django.test import Client  # noqa: E402
from PIL import Image  # noqa: E402

from inventory.kept_files import StoreAway, store  # noqa: E402
from planning.library.designs import kept_file  # noqa: E402
from planning.library.pictures import picture_address, picture_of  # noqa: E402
from planning.library.search import note_stitch_out  # noqa: E402
from planning.models import Design, StitchOutNote  # noqa: E402
from tests.planning.acting.scene import set_up  # noqa: E402
from tests.workshop.storms.journeys import stitch_file  # noqa: E402
from workshop.doctor.examine import examine  # noqa: E402

NOT_OF_FILES = ("Others on this computer", "DEBUG is on")


def signed_in() -> Client:
    client = Client(SERVER_NAME="localhost", raise_request_exception=False)
    client.force_login(User.objects.get(username="morgan"))
    return client


def begin() -> None:
    """Open the workshop with a design, a photograph of its test, and a list that was looked at."""
    User.objects.create_superuser("morgan", password="spindle-and-thread")
    set_up()
    drawn = io.BytesIO()
    Image.new("RGB", (40, 30), "#b01c2e").save(drawn, "PNG")
    note_stitch_out(
        Design.objects.get(), stitched_on=date(2026, 3, 1), fabric="twill", verdict="good", words="sits well",
        by=None, photo=drawn.getvalue(),
    )  # fmt: skip
    sent = {"kind": "spools", "file": SimpleUploadedFile("a.csv", b"label,kind\nX1,spool\n")}
    assert signed_in().post("/shelf/files/", sent).status_code == 302


def send(number: str) -> int:
    """Send stitch files on the page of imports; where workers carry them out, they wait."""
    sails = [
        SimpleUploadedFile(f"sail {number}-{n}.vp3", stitch_file(10 * int(number) + n)) for n in range(3)
    ]
    return signed_in().post("/designs/import/", {"stitch_files": sails}).status_code


def look() -> dict[str, Any]:
    """Ask for everything that rests on kept files."""
    client = signed_in()
    designs = list(Design.objects.prefetch_related("blocks").order_by("pk"))
    note = StitchOutNote.objects.get()
    asked = {f"/stitch-outs/{note.pk}/{note.photo}.jpg": "photograph"}
    for each in designs:
        asked[f"/designs/{each.pk}/file/"] = "stitch file"
        asked[picture_address(each, picture_of(each, width_px=64))] = "picture"
    asked |= {f"/plan/?design={designs[0].pk}&pieces=3": "plan", "/preferences/watching/": "watching"}
    answers = {address: client.get(address) for address in asked}
    return {
        "designs": len(designs),
        "answers": sorted({(what, answers[address].status_code) for address, what in asked.items()}),
        "plan": "Enough" in answers[f"/plan/?design={designs[0].pk}&pieces=3"].content.decode(),
        "to_mend": [
            str(each) for each in examine(at=datetime.now(UTC), every_file=True).to_mend
            if not each.what.startswith(NOT_OF_FILES)
        ],
        "stored": _stored(),
    }  # fmt: skip


def _stored() -> list[tuple[str, int]]:
    try:
        return [(each.name, each.bytes) for each in store().under()]
    except StoreAway:
        return []


def damage() -> str:
    """Change a bit of the first design's file where it lies."""
    kept = kept_file(Design.objects.earliest("pk"))
    content = bytearray(store().read(kept.stored))
    content[100] ^= 1
    store().put(kept.stored, bytes(content))
    return kept.stored


def mend() -> int:
    """Send the first design's own file again, as its owner has it."""
    from tests.planning.acting.scene import _keep_the_design

    _keep_the_design()
    return Design.objects.count()


if __name__ == "__main__":
    step, *rest = sys.argv[1:]
    print(
        json.dumps({"begin": begin, "send": send, "look": look, "damage": damage, "mend": mend}[step](*rest))
    )
