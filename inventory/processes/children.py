"""Processes that read what strangers made: started, asked, and ended when they take too long."""

import json
import os
import selectors
import signal
import subprocess
import sys
import tempfile
import time
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Generic, TypeVar

Order = dict[str, Any]
Job = TypeVar("Job")

PACKAGE_ROOT = Path(__file__).resolve().parents[2]
# What a process needs to start at all; the site's keys and addresses are not for the child.
KEPT_ENVIRONMENT = ("PATH", "PYTHONPATH", "PYTHONHOME", "SYSTEMROOT", "LD_LIBRARY_PATH", "DYLD_LIBRARY_PATH")
CAN_STAND = hasattr(os, "fork")
CHUNK = 1024 * 1024


@dataclass(frozen=True)
class ChildAnswer:
    """How a process ended that read a file, what it wrote, and its last words.

    ``status`` is negative where a signal ended it, and None where it took too long.
    """

    status: int | None
    output: bytes = b""
    last_words: str = ""


def ask_once(program: str, data: bytes, order: Order, *, wall_seconds: float) -> ChildAnswer:
    """Return the answer of a process of ``program`` (a module) that is started for this one file."""
    try:
        child = subprocess.run(
            [*_command(program), json.dumps(order)],
            input=data,
            capture_output=True,
            timeout=wall_seconds,
            cwd=PACKAGE_ROOT,
            env=child_environment(),
        )
    except subprocess.TimeoutExpired:
        return ChildAnswer(None)
    return ChildAnswer(child.returncode, child.stdout, _last_line(child.stderr))


class StandingReaders(Generic[Job]):
    """Processes that read file after file, each file in a process forked for it. Ended by ``with``.

    A file on which one of them dies or takes too long costs no other file: a new one takes its place.
    """

    def __init__(self, processes: int, *, wall_seconds: float, program: tuple[str, ...]) -> None:
        self.program = program
        self.most = max(processes, 1)
        self.wall_seconds = wall_seconds
        self.idle: list[_StandingReader] = []
        self.busy: dict[_StandingReader, Job] = {}
        self.selector = selectors.DefaultSelector()

    def __enter__(self) -> "StandingReaders[Job]":
        return self

    def __exit__(self, *_: object) -> None:
        for reader in (*self.idle, *self.busy):
            reader.end()
        self.selector.close()

    def have_room(self) -> bool:
        return len(self.busy) < self.most

    def ask(self, job: Job, data: bytes, order: Order) -> None:
        """Give a file to one that is free."""
        reader = self.idle.pop() if self.idle else _StandingReader(self.program)
        if not reader.lives():
            reader.end()
            reader = _StandingReader(self.program)
        self.busy[reader] = job
        self.selector.register(reader.output, selectors.EVENT_READ, reader)
        reader.ask(data, order, deadline=time.monotonic() + self.wall_seconds)

    def next_answer(self) -> tuple[Job, ChildAnswer]:
        """Wait for whichever is done first, or has taken too long."""
        while True:
            first = min(reader.deadline for reader in self.busy)
            ready = self.selector.select(max(first - time.monotonic(), 0))
            for key, _ in ready:
                # An answer comes when the file is read; that nobody took it from here so far is no delay.
                key.data.deadline = time.monotonic() + self.wall_seconds
                answer = key.data.answer()
                if answer:
                    return self._settled(key.data, answer)
            overdue = [reader for reader in self.busy if reader.deadline <= time.monotonic()]
            if overdue and not ready:
                return self._settled(overdue[0], ChildAnswer(None))

    def _settled(self, reader: "_StandingReader", answer: ChildAnswer) -> tuple[Job, ChildAnswer]:
        self.selector.unregister(reader.output)
        if answer.status is None or not reader.lives():
            reader.end()
        else:
            self.idle.append(reader)
        return self.busy.pop(reader), answer


class _StandingReader:
    """One process that stands ready."""

    def __init__(self, program: tuple[str, ...]) -> None:
        self.words = tempfile.TemporaryFile()  # noqa: SIM115 - open for as long as the process lives
        self.process = subprocess.Popen(
            _command(*program),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self.words,
            cwd=PACKAGE_ROOT,
            env=child_environment(),
            start_new_session=True,  # so that it and what it has forked can be ended together
        )
        assert self.process.stdin
        assert self.process.stdout
        self.input, self.output = self.process.stdin, self.process.stdout
        self.written = bytearray()
        self.deadline = 0.0

    def lives(self) -> bool:
        return self.process.poll() is None

    def ask(self, data: bytes, order: Order, *, deadline: float) -> None:
        self.written.clear()
        self.deadline = deadline
        try:
            self.input.write(json.dumps(order | {"size": len(data)}).encode() + b"\n")
            self.input.write(data)
            self.input.flush()
        except BrokenPipeError:
            return  # it has died: its output has ended, and the answer will say so

    def answer(self) -> ChildAnswer | None:
        """Return the answer if all of it is there by now. Waits if nothing of it is there."""
        chunk = os.read(self.output.fileno(), CHUNK)
        if not chunk:
            return ChildAnswer(self.process.wait(), last_words=self._last_words())
        self.written += chunk
        line, ended, answer = self.written.partition(b"\n")
        if not ended:
            return None
        head = json.loads(line)
        if len(answer) < head["size"]:
            return None
        return ChildAnswer(head["status"], bytes(answer), self._last_words() if head["status"] else "")

    def end(self) -> None:
        if self.lives():
            os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()
        for end in (self.input, self.output, self.words):
            with suppress(BrokenPipeError):  # what was not sent yet is of no use any more
                end.close()

    def _last_words(self) -> str:
        # Read in place: the process writes where the file's pointer stands.
        size = os.fstat(self.words.fileno()).st_size
        return _last_line(os.pread(self.words.fileno(), 4096, max(size - 4096, 0)))


def _command(*program: str) -> list[str]:
    return [sys.executable, "-m", *program]


def child_environment() -> dict[str, str]:
    """Return what a child process needs of this one's environment."""
    kept = {key: os.environ[key] for key in KEPT_ENVIRONMENT if key in os.environ}
    paths = (str(PACKAGE_ROOT), kept.get("PYTHONPATH"))
    # A process that is forked for every file has no use for threads, which would not be forked with it.
    alone = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    return kept | alone | {"PYTHONPATH": os.pathsep.join(path for path in paths if path)}


def _last_line(text: bytes) -> str:
    return text.decode(errors="replace").strip().rpartition("\n")[2][:200]
