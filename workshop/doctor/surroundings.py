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
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.acting.days import plain_day, told_moment
from inventory.compute.spoken import figure
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
                AREA,
                _("The pages' own file {name} is missing.").format(name=name),
                _("Install Enough Thread again."),
            )
    backups = kept_backups(Path(settings.BACKUP_FOLDER))
    if not backups or at - backups[0].made_at > BACKUP_WITHIN:
        last = (
            _("The last backup here is of {day}.").format(day=plain_day(backups[0].made_at))
            if backups
            else _("No backup was made here.")
        )
        yield DoctorFinding(
            AREA,
            last,
            _("Make one: python3 manage.py backup --into {backup_folder} --keep 14").format(
                backup_folder=settings.BACKUP_FOLDER
            ),
            advice=True,
        )


def _folders() -> Iterator[DoctorFinding]:
    if problem := store_problem():
        yield DoctorFinding(
            AREA,
            _("Nothing can be written to {place} ({problem}).").format(
                place=store().in_words(), problem=problem
            ),
            _("See that it answers, and that this site may write there: FILES_URL, FILES_KEY, FILES_SECRET.")
            if store().is_far
            else _("Make room, or give the right to write."),
        )
    for folder in (Path(settings.DATA_FOLDER), Path(settings.BACKUP_FOLDER)):
        try:
            folder.mkdir(parents=True, exist_ok=True)
            with tempfile.NamedTemporaryFile(dir=folder):
                pass
        except OSError as problem:
            yield DoctorFinding(
                AREA,
                _("{folder} cannot be written ({strerror}).").format(
                    folder=folder, strerror=problem.strerror
                ),
                _("Make room, or give the right to write."),
            )
    free = shutil.disk_usage(settings.DATA_FOLDER).free
    if free < LEAST_FREE_BYTES:
        yield DoctorFinding(
            AREA,
            _("Only {free} MB are free on the disk of {folder}.").format(
                free=figure(free / 1e6), folder=settings.DATA_FOLDER
            ),
            _("Make room there."),
        )


def _clock(at: datetime) -> Iterator[DoctorFinding]:
    newest = Entry.objects.order_by("-at").values_list("at", flat=True).first()
    if newest is not None and newest - at > timedelta(hours=25):
        yield DoctorFinding(
            AREA,
            _("The clock says {now}, but an entry is of {then}.").format(
                now=told_moment(at), then=told_moment(newest)
            ),
            _("Set the computer's clock."),
        )


def _worker(at: datetime) -> Iterator[DoctorFinding]:
    waiting = LongWork.objects.waiting().filter(asked_at__lt=at - WORKER_WITHIN).count()
    if waiting and not alive(at=at).exists():
        yield DoctorFinding(
            AREA,
            ngettext(
                "{count} import, backup or other long work waits, and no process takes it.",
                "{count} imports, backups or other long work wait, and no process takes them.",
                waiting,
            ).format(count=waiting),
            _("Start a worker: python3 manage.py work")
            if settings.WORK_IN == "worker"
            else _("Start the site."),
        )


def _settings() -> Iterator[DoctorFinding]:
    strangers = set(settings.ALLOWED_HOSTS) - LOCAL
    if settings.DEBUG and strangers:
        yield DoctorFinding(
            AREA,
            _("DEBUG is on for a site that others reach: its pages tell its inside."),
            _("Start it without DEBUG."),
        )
    if strangers and not settings.HTTPS:
        yield DoctorFinding(
            AREA,
            _("Others reach this site without HTTPS."),
            _("Put it behind HTTPS and set ENOUGH_THREAD_HTTPS=1."),
            advice=True,
        )
    key = Path(settings.DATA_FOLDER) / "secret-key"
    if os.name != "nt" and key.exists() and stat.S_IMODE(key.stat().st_mode) & 0o077:
        yield DoctorFinding(
            AREA,
            _("Others on this computer may read the key that signs sessions."),
            _("Mend it with: python3 manage.py doctor --mend"),
            mend_now=partial(key.chmod, 0o600),
        )
