"""Ask for long work, and ask it to stop."""

from collections.abc import Sequence
from datetime import datetime
from functools import partial
from typing import Any

from django.conf import settings
from django.db import transaction
from django.db.models import F, Q

from inventory.acting import tried_again
from inventory.models import LongWork
from inventory.work.queue import alive, forget_old, into_the_queue
from inventory.work.site import take, wake


def ask_for(
    task: Any,
    arguments: Sequence[Any] = (),
    *,
    key: str,
    what: str,
    at: datetime,
    by: Any = None,
    page: str = "",
    again: bool = False,
) -> LongWork:
    """Return the work that was asked for under ``key``, in the queue; asked for twice it is one.

    ``task`` is made by ``long_work``; ``arguments`` must be such as JSON holds. ``page`` is where what comes of it is
    seen. With ``again``, work that failed or was stopped is begun again. Where requests carry out their own work
    (``WORK_IN``), it is through when this returns.
    """
    in_queue = settings.WORK_IN != "request"

    def ask() -> tuple[LongWork, bool]:
        work, is_new = LongWork.objects.get_or_create(
            key=key,
            defaults={
                "what": what[:200],
                "page": page,
                "task_path": task.module_path,
                "arguments": list(arguments),
                "by": by if getattr(by, "pk", None) else None,
                "asked_at": at,
            },
        )
        is_new = is_new or (again and _reopen(work))
        if is_new and in_queue:
            into_the_queue(work)
        return work, is_new

    work, is_new = tried_again(ask)
    if is_new:
        forget_old(at=at)
    work.refresh_from_db()
    if not in_queue and work.ended_at is None:
        into_the_queue(work)
        work.refresh_from_db()
    elif settings.WORK_IN == "site":
        transaction.on_commit(wake)
    return work


def begin_again(work: LongWork) -> None:
    """Put work that failed or was stopped into the queue again; what is through for good stays so."""

    def again() -> None:
        if _reopen(work):
            into_the_queue(LongWork.objects.get(pk=work.pk))

    tried_again(again)


def _reopen(work: LongWork) -> bool:
    over = Q(was_stopped=True) | ~Q(failure="")
    opened = LongWork.objects.filter(over, pk=work.pk, ended_at__isnull=False).update(
        ended_at=None, process=None, turns=F("turns") + 1, deaths=0, failure="", was_stopped=False,
        stop_asked_at=None, stopped_by=None,
    )  # fmt: skip
    return bool(opened)


def ask_to_stop(work: LongWork, *, at: datetime, by: Any) -> None:
    """Ask whoever carries the work out to end it at the next step; asked twice, or too late, nothing changes.

    Where nobody has it yet, or nobody lives who could hear it, the site takes this work, and no other, to end it.
    """
    LongWork.objects.open().filter(pk=work.pk, stop_asked_at__isnull=True).update(
        stop_asked_at=at, stopped_by=by
    )
    unheard = LongWork.objects.waiting().filter(pk=work.pk).exists() or not alive(at=at).exists()
    if settings.WORK_IN != "request" and unheard:
        transaction.on_commit(partial(take, work.pk))


def do_here(work: LongWork) -> None:
    """Have this very process carry the work out, and no other, even where workers should."""
    if settings.WORK_IN != "request":
        transaction.on_commit(partial(take, work.pk))
