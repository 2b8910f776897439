"""Take one piece of long work after the other, and say again and again that this process lives."""

import logging
import os
import platform
import threading
from collections.abc import Callable
from contextlib import suppress
from typing import Any

from django.conf import settings
from django.db import DatabaseError, close_old_connections, connection
from django.utils import timezone
from django.utils.crypto import get_random_string
from django.utils.module_loading import import_string
from django_tasks_db.management.commands.db_worker import Worker
from django_tasks_db.models import DBTaskResult

from inventory.models import LongWork, WorkProcess
from inventory.work.carrying import HERE
from inventory.work.queue import take_up_lost

logger = logging.getLogger(__name__)
QUEUE = "default"


def work_on(
    *,
    kind: str,
    ending: threading.Event,
    wake: threading.Event,
    interval_s: float,
    through: Callable[[], bool] = lambda: False,
) -> None:
    """Carry out what is in the queue until ``ending`` is set, or until it is empty and ``through`` says to end.

    A process that says nothing for ``WORK_LOST_AFTER`` is thought dead, and others take up what it had.
    """
    name = _own_name()
    with _Heart(name, kind) as heart:
        HERE.process_id, HERE.ending = heart.process_id, ending
        while not ending.is_set():
            wake.clear()
            close_old_connections()
            try:
                take_up_lost(at=timezone.now())
                if _ready().exists():
                    _one(name)
                    continue
                if through():
                    break
            except DatabaseError as trouble:
                # Of a database that is away, locked or being updated for a while.
                logger.warning("Long work waits: %s", trouble)
                connection.close()
            wake.wait(interval_s)
        HERE.process_id, HERE.ending = None, None
    connection.close()


def work_on_one(work_id: int, *, kind: str, ending: threading.Event) -> None:
    """Carry out one piece of work and no other, whether its turn has come or not; one that others have is left."""
    with _Heart(_own_name(), kind) as heart:
        HERE.process_id, HERE.ending = heart.process_id, ending
        take_up_lost(at=timezone.now())  # it may be in the hands of one who died
        work = LongWork.objects.open().filter(pk=work_id).first()
        if work is not None:
            import_string(work.task_path).func(work_id)
        HERE.process_id, HERE.ending = None, None
    connection.close()


def _own_name() -> str:
    return f"{platform.node()[:60]}:{os.getpid()}:{get_random_string(8)}"


def _ready() -> Any:
    return DBTaskResult.objects.ready().filter(queue_name=QUEUE)


def _one(name: str) -> None:
    """Have the library draw one turn and carry it out."""
    Worker(
        queue_names=[QUEUE],
        interval=0,
        batch=True,
        backend_name="default",
        startup_delay=False,
        max_tasks=1,
        worker_id=name,
        excluded_queue_names=[],
    ).run()


class _Heart:
    """Writes down, from a thread of its own, that the process lives; takes its leave at the end."""

    def __init__(self, name: str, kind: str) -> None:
        self.name, self.kind = name, kind
        self.stopped = threading.Event()
        self.process_id = 0

    def __enter__(self) -> "_Heart":
        now = timezone.now()
        self.process_id = WorkProcess.objects.create(
            name=self.name, kind=self.kind, since=now, seen_at=now
        ).pk
        self.thread = threading.Thread(target=self._beat, name="heart", daemon=True)
        self.thread.start()
        return self

    def _beat(self) -> None:
        while not self.stopped.wait(settings.WORK_BEAT_S):
            try:
                close_old_connections()
                WorkProcess.objects.filter(pk=self.process_id).update(seen_at=timezone.now())
            except DatabaseError as trouble:
                logger.warning("The database did not take a sign of life: %s", trouble)
                connection.close()
        connection.close()

    def __exit__(self, *trouble: object) -> None:
        self.stopped.set()
        self.thread.join()
        with suppress(DatabaseError):  # it is then thought dead a little later
            WorkProcess.objects.filter(pk=self.process_id).update(gone_at=timezone.now())


def is_work_open() -> bool:
    """Return whether anything waits, or was left by a process that died."""
    return LongWork.objects.open().exists()
