"""A workshop whose kept files lie in a bucket: as good as in a folder, from one to the other, and seen through."""

import json
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest

from inventory.kept_files import StoreAway
from tests.own_database import HOUSE, own_database, run_in
from tests.ports import a_free_port

pytest.importorskip("storages", reason="the extra s3 is not installed")

LONGEST_START_S = 60
Environment = Mapping[str, str]


@pytest.fixture(scope="module")
def server() -> Iterator[str]:
    """A server that speaks S3, in a process of its own on this machine, with an empty bucket."""
    import boto3

    port = a_free_port()
    process = subprocess.Popen(
        [sys.executable, "-m", "moto.server", "-H", "127.0.0.1", "-p", port],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    endpoint = f"http://127.0.0.1:{port}"
    client = boto3.client(
        "s3", endpoint_url=endpoint, region_name="us-east-1", aws_access_key_id="key", aws_secret_access_key="secret"
    )  # fmt: skip
    until = time.monotonic() + LONGEST_START_S
    try:
        while True:
            assert process.poll() is None, "The server of buckets ended."
            try:
                client.create_bucket(Bucket="threads")
                break
            except Exception:
                assert time.monotonic() < until, "The server of buckets did not begin."
                time.sleep(0.2)
        yield endpoint
    finally:
        process.terminate()
        process.wait(timeout=30)


def kept_in(server: str, *, folder: str) -> dict[str, str]:
    """The environment of a site whose files lie in a part of the bucket."""
    address = f"s3://threads/{folder}?endpoint={server}&region=us-east-1"
    return {"FILES_URL": address, "FILES_KEY": "key", "FILES_SECRET": "secret"}


@pytest.fixture
def environment(tmp_path: Path, django_db_setup: None) -> Iterator[Environment]:
    with own_database(tmp_path / "site") as own:
        database = own.get("DATABASE_URL", f"sqlite:///{tmp_path / 'site' / 'enough-thread.sqlite3'}")
        yield {**own, "DJANGO_SETTINGS_MODULE": "workshop.settings", "DATABASE_URL": database}


def step(environment: Environment, *words: str) -> Any:
    return json.loads(run_in(environment, "-m", "tests.workshop.backup.in_a_bucket", *words).splitlines()[-1])


def manage(environment: Environment, *words: str) -> str:
    return run_in(environment, "manage.py", *words)


def is_sound(seen: Mapping[str, Any], *, designs: int) -> None:
    assert seen["to_mend"] == []
    assert seen["designs"] == designs
    assert {status for _, status in seen["answers"]} == {200}, seen["answers"]
    assert seen["plan"]


@pytest.mark.thorough
@pytest.mark.database
def test_files_go_through_a_bucket_from_import_to_backup_and_back(
    server: str, environment: Environment, tmp_path: Path
) -> None:
    here = {**environment, **kept_in(server, folder="one"), "ENOUGH_THREAD_WORKER": "yes"}
    # Another machine: the same database and bucket, and a data folder of its own.
    elsewhere = {**here, "ENOUGH_THREAD_DATA": str(tmp_path / "elsewhere")}
    step(here, "begin")
    assert step(here, "send", "1") == 302
    assert step(here, "look")["designs"] == 1  # they wait, in the bucket
    manage(elsewhere, "work", "--until-empty")
    seen = step(here, "look")
    is_sound(seen, designs=4)
    assert step(elsewhere, "look") == seen
    kinds = {name.partition("/")[0] for name, _ in seen["stored"]}
    assert kinds == {"designs", "imports", "pictures", "stitch-outs"}  # nothing waits any more
    for folder in ("site", "elsewhere"):
        assert not list((tmp_path / folder).glob("files/*/*"))
        assert not list((tmp_path / folder).glob("unfinished-*"))

    # From the bucket to a folder, and from there to another part of the bucket.
    manage(here, "backup", str(tmp_path / "one.zip"))
    folder = {**environment, "ENOUGH_THREAD_WORKER": "request"}
    manage(folder, "restore", str(tmp_path / "one.zip"), "--yes")
    is_sound(step(folder, "look"), designs=4)
    step(folder, "send", "2")
    manage(folder, "backup", str(tmp_path / "two.zip"))
    other = {**environment, **kept_in(server, folder="two"), "ENOUGH_THREAD_WORKER": "request"}
    lost = step(other, "look")
    assert len([each for each in lost["to_mend"] if "is missing" in each]) == 8  # seven designs, a photograph
    manage(other, "restore", str(tmp_path / "two.zip"), "--yes")
    is_sound(step(other, "look"), designs=7)
    answer = json.loads(manage(other, "export_all", str(tmp_path / "out"), "--format", "json"))
    assert (answer["designs"], answer["photographs"], answer["missing"]) == (7, 1, 0)

    # A damaged object is found, left out of no backup in silence, and mended by the next good upload.
    stored = step(other, "damage")
    (found,) = step(other, "look")["to_mend"]
    assert "The stitch file of" in found
    assert "is damaged" in found
    told = json.loads(manage(other, "backup", str(tmp_path / "three.zip"), "--format", "json"))
    assert told["damaged"] == [f"files/{stored}"]
    assert step(other, "mend") == 7
    is_sound(step(other, "look"), designs=7)


@pytest.mark.thorough
@pytest.mark.database
def test_a_bucket_that_does_not_answer_is_told_and_changes_nothing(
    server: str, environment: Environment, tmp_path: Path
) -> None:
    there = {**environment, **kept_in(server, folder="three"), "ENOUGH_THREAD_WORKER": "request"}
    step(there, "begin")
    manage(there, "backup", str(tmp_path / "good.zip"))
    away = {**there, **kept_in(f"http://127.0.0.1:{a_free_port()}", folder="three")}
    assert step(away, "send", "5") == 503
    seen = step(away, "look")
    assert seen["designs"] == 1
    assert ["watching", 200] in seen["answers"]
    assert seen["plan"]
    assert any("could not be looked at" in each for each in seen["to_mend"])
    assert {what for what, status in seen["answers"] if status == 503} >= {"stitch file", "photograph"}
    for words in (["backup", str(tmp_path / "bad.zip")], ["restore", str(tmp_path / "good.zip"), "--yes"]):
        refused = subprocess.run(
            [sys.executable, "manage.py", *words], env=away, cwd=HOUSE, capture_output=True, text=True, check=False
        )  # fmt: skip
        assert refused.returncode == 1
        assert "does not answer" in refused.stderr
        assert "Traceback" not in refused.stderr
    assert not (tmp_path / "bad.zip").exists()
    is_sound(step(there, "look"), designs=1)


@pytest.mark.thorough
def test_a_bucket_is_a_store_like_any_other(server: str, settings: Any) -> None:
    from inventory.kept_files.bucket import BucketStore

    given = {"bucket_name": "threads", "endpoint_url": server, "region_name": "us-east-1", "access_key": "key",
             "secret_key": "secret"}  # fmt: skip
    store = BucketStore(location="four", **given)
    assert list(store.under()) == []
    with pytest.raises(FileNotFoundError):
        store.read("designs/a")
    with pytest.raises(FileNotFoundError):
        store.size("designs/a")
    store.delete("designs/a")
    store.put("designs/a", b"old")
    store.put("designs/a", b"newer")
    store.put("lists/b", b"")
    assert store.read("designs/a") == b"newer"
    assert [(each.name, each.bytes) for each in store.under()] == [("designs/a", 5), ("lists/b", 0)]
    assert [each.name for each in store.under("lists/")] == ["lists/b"]
    assert list(BucketStore(location="fou", **given).under()) == []  # no part of another part
    with store.open("designs/a") as file:
        assert file.read() == b"newer"
    store.delete("designs/a")
    assert not store.exists("designs/a")
    with pytest.raises(StoreAway, match="does not let it"):
        BucketStore(location="", **{**given, "bucket_name": "nobodys"}).read("a")
