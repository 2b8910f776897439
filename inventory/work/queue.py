"""The queue of long work: put in, taken up again from the dead, and cleared of what is long through."""

from collections.abc import Iterable
from contextlib import suppress
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.conf import settings
from django.db.models import Q, QuerySet
from django.utils.module_loading import import_string
from django_tasks import TaskResultStatus
from django_tasks_db.models import DBTaskResult

from inventory.acting import tried_again
from inventory.models import LongWork, WorkProcess

# Work that was in the hands of so many processes that died is not begun again: it may be what kills them.
MOST_DEATHS = 3
KEPT_FOR = timedelta(days=60)


def into_the_queue(work: LongWork) -> None:
    """Let the work have its turn; where requests carry out their own work, that is here and now."""
    turn = import_string(work.task_path).enqueue(work.pk)
    LongWork.objects.filter(pk=work.pk).update(task_id=turn.id)


def alive(*, at: datetime) -> QuerySet[WorkProcess]:
    """Return the processes that carry out long work now."""
    return WorkProcess.objects.filter(gone_at__isnull=True, seen_at__gte=at - settings.WORK_LOST_AFTER)


def take_up_lost(*, at: datetime) -> int:
    """Put work whose process died back into the queue, and return how much; of many who look at once, one does it."""
    return sum(_take_up(work, at=at) for work in [*_lost(at), *_never_taken(at)])


def _lost(at: datetime) -> list[LongWork]:
    return list(LongWork.objects.lost(at, after=settings.WORK_LOST_AFTER))


def _never_taken(at: datetime) -> list[LongWork]:
    """Return work that waits without a turn in the queue: whoever drew its turn died before taking it."""
    waiting = {work.task_id or str(work.pk): work for work in LongWork.objects.waiting()}
    if not waiting:
        return []
    living = set(alive(at=at).values_list("name", flat=True))
    turns = _turns(waiting).values_list("pk", "status", "worker_ids")
    has_turn = {
        str(turn)
        for turn, status, drawn_by in turns
        if status == TaskResultStatus.READY
        or (status == TaskResultStatus.RUNNING and drawn_by and drawn_by[-1] in living)
    }
    return [work for turn, work in waiting.items() if turn not in has_turn]


def _turns(names: Iterable[str]) -> QuerySet[DBTaskResult]:
    """Return the turns of these names; one that a request took for itself was never in the queue."""
    found = []
    for name in names:
        with suppress(ValueError):
            found.append(UUID(name))
    return DBTaskResult.objects.filter(pk__in=found)


def _take_up(work: LongWork, *, at: datetime) -> bool:
    same = LongWork.objects.open().filter(
        pk=work.pk, turns=work.turns, process=work.process_id, task_id=work.task_id
    )
    deaths = work.deaths + 1
    fields: dict[str, Any] = {"process": None, "turns": work.turns + 1, "deaths": deaths}
    if deaths >= MOST_DEATHS:
        fields |= {
            "ended_at": at,
            "failure": f"It was begun {deaths} times, and each time its process died. What was done stays.",
        }

    def take_up() -> bool:
        if not same.update(**fields):
            return False
        _turns([work.task_id]).filter(status=TaskResultStatus.RUNNING).update(
            status=TaskResultStatus.FAILED, finished_at=at, traceback="Its process died."
        )
        if deaths < MOST_DEATHS:
            into_the_queue(work)
        return True

    return tried_again(take_up)


def forget_old(*, at: datetime) -> None:
    """Clear away work, turns and processes that are long through."""
    before = at - KEPT_FOR
    LongWork.objects.filter(ended_at__lt=before).delete()
    DBTaskResult.objects.filter(finished_at__lt=before).delete()
    WorkProcess.objects.filter(Q(work__isnull=True), seen_at__lt=before).delete()
