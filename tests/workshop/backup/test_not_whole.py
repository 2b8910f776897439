"""A backup of a workshop whose kept files are not whole is made all the same, and says which they are."""

import json
from pathlib import Path

import pytest

from tests.own_database import own_database, run_in
from workshop.backup.archive import manifest_in

# A workshop with two designs and a list; then one design's file is changed by a bit, the other's is lost.
DAMAGED = """
import io, json, re, sys, django; django.setup()
from contextlib import redirect_stderr
from datetime import timedelta
from pathlib import Path
from django.conf import settings
from django.contrib.auth.models import User
from django.core.management import call_command
from django.test import Client
from planning.library.designs import kept_file
from planning.library.importing import carry_out, receive_files
from planning.models import Design
from django.core.files.uploadedfile import SimpleUploadedFile
from tests.planning.acting.scene import NOW
from tests.stored import place_of
from tests.workshop.storms.journeys import stitch_file
from workshop.backup.making import back_up
from workshop.backup.restoring import restore

run = receive_files([SimpleUploadedFile(f"sail {n}.vp3", stitch_file(n)) for n in range(3)], at=NOW)
carry_out(run.pk, trim_at_jumps=3, clock=lambda: NOW, processes=1)
folder = Path(sys.argv[1])
good = back_up(folder / "good.zip", at=NOW)
assert (good.damaged, good.missing) == ((), ())
changed, lost, whole = Design.objects.order_by("name")
content = bytearray(place_of(kept_file(changed)).read_bytes())
content[100] ^= 1
place_of(kept_file(changed)).write_bytes(content)
place_of(kept_file(lost)).unlink()
told, warned = io.StringIO(), io.StringIO()
call_command("backup", str(folder / "bad.zip"), stdout=told, stderr=warned)
data = io.StringIO()
call_command("backup", str(folder / "data.zip"), format="json", stdout=data)
User.objects.create_superuser("morgan", password="spindle-and-thread")
client = Client(SERVER_NAME="localhost")
client.force_login(User.objects.get())
client.post("/preferences/backups/")
page = re.sub(r"<[^>]+>|\\s+", " ", client.get("/preferences/backups/").content.decode())
# What is whole here is not replaced by what was damaged there, and the other way round.
restore(folder / "good.zip", at=NOW)
restore(folder / "bad.zip", at=NOW + timedelta(minutes=1))
states = [place_of(kept_file(each)).read_bytes() != content for each in (changed,)]
print(json.dumps({"told": told.getvalue(), "warned": warned.getvalue(), "data": json.loads(data.getvalue()),
                  "page": page, "names": [changed.name, lost.name, whole.name], "hash": changed.sha256,
                  "whole": states}))
"""


@pytest.fixture(scope="module")
def said(tmp_path_factory: pytest.TempPathFactory, django_db_setup: None) -> dict:
    folder = tmp_path_factory.mktemp("not-whole")
    with own_database(folder) as environment:
        settings = {"DJANGO_SETTINGS_MODULE": "workshop.settings"}
        answer = run_in({**environment, **settings}, "-c", DAMAGED, str(folder)).splitlines()[-1]
    return {**json.loads(answer), "folder": folder}


@pytest.mark.database
def test_damaged_and_missing_files_are_named_by_their_designs(said: dict) -> None:
    changed, lost, whole = said["names"]
    assert "It opens." in said["told"]
    for text in (said["warned"], said["page"]):
        assert f"The stitch file of {changed} is damaged." in text
        assert f"The stitch file of {lost} is missing." in text
        assert whole not in text
        assert "Send the same files again" in text


@pytest.mark.database
def test_the_manifest_names_them_and_the_backup_can_be_restored(said: dict) -> None:
    manifest = manifest_in(Path(said["folder"]) / "bad.zip")
    assert [Path(name).stem for name in manifest.damaged] == [said["hash"]]
    assert len(manifest.missing) == 1
    assert said["data"]["damaged"] == list(manifest.damaged)
    assert said["data"]["missing"] == list(manifest.missing)
    assert said["whole"] == [True]
