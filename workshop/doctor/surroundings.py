"""What the program stands on: folders, the disk, the clock, the worker, static files, settings and backups."""

import os
import shutil
import stat
import tempfile
from collections.abc import Iterator
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path

from django.conf import settings
from django.contrib.staticfiles.finders import find

from inventory.kept_files import store, store_problem
from inventory.models import Entry, LongWork
from inventory.work.queue import alive
from workshop.backup.making import kept_backups
from workshop.doctor.finding import DoctorFinding

AREA = "surroundings"
LEAST_FREE_BYTES = 500_000_000
NEED = ("workshop/tokens.css", "workshop/base.css")
BACKUP_WITHIN = timedelta(days=7)
WORKER_WITHIN = timedelta(minutes=15)
LOCAL = {"localhost", "127.0.0.1", "[::1]"}


def surroundings_findings(*, at: datetime) -> Iterator[DoctorFinding]:
    """Yield what is wrong around the program."""
    yield from _folders()
    yield from _clock(at)
    yield from _worker(at)
    yield from _settings()
    for name in NEED:
        if find(name) is None:
            yield DoctorFinding(
                AREA, f"The pages' own file {name} is missing.", "Install Enough Thread again."
            )
    backups = kept_backups(Path(settings.BACKUP_FOLDER))
    if not backups or at - backups[0].made_at > BACKUP_WITHIN:
        last = (
            f"The last backup here is of {backups[0].made_at:%d %b %Y}."
            if backups
            else "No backup was made here."
        )
        yield DoctorFinding(
            AREA,
            last,
            f"Make one: python3 manage.py backup --into {settings.BACKUP_FOLDER} --keep 14",
            advice=True,
        )


def _folders() -> Iterator[DoctorFinding]:
    if problem := store_problem():
        yield DoctorFinding(
            AREA,
            f"Nothing can be written to {store().in_words()} ({problem}).",
            "See that it answers, and that this site may write there: FILES_URL, FILES_KEY, FILES_SECRET."
            if store().is_far
            else "Make room, or give the right to write.",
        )
    for folder in (Path(settings.DATA_FOLDER), Path(settings.BACKUP_FOLDER)):
        try:
            folder.mkdir(parents=True, exist_ok=True)
            with tempfile.NamedTemporaryFile(dir=folder):
                pass
        except OSError as problem:
            yield DoctorFinding(
                AREA,
                f"{folder} cannot be written ({problem.strerror}).",
                "Make room, or give the right to write.",
            )
    free = shutil.disk_usage(settings.DATA_FOLDER).free
    if free < LEAST_FREE_BYTES:
        yield DoctorFinding(
            AREA,
            f"Only {free / 1e6:,.0f} MB are free on the disk of {settings.DATA_FOLDER}.",
            "Make room there.",
        )


def _clock(at: datetime) -> Iterator[DoctorFinding]:
    newest = Entry.objects.order_by("-at").values_list("at", flat=True).first()
    if newest is not None and newest - at > timedelta(hours=25):
        yield DoctorFinding(
            AREA,
            f"The clock says {at:%d %b %Y, %H:%M}, but an entry is of {newest:%d %b %Y, %H:%M}.",
            "Set the computer's clock.",
        )


def _worker(at: datetime) -> Iterator[DoctorFinding]:
    waiting = LongWork.objects.waiting().filter(asked_at__lt=at - WORKER_WITHIN).count()
    if waiting and not alive(at=at).exists():
        yield DoctorFinding(
            AREA,
            f"{waiting} imports, backups or other long work wait, and no process takes them.",
            "Start a worker: python3 manage.py work" if settings.WORK_IN == "worker" else "Start the site.",
        )


def _settings() -> Iterator[DoctorFinding]:
    strangers = set(settings.ALLOWED_HOSTS) - LOCAL
    if settings.DEBUG and strangers:
        yield DoctorFinding(
            AREA,
            "DEBUG is on for a site that others reach: its pages tell its inside.",
            "Start it without DEBUG.",
        )
    if strangers and not settings.HTTPS:
        yield DoctorFinding(
            AREA,
            "Others reach this site without HTTPS.",
            "Put it behind HTTPS and set ENOUGH_THREAD_HTTPS=1.",
            advice=True,
        )
    key = Path(settings.DATA_FOLDER) / "secret-key"
    if os.name != "nt" and key.exists() and stat.S_IMODE(key.stat().st_mode) & 0o077:
        yield DoctorFinding(
            AREA,
            "Others on this computer may read the key that signs sessions.",
            "Mend it with: python3 manage.py doctor --mend",
            mend_now=partial(key.chmod, 0o600),
        )
