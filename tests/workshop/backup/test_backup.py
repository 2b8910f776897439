"""A backup, and back: everything returns, damaged ones are refused with nothing touched, and engines are exchanged."""

import hashlib
import json
import random
import sqlite3
import zipfile
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest
from django.db import connection

from tests.own_database import own_database, run_in
from workshop.backup.archive import BadBackup, manifest_in, safe_name, unpack
from workshop.backup.making import backup_name, kept_backups
from workshop.backup.restoring import restore_beside

BEFORE = "9e231f5"


def site(environment, *words: str) -> str:
    return run_in(environment, "manage.py", *words)


@pytest.fixture(scope="module")
def backup(tmp_path_factory, django_db_setup) -> Path:
    """A backup of a busy workshop with two kept files, made on whichever engine the tests run on."""
    folder = tmp_path_factory.mktemp("backed")
    with own_database(folder, filled_from=BEFORE) as environment:
        for content in (b"one", b"two" * 1000):
            name = hashlib.sha256(content).hexdigest()
            place = folder / "files" / "imports" / name
            place.parent.mkdir(parents=True, exist_ok=True)
            place.write_bytes(content)
        (folder / "files" / "pictures").mkdir()
        (folder / "files" / "pictures" / "drawn.png").write_bytes(b"a picture")
        site(environment, "backup", str(folder / "all.zip"))
    return folder / "all.zip"


def test_a_backup_holds_the_database_and_the_files_but_no_pictures(backup):
    manifest = manifest_in(backup)
    assert manifest.engine == connection.vendor
    assert (
        sorted(name.split("/")[1] for name in manifest.parts if name.startswith("files/")) == ["imports"] * 2
    )
    assert backup.stat().st_mode & 0o077 == 0


@pytest.mark.thorough
def test_what_was_done_after_a_backup_is_gone_after_restoring_it_and_kept_beside(
    tmp_path, backup, django_db_setup
):
    with own_database(tmp_path) as environment:
        site(environment, "restore", str(backup), "--yes")
        before = site(environment, "export_stock", "spools")
        site(environment, "use", "S0150", "1 m")
        assert site(environment, "export_stock", "spools") != before
        lost = next((tmp_path / "files" / "imports").iterdir())
        content = lost.read_bytes()
        lost.write_bytes(content[:1])
        answer = json.loads(site(environment, "restore", str(backup), "--yes", "--format", "json"))
        assert answer["files_put_back"] == 1
        assert lost.read_bytes() == content
        assert site(environment, "export_stock", "spools") == before
        site(environment, "restore", answer["before"], "--yes")
        assert site(environment, "export_stock", "spools") != before
        assert "sound" in site(environment, "check_ledger")


def test_a_backup_can_be_laid_out_beside_for_a_look(tmp_path, backup):
    restore_beside(backup, into=tmp_path / "look")
    environment = {"ENOUGH_THREAD_DATA": str(tmp_path / "look"), "PATH": "/usr/bin:/bin"}
    assert "sound" in site(environment, "check_ledger")


def _cut(share: float) -> Callable[[bytes], bytes]:
    return lambda content: content[: int(len(content) * share)]


def _flip(seed: int) -> Callable[[bytes], bytes]:
    def flip(content: bytes) -> bytes:
        rng, damaged = random.Random(seed), bytearray(content)
        for _ in range(20):
            damaged[rng.randrange(len(damaged))] ^= 1 << rng.randrange(8)
        return bytes(damaged)

    return flip


BYTES_DAMAGED = {
    **{f"cut at {share}": _cut(share) for share in (0.0, 0.01, 0.3, 0.5, 0.9, 0.999)},
    **{f"twenty bits flipped, {seed}": _flip(seed) for seed in range(8)},
    "another kind of file": lambda _: b"a,b\n1,2\n",
}


def _with(changed: dict[str, bytes | None], /, **says: object) -> Callable[[Path, Path], None]:
    """Return what writes the backup again with other parts (None: left out) and another manifest."""

    def write(backup: Path, target: Path) -> None:
        with zipfile.ZipFile(backup) as old, zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as new:
            manifest = json.loads(old.read("manifest.json"))
            for name in old.namelist():
                if name not in changed and name != "manifest.json":
                    new.writestr(name, old.read(name))
            for name, content in changed.items():
                if content is not None:
                    new.writestr(name, content)
                    manifest["parts"][name] = {
                        "bytes": len(content),
                        "sha256": hashlib.sha256(content).hexdigest(),
                    }
                else:
                    manifest["parts"].pop(name, None)
            manifest |= says
            new.writestr("manifest.json", json.dumps(manifest))

    return write


def _wrong_checksum(backup: Path, target: Path) -> None:
    with zipfile.ZipFile(backup) as old, zipfile.ZipFile(target, "w") as new:
        manifest = json.loads(old.read("manifest.json"))
        for part in manifest["parts"].values():
            part["sha256"] = "0" * 64
        for name in old.namelist():
            new.writestr(name, json.dumps(manifest) if name == "manifest.json" else old.read(name))


def _part_beyond_the_manifest(backup: Path, target: Path) -> None:
    target.write_bytes(backup.read_bytes())
    with zipfile.ZipFile(target, "a") as archive:
        archive.writestr("files/designs/extra.pes", b"x")


def _database(change: str) -> Callable[[Path, Path], None]:
    def write(backup: Path, target: Path) -> None:
        place = target.with_suffix(".sqlite3")
        with zipfile.ZipFile(backup) as old:
            place.write_bytes(old.read("database.sqlite3"))
        with closing(sqlite3.connect(place)) as database:
            database.executescript(change)
        _with({"database.sqlite3": place.read_bytes()})(backup, target)

    return write


REWRITTEN = {
    "no database": _with({"database.sqlite3": None}),
    "a database that is none": _with({"database.sqlite3": b"SQLite format 3\0" + b"x" * 5000}),
    "an empty database": _with({"database.sqlite3": b""}),
    "a newer format": _with({}, format=2),
    "another program's": _with({}, made_by="somebody"),
    "no format": _with({}, format="new"),
    "no moment": _with({}, made_at="yesterday"),
    "parts that are a list": _with({}, parts=[]),
    "a path upwards": _with({"files/../../escaped": b"x"}),
    "an absolute path": _with({"/tmp/escaped": b"x"}),
    "a path of another kind of computer": _with({"files/..\\escaped": b"x"}),
    "a part that is not ours": _with({"settings.py": b"x"}),
    "a bomb": _with({"files/imports/bomb": b"\0" * 60_000_000}),
    "wrong checksums": _wrong_checksum,
    "a part too many": _part_beyond_the_manifest,
    "a newer migration": _database(
        "INSERT INTO django_migrations (app, name, applied) VALUES ('planning', '9999_later', '2030-01-01')"
    ),
    "a row that points nowhere": _database(
        "PRAGMA foreign_keys=OFF; UPDATE inventory_spool SET shade_id = 987654;"
    ),
    "a trigger that is not ours": _database(
        "CREATE TRIGGER later AFTER INSERT ON inventory_shade BEGIN DELETE FROM auth_user; END"
    ),
    "another program's tables": _database("DROP TABLE inventory_entry; DROP TABLE planning_design"),
}


def test_thirty_damaged_backups_are_tried():
    assert len(BYTES_DAMAGED) + len(REWRITTEN) >= 30


@pytest.fixture(autouse=True)
def _databases_beside(django_db_setup, django_db_blocker):
    """Let tests open databases of their own beside the suite's."""
    with django_db_blocker.unblock():
        yield


def damaged(damage: str, backup: Path, bad: Path) -> Path:
    """Write the damaged backup to ``bad``."""
    if damage in BYTES_DAMAGED:
        bad.write_bytes(BYTES_DAMAGED[damage](backup.read_bytes()))
    else:
        REWRITTEN[damage](backup, bad)
    return bad


@pytest.mark.parametrize("damage", [*BYTES_DAMAGED, *REWRITTEN])
def test_a_damaged_backup_is_refused_and_lays_nothing_out(damage, backup, tmp_path):
    bad = damaged(damage, backup, tmp_path / "bad.zip")
    with pytest.raises(BadBackup):
        restore_beside(bad, into=tmp_path / "data")
    assert not (tmp_path / "data").exists()
    assert not (tmp_path / "escaped").exists()
    assert not Path("/tmp/escaped").exists()


def test_running_data_stay_byte_for_byte_the_same(backup, tmp_path, django_db_setup):
    (tmp_path / "bad").mkdir()
    (tmp_path / "running").mkdir()
    for number, damage in enumerate([*BYTES_DAMAGED, *REWRITTEN]):
        damaged(damage, backup, tmp_path / "bad" / f"{number}.zip")
    with own_database(tmp_path / "running") as environment:
        site(environment, "restore", str(backup), "--yes")
        words = ("-m", "tests.workshop.backup.refusals", *map(str, sorted((tmp_path / "bad").glob("*.zip"))))
        told = json.loads(run_in(environment, *words))
    assert len(told) == len(BYTES_DAMAGED) + len(REWRITTEN)
    assert set(told.values()) == {""}, told


def test_a_backup_that_does_not_fit_on_the_disk_is_refused(backup, tmp_path, monkeypatch):
    monkeypatch.setattr("shutil.disk_usage", lambda _: type("Usage", (), {"free": 1000})())
    with pytest.raises(BadBackup, match="Make room first"):
        unpack(backup, into=tmp_path)


def test_names_lead_nowhere_else():
    assert not any(
        map(safe_name, ("files/.hidden", "files//x", "files/a/../b", "c:/x", "files/a\0b", "database"))
    )


def test_the_newest_are_kept_and_other_files_are_left_alone(tmp_path):
    for day in (1, 2, 3):
        (tmp_path / backup_name(datetime(2026, 3, day, tzinfo=UTC))).write_bytes(b"x")
    (tmp_path / "enough-thread-notes.zip").write_bytes(b"mine")
    assert [each.path.name[14:22] for each in kept_backups(tmp_path)] == ["20260303", "20260302", "20260301"]


def test_moved_to_the_other_engine_and_back_every_row_is_equal(tmp_path, backup, django_db_setup):
    if connection.vendor != "postgresql":
        pytest.skip("needs PostgreSQL; runs where the tests run on it")
    with own_database(tmp_path) as environment:
        site(environment, "restore", str(backup), "--yes")
        there = tmp_path / "there.sqlite3"
        moved = json.loads(site(environment, "move_database", f"sqlite:///{there}", "--format", "json"))
        assert moved["rows"] > 1000
        on_sqlite = dict(environment) | {"DATABASE_URL": f"sqlite:///{there}"}
        assert site(on_sqlite, "export_stock", "spools") == site(environment, "export_stock", "spools")
        assert "sound" in site(on_sqlite, "check_ledger")
    (tmp_path / "second").mkdir()
    with own_database(tmp_path / "second") as again:
        back = json.loads(site(on_sqlite, "move_database", again["DATABASE_URL"], "--format", "json"))
        assert back["rows"] == moved["rows"]
        assert "sound" in site(again, "check_ledger")
        assert run_in({**again, "DJANGO_SETTINGS_MODULE": "workshop.settings"}, "-c", COUNTED) == "True\n"


# Plans are made for what came, not for what was there before.
COUNTED = """
import django; django.setup()
from django.db import connection
from inventory.models import Entry
with connection.cursor() as cursor:
    cursor.execute("SELECT reltuples FROM pg_class WHERE relname = 'inventory_entry'")
    (counted,) = cursor.fetchone()
    cursor.execute("SELECT count(*) > 10 FROM pg_stats WHERE tablename = 'inventory_entry'")
    print(cursor.fetchone()[0] and counted == Entry.objects.count() > 0)
"""
EARLIER_WITHOUT_STOCK = """
import django; django.setup()
from django.contrib.auth.models import User
from django.db import connection
from planning.models import Fabric
Fabric.objects.create(name="twill", thickness_mm=0.6)
with connection.cursor() as cursor:
    cursor.execute("DELETE FROM django_migrations WHERE name LIKE '%%fibres_of_one_piece'", [])
"""


def test_a_database_that_has_anything_in_it_is_not_moved_into(tmp_path, django_db_setup):
    for name in ("here", "there"):
        (tmp_path / name).mkdir()
    with own_database(tmp_path / "here") as here, own_database(tmp_path / "there") as there:
        settings = {"DJANGO_SETTINGS_MODULE": "workshop.settings"}
        run_in({**there, **settings}, "-c", EARLIER_WITHOUT_STOCK)
        url = there.get("DATABASE_URL", f"sqlite:///{tmp_path / 'there' / 'enough-thread.sqlite3'}")
        with pytest.raises(AssertionError, match="has something in it already"):
            site(here, "move_database", url)
        kept = (
            "import django; django.setup(); from planning.models import Fabric; print(Fabric.objects.count())"
        )
        assert run_in({**there, **settings}, "-c", kept) == "1\n"


def test_everything_can_be_taken_out(tmp_path, backup):
    restore_beside(backup, into=tmp_path / "data")
    environment = {"ENOUGH_THREAD_DATA": str(tmp_path / "data"), "PATH": "/usr/bin:/bin"}
    site(environment, "export_all", str(tmp_path / "out"))
    assert (tmp_path / "out" / "tables" / "inventory_entry.csv").read_text().count("\n") > 400
    assert "pbkdf2" not in (tmp_path / "out" / "tables" / "auth_user.csv").read_text()
    assert (tmp_path / "out" / "lists" / "spools.csv").exists()
