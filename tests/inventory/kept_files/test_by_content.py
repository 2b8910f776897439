"""Files kept by content: whole or not at all, never trusted by their name, replaced when damaged."""

import hashlib
import os
import subprocess
from pathlib import Path

import pytest

from inventory.kept_files import (
    DamagedFile,
    FileNotKept,
    KeptFile,
    keep_file,
    read_kept,
    state_of,
    write_whole,
)
from tests.stored import place_of

CONTENT = b"a stitch file" * 1000
SHA = hashlib.sha256(CONTENT).hexdigest()


@pytest.fixture
def kept(settings, tmp_path) -> KeptFile:
    settings.MEDIA_ROOT = tmp_path
    return KeptFile(f"designs/{SHA[:2]}/{SHA}.pes", SHA, "cap.pes")


def test_what_is_kept_is_read_back(kept):
    keep_file(kept, CONTENT)
    assert read_kept(kept) == CONTENT
    assert state_of(kept, size_bytes=len(CONTENT)) == "good"


def test_what_is_not_there_is_said(kept):
    assert state_of(kept) == "missing"
    with pytest.raises(FileNotKept, match=r"cap\.pes is missing"):
        read_kept(kept)


@pytest.mark.parametrize("left", [b"", CONTENT[:100], CONTENT[:-1] + b"?"])
def test_a_damaged_one_is_refused_and_the_next_good_upload_takes_its_place(kept, left):
    place_of(kept).parent.mkdir(parents=True)
    place_of(kept).write_bytes(left)
    with pytest.raises(DamagedFile, match="Send the same file again"):
        read_kept(kept)
    keep_file(kept, CONTENT)
    assert read_kept(kept) == CONTENT


def test_nothing_false_is_kept(kept):
    with pytest.raises(DamagedFile):
        keep_file(kept, b"something else")
    assert state_of(kept) == "missing"


def test_a_failed_writing_leaves_the_old_file_and_nothing_else(tmp_path, monkeypatch):
    path = tmp_path / "kept"
    path.write_bytes(b"old")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space"):
        write_whole(path, b"new")
    assert [each.name for each in tmp_path.iterdir()] == ["kept"]
    assert path.read_bytes() == b"old"


@pytest.fixture
def small_disk(tmp_path):
    """A disk of one megabyte, where a test may mount one."""
    place = tmp_path / "small"
    place.mkdir()
    if (
        os.geteuid() != 0
        or subprocess.run(["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", place]).returncode
    ):
        pytest.skip("mounting a small disk needs the rights of root")
    yield place
    subprocess.run(["umount", place], check=True)


def test_a_full_disk_is_told_and_works_again_once_there_is_room(small_disk: Path, settings):
    settings.MEDIA_ROOT = small_disk
    content = b"x" * 600_000
    kept = KeptFile("imports/a", hashlib.sha256(content).hexdigest(), "the list")
    (small_disk / "filler").write_bytes(b"y" * 700_000)
    with pytest.raises(OSError, match="No space left"):
        keep_file(kept, content)
    assert state_of(kept) == "missing"
    assert not list((small_disk / "imports").iterdir())
    (small_disk / "filler").unlink()
    keep_file(kept, content)
    assert read_kept(kept) == content
