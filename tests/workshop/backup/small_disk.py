"""A disk of a few megabytes, to be filled to its last byte, and a PostgreSQL server that lives on one."""

import os
import shutil
import socket
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest


@contextmanager
def small_disk(place: Path, *, size: str) -> Iterator[Path]:
    """Mount a new disk at ``place``: in memory where that may be mounted, else in a file that is mounted as one."""
    if os.geteuid() != 0:
        pytest.skip("mounting a small disk needs the rights of root")
    place.mkdir()
    if subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", place]).returncode:
        image = place.with_suffix(".image")
        subprocess.run(["truncate", "-s", size, image], check=True)
        subprocess.run(["mkfs.ext4", "-q", "-m", "0", image], check=True)
        subprocess.run(["mount", "-o", "loop", image, place], check=True)
    try:
        yield place
    finally:
        subprocess.run(["umount", "-l", place], check=True)


class Server:
    """A PostgreSQL server of a test's own, with its data at ``place``."""

    def __init__(self, place: Path) -> None:
        found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
        if not found:
            pytest.skip("needs the programs of a PostgreSQL server")
        self.programs, self.place = found[-1].parent, place
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        place.mkdir()
        shutil.chown(place, "postgres")
        self._run("initdb", "-D", str(place), "-A", "trust", "-U", "enough", "--wal-segsize=1")

    @property
    def address(self) -> str:
        return f"postgres://enough@127.0.0.1:{self.port}"

    def start(self) -> None:
        options = (
            f"-p {self.port} -k {self.place} -c listen_addresses=127.0.0.1 -c fsync=off"
            " -c min_wal_size=2MB -c max_wal_size=4MB -c restart_after_crash=off"
        )
        self._run("pg_ctl", "-D", str(self.place), "-w", "-l", "/dev/null", "-o", options, "start")

    def stop(self) -> None:
        self._run("pg_ctl", "-D", str(self.place), "-m", "immediate", "stop", must=False)

    def carry_out(self, *statements: str) -> None:
        import psycopg

        with psycopg.connect(f"{self.address}/postgres", autocommit=True) as line:
            for each in statements:
                line.execute(each)

    def _run(self, program: str, *words: str, must: bool = True) -> None:
        subprocess.run(
            ["runuser", "-u", "postgres", "--", str(self.programs / program), *words],
            check=must,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            cwd="/",
        )
