"""A workshop under load: site processes and workers as they are served, many clients, and some that are killed.

Run as ``python -m tests.workshop.load.many WHAT`` on a database that nobody else uses now; WHAT is JSON with the fields
of ``Load``. Site processes listen on ports of their own, as on several machines behind a proxy: a client whose line
breaks sends the very same request to the next, as a proxy or a person would. Prints what came of it.
"""

import http.client
import json
import os
import signal
import statistics
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.planning.acting.clients import SPOOLS, Hand, let_work, signed_in, stock_the_workshop, wait_for

from django.conf import settings  # isort: skip  the clients set Django up
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import close_old_connections, connection
from django.urls import reverse
from django.utils import timezone

from inventory.models import LongWork, Spool, StockItem
from inventory.work import ask_for
from planning.library.importing import receive_files
from planning.models import Design, ImportRun, Job, RunEvent
from planning.tasks import carry_out_import
from tests.inventory.work.slow import make_places
from tests.own_database import HOUSE
from tests.workshop.load.designs import small_design
from tests.workshop.load.sizes import FILES, PAUSE_S, STEPS
from workshop.doctor.examine import examine
from workshop.management.commands.serve import granian_command
from workshop.tasks import make_backup

LONGEST_WORK_S = 180
LOG = Path(settings.DATA_FOLDER) / "processes.log"
PAGES = ("today", "jobs", "shelf", "designs", "buying", "orders", "running_out", "help", "equivalents")


@dataclass(frozen=True)
class Load:
    """How much of everything."""

    clients: int
    seconds: float
    ports: Sequence[int]  # of each site process
    workers: int = 0
    work: int = 0  # so many pieces of long work, and as many imports beside a backup
    kill: bool = False  # one site process and one worker, in the middle


class Visitor(Hand):
    """A client that looks at pages more often than it acts, and goes to the next site process where one is gone."""

    def __init__(self, number: int, *, ports: Sequence[int], session: str) -> None:
        super().__init__(number, port=ports[number % len(ports)], session=session)
        self.ports, self.moves = list(ports), 0

    def acts(self, spools: list[str]) -> Any:
        return {**super().acts(spools), "look": (25, lambda: self.look(spools))}

    def look(self, spools: list[str]) -> bool:
        job = self._a_job("draft", "promised", "running")
        addresses = [reverse(name) for name in PAGES]
        addresses += [reverse("item", args=[self.rng.choice(spools)]), f"{reverse('find')}?q=red"]
        addresses += [reverse("job", args=[job])] if job else []
        status, _ = self.ask(self.rng.choice(addresses))
        return status == 200

    def answer(
        self, method: str, address: str, body: str | None, headers: Mapping[str, str]
    ) -> tuple[http.client.HTTPResponse, str]:
        for _ in self.ports:
            try:
                return super().answer(method, address, body, headers)
            except (OSError, http.client.HTTPException):
                self.line.close()
                here = self.ports.index(self.line.port)
                self.line = http.client.HTTPConnection(
                    "127.0.0.1", self.ports[(here + 1) % len(self.ports)], timeout=120
                )
                self.moves += 1
        return super().answer(method, address, body, headers)


def started(words: Sequence[str], more: Mapping[str, str]) -> subprocess.Popen[bytes]:
    """Start a process in a group of its own, so that it can be killed with its children; its log goes to a file."""
    with LOG.open("ab") as log:
        return subprocess.Popen(
            list(words), cwd=HOUSE, env={**os.environ, **more, "ENOUGH_THREAD_LOG": "json"},
            start_new_session=True, stdout=log, stderr=log,
        )  # fmt: skip


def faults() -> list[str]:
    """Return the end of each traceback in the log: what lies behind an answer of 500."""
    found: list[str] = []
    for line in LOG.read_text(errors="replace").splitlines():
        with suppress(ValueError):  # the server's own words, or a line that a kill cut short
            found += [each[-1500:] for each in [json.loads(line).get("traceback")] if each]
    return found


def kill_all_of(process: subprocess.Popen[bytes]) -> None:
    with suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)
    process.wait()


def ask_for_work(number: int) -> None:
    """Ask for long work of every kind there is."""
    now = timezone.now()
    for each in range(number):
        ask_for(make_places, (STEPS, PAUSE_S, f"row {each}"), key=f"slow {each}", what="", at=now)
        files = [
            SimpleUploadedFile(f"{each}-{name}.vp3", small_design(each * FILES + name))
            for name in range(FILES)
        ]
        run = receive_files(files, at=now)
        ask_for(carry_out_import, (run.pk,), key=f"import {run.pk}", what="Import", at=now)
    ask_for(make_backup, (False,), key="backup", what="Backup", at=now)


def main() -> None:
    load = Load(**json.loads(sys.argv[1]))
    spools = stock_the_workshop()
    designs = Design.objects.count()
    sessions = signed_in(load.clients)
    more = {"ENOUGH_THREAD_SERVED": "yes", "ENOUGH_THREAD_WORKER": "yes" if load.workers else ""}
    subprocess.run(
        [sys.executable, "manage.py", "collectstatic", "--no-input", "-v", "0"],
        cwd=HOUSE, env={**os.environ, **more}, check=True,
    )  # fmt: skip
    sites = [started(granian_command("127.0.0.1", port, 1), more) for port in load.ports]
    workers = [started([sys.executable, "manage.py", "work"], more) for _ in range(load.workers)]
    try:
        for port in load.ports:
            wait_for(port)
        if load.work:
            ask_for_work(load.work)
        visitors = [
            Visitor(number, ports=load.ports, session=session) for number, session in enumerate(sessions)
        ]
        killer = threading.Timer(
            load.seconds / 2, lambda: [kill_all_of(each) for each in (sites[0], workers[0])]
        )
        if load.kill:
            killer.start()
        for visitor in visitors[: len(load.ports)]:
            warm_up(visitor, spools)
        began = time.monotonic()
        let_work(visitors, seconds=load.seconds, spools=spools)
        took_s = time.monotonic() - began
        _wait_for_work()
    finally:
        for each in (*sites, *workers):
            if each.poll() is None:
                each.terminate()
        for each in (*sites, *workers):
            try:
                each.wait(30)
            except subprocess.TimeoutExpired:
                kill_all_of(each)
    close_old_connections()
    print(json.dumps(told_of(visitors, load=load, took_s=took_s, designs_before=designs)))


def warm_up(visitor: Visitor, spools: list[str]) -> None:
    """Have a site process load what it loads with its first pages: that is no part of what it can answer."""
    for _ in range(2):
        for name in PAGES:
            visitor.ask(reverse(name))
        visitor.ask(reverse("item", args=[spools[0]]))
    visitor.seconds.clear()


def _wait_for_work() -> None:
    until = time.monotonic() + LONGEST_WORK_S
    while LongWork.objects.open().exists() and time.monotonic() < until:
        time.sleep(0.5)
    connection.close()


def told_of(visitors: Sequence[Visitor], *, load: Load, took_s: float, designs_before: int) -> dict[str, Any]:
    told = sum((each.told for each in visitors), Counter[str]())
    seconds = [second for each in visitors for second in each.seconds]
    cuts = statistics.quantiles(seconds, n=100)
    return {
        "requests": len(seconds),
        "requests_a_second": round(len(seconds) / took_s, 1),
        "p50_s": round(cuts[49], 3), "p95_s": round(cuts[94], 3), "p99_s": round(cuts[98], 3),
        "slowest_s": round(max(seconds), 2),
        "acts": sum(told.values()),
        "told": dict(sorted(told.items())),
        "moves": sum(each.moves for each in visitors),
        "errors": [error for each in visitors for error in each.errors],
        "faults": faults(),
        "oversold": [
            item.label for item in StockItem.objects.all() if item.on_hand < 0 or item.reserved > item.on_hand
        ],
        "doctor": [
            each.what for each in examine(at=timezone.now(), mend=False).findings if not each.advice
        ],
        # What was told to have been done, and what is there.
        "ticks": [told["tick, done"], RunEvent.objects.filter(kind="piece").count()],
        "spools": [told["receive, done"], Spool.objects.count() - SPOOLS],
        "jobs": [told["same again, done"], Job.objects.count()],
        "work": [
            {"key": each.key, "state": each.state, "made": each.what, "deaths": each.deaths, "says": each.failure}
            for each in LongWork.objects.all()
        ],
        "imports": [
            {"found": run.found, "done": run.done, "rows": run.files.count(), "kept": run.kept}
            for run in ImportRun.objects.all()
        ],
        "designs": Design.objects.count() - designs_before,
        "backups": len(list(Path(settings.BACKUP_FOLDER).glob("*.zip"))),
    }  # fmt: skip


if __name__ == "__main__":
    main()
