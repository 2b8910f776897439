"""The doctor: sound where all is, and every fault named with what mends it."""

import os
from datetime import UTC, datetime, timedelta
from io import StringIO
from pathlib import Path

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.db import connection

from inventory.kept_files.folder import FolderStore
from inventory.ledger import set_aside
from inventory.models import Reservation, StockItem
from planning.library.designs import keep_design, kept_file
from planning.library.importing import receive_files
from planning.models import Design, ImportRun
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW, a_key, a_shade, a_spool
from tests.own_database import HOUSE
from tests.stored import place_of
from workshop.doctor import stored
from workshop.doctor.examine import examine
from workshop.doctor.stock import stock_problems

BADGE = HOUSE / "fixtures" / "designs" / "name-tag.exp"
AT = datetime(2026, 11, 28, 12, tzinfo=UTC)
pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def own_folders(settings, tmp_path: Path) -> None:
    settings.DATA_FOLDER = tmp_path
    settings.MEDIA_ROOT = tmp_path / "files"
    settings.BACKUP_FOLDER = tmp_path / "backups"


@pytest.fixture
def design():
    return keep_design(read_design_file(BADGE), content=BADGE, trim_at_jumps=3, at=NOW)


def to_mend(**more) -> list[str]:
    return [
        str(each) for each in examine(at=AT, **more).to_mend if "Others on this computer" not in each.what
    ]


def test_a_sound_workshop_is_sound(design):
    a_spool(a_shade("R"), left_m=500)
    assert to_mend() == []


def test_a_missing_and_a_damaged_stitch_file_are_named(design):
    kept = kept_file(design)
    place_of(kept).write_bytes(b"")
    assert any(f"The stitch file of {design.name} is damaged." in each for each in to_mend())
    place_of(kept).unlink()
    assert any(f"The stitch file of {design.name} is missing." in each for each in to_mend())


def test_what_no_job_claims_is_named_and_check_ledger_fails():
    spool = a_spool(a_shade("R"), left_m=500)
    set_aside(spool, quantity=1000, holder="job 987", key=a_key(), at=NOW, by=None)
    ((problem, mend),) = stock_problems()
    assert problem.invariant == "what is set aside is promised"
    assert "job 987" in problem.found
    assert "Promise" in mend
    with pytest.raises(SystemExit) as ended:
        call_command("check_ledger", stdout=StringIO())
    assert ended.value.code == 1


def test_stock_that_the_ledger_does_not_know_is_named():
    spool = a_spool(a_shade("R"), left_m=500)
    StockItem.objects.filter(pk=spool.pk).update(on_hand=1)
    assert any(spool.label in each and "on hand" in each for each in to_mend())
    assert not Reservation.objects.exists()


def test_a_lost_column_is_named():
    with connection.cursor() as cursor:
        cursor.execute("ALTER TABLE planning_promise RENAME COLUMN waiting_min TO waited_min")
    found = to_mend()
    assert any("planning_promise has no column waiting_min" in each for each in found)
    assert any("planning_promise has a needless column waited_min" in each for each in found)


def test_a_column_of_another_kind_or_filled_by_itself_is_named():
    with connection.cursor() as cursor:
        cursor.execute("ALTER TABLE planning_job RENAME COLUMN what TO was")
        cursor.execute("ALTER TABLE planning_job ADD COLUMN what varchar(7) DEFAULT 'x'")
    found = " ".join(map(str, to_mend()))
    assert "planning_job.what is " in found
    assert "planning_job.what is filled by itself with 'x'" in found
    assert "planning_job.what may be empty" in found


def test_folders_that_a_stopped_backup_left_are_mended(settings):
    left = Path(settings.BACKUP_FOLDER) / "unfinished-backup-abc"
    left.mkdir(parents=True)
    (left / "database.sqlite3").write_bytes(b"x")
    old = (datetime.now(UTC) - timedelta(days=1)).timestamp()
    os.utime(left, (old, old))
    assert any("unfinished-backup-abc" in each for each in to_mend())
    examine(at=AT, mend=True)
    assert not left.exists()


def test_what_was_never_written_to_its_end_is_mended(settings):
    left = Path(settings.MEDIA_ROOT) / "imports" / "unfinished-abc"
    left.parent.mkdir(parents=True)
    left.write_bytes(b"x")
    old = (datetime.now(UTC) - timedelta(days=1)).timestamp()
    os.utime(left, (old, old))
    assert any("unfinished-abc" in each for each in to_mend())
    examined = examine(at=AT, mend=True)
    assert any("unfinished-abc" in each.what for each in examined.mended)
    assert not left.exists()


def test_what_waits_for_no_import_any_more_is_mended(settings):
    run = receive_files([SimpleUploadedFile("one.vp3", b"1")], at=AT)
    (waits, _) = sorted((Path(settings.MEDIA_ROOT) / "incoming").iterdir(), key=lambda path: path.suffix)
    old = (datetime.now(UTC) - timedelta(days=1)).timestamp()
    os.utime(waits, (old, old))
    assert not any(waits.name in each for each in to_mend())
    ImportRun.objects.filter(pk=run.pk).update(ended_at=AT)
    assert any(waits.name in each for each in to_mend())
    examine(at=AT, mend=True)
    assert not waits.exists()


def test_of_a_bucket_some_files_are_read_and_all_where_that_is_asked_for(design, tmp_path, monkeypatch):
    monkeypatch.setattr(FolderStore, "is_far", True)
    monkeypatch.setattr(stored, "READ_OF_A_BUCKET", 1)
    other = tmp_path / "other.exp"
    other.write_bytes(BADGE.read_bytes()[2:])
    keep_design(read_design_file(other), content=other, trim_at_jumps=3, at=NOW)
    for each in Design.objects.all():
        place = place_of(kept_file(each))
        place.write_bytes(bytes(place.stat().st_size))  # as long as it was
    assert len([each for each in to_mend() if "is damaged" in each]) == 1
    assert any("1 of 2 kept files" in str(each) for each in examine(at=AT).findings)
    assert len([each for each in to_mend(every_file=True) if "is damaged" in each]) == 2
    for each in Design.objects.all():
        place_of(kept_file(each)).write_bytes(b"shorter")  # a list tells that
    assert len([each for each in to_mend() if "is damaged" in each]) == 2


def test_lost_triggers_are_put_back():
    name = "inventory_entry_no_update" if connection.vendor == "sqlite" else "inventory_entry_for_good"
    with connection.cursor() as cursor:
        cursor.execute(
            f"DROP TRIGGER {name}" + ("" if connection.vendor == "sqlite" else " ON inventory_entry")
        )
    assert any(name in each for each in to_mend())


def test_a_clock_that_is_behind_is_named():
    a_spool(a_shade("R"))
    assert any("The clock says" in str(each) for each in examine(at=NOW - timedelta(days=30)).findings)
