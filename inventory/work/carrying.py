"""Carry out one piece of long work: taken by one alone, told how far it is, stopped, and ended once.

The queue may hand the same work out twice, and a process that was thought dead may come back: whoever takes the work
counts ``turns`` up, and whatever is written from then on is written only under that number.
"""

import logging
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from functools import wraps
from typing import Any

from django.contrib.auth.models import User
from django.db.models import F, Q
from django.db.models.functions import Coalesce
from django.utils import timezone
from django_tasks import task
from django_tasks.base import Task

from inventory.acting import tried_again
from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import N_
from inventory.models import LongWork
from inventory.work.queue import into_the_queue

logger = logging.getLogger(__name__)

# So often is it written how far the work is; nobody looks more often.
TOLD_EVERY_S = 0.3
WORDS_LENGTH, FAILURE_LENGTH = 300, 500


class Stopped(WorkshopError):
    """Somebody asked for the work to end here."""


class TakenOver(WorkshopError):
    """Another process has taken the work up, because this one had shown no sign of life."""


class LaidDown(WorkshopError):
    """This process is about to end, and leaves the work to the next."""


class Here(threading.local):
    """Which process of long work this thread belongs to, if any, and whether it is about to end."""

    process_id: int | None = None
    ending: threading.Event | None = None


HERE = Here()


@dataclass
class Carrying:
    """The work in the hands of whoever carries it out."""

    pk: int
    turn: int
    asked_at: datetime
    by: User | None
    last_told: float = field(default=0.0, repr=False)

    def progress(self, done: int, total: int, saying: str = "", *, always: bool = False) -> None:
        """Tell how far the work is. Raises Stopped, TakenOver and LaidDown, and then the work must end at once.

        With ``always`` it is written whenever it is called: within a transaction it then makes sure that nothing of
        it stays where somebody else has taken the work over.
        """
        now = time.monotonic()
        if not always and now - self.last_told < TOLD_EVERY_S:
            return
        self.last_told = now
        mine = LongWork.objects.open().filter(pk=self.pk, turns=self.turn)
        if not mine.update(done=done, total=max(total, done), saying=saying[:WORDS_LENGTH]):
            raise TakenOver(N_("Another process has taken this work up."))
        if mine.filter(stop_asked_at__isnull=False).exists():
            raise Stopped(N_("It was stopped. What was done until then stays."))
        if HERE.ending is not None and HERE.ending.is_set():
            raise LaidDown(N_("This process ends; the next one goes on with the work."))


def long_work(act: Callable[..., str]) -> "Task[[int], None]":
    """Make a task of ``act``: it is given what carries the work, and its arguments, and returns what came of it.

    It may be begun again after it was killed anywhere, and must then come to the same.
    """

    @wraps(act)
    def carry_out(work_id: int) -> None:
        _carry_out(work_id, act)

    return task()(carry_out)


def _carry_out(work_id: int, act: Callable[..., str]) -> None:
    taken = _take(work_id)
    if taken is None:
        return
    work, arguments = taken
    try:
        came_of_it = act(work, *arguments)
    except TakenOver:
        logger.warning("Work %s goes on elsewhere; this process leaves it.", work_id)
    except LaidDown:
        _lay_down(work)
    except Stopped as stop:
        _end(work, was_stopped=True, saying=str(stop)[:WORDS_LENGTH])
    except WorkshopError as refusal:
        _end(work, failure=str(refusal)[:FAILURE_LENGTH])
    except Exception as error:
        # Whoever waits must learn that it will not end; the cause goes on to the log.
        _end(
            work,
            failure=f"The program itself failed ({type(error).__name__}). What was done until then stays.",
        )
        raise
    else:
        _end(work, saying=came_of_it[:WORDS_LENGTH])


def _take(work_id: int) -> tuple[Carrying, list[Any]] | None:
    """Take the work for this process, unless it is through or another process has it."""

    def take() -> tuple[Carrying, list[Any]] | None:
        free = Q(process__isnull=True) | Q(process=HERE.process_id)
        if (
            not LongWork.objects.open()
            .filter(free, pk=work_id)
            .update(
                turns=F("turns") + 1,
                process=HERE.process_id,
                started_at=Coalesce("started_at", timezone.now()),
            )
        ):
            return None
        work = LongWork.objects.select_related("by").get(pk=work_id)
        return Carrying(work.pk, work.turns, work.asked_at, work.by), work.arguments

    return tried_again(take)


def _end(work: Carrying, **came_of_it: Any) -> None:
    mine = LongWork.objects.open().filter(pk=work.pk, turns=work.turn)
    tried_again(lambda: mine.update(ended_at=timezone.now(), **came_of_it))


def _lay_down(work: Carrying) -> None:
    """Give the work back to the queue."""
    mine = LongWork.objects.open().filter(pk=work.pk, turns=work.turn)

    def put_back() -> None:
        if mine.update(process=None, turns=F("turns") + 1):
            into_the_queue(LongWork.objects.get(pk=work.pk))

    tried_again(put_back)
