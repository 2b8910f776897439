"""What must hold between promises and what is set aside, and every place where it does not."""

from collections.abc import Sequence

from django.db.models import F, QuerySet

from inventory.compute.spoken import _
from inventory.compute.units import told_thread
from inventory.models import Reservation
from planning.models import Job, PromisedSpool

State = Job.State


def run_problems() -> list[str]:
    """Return a sentence for everything set aside that no job claims, and every spool that more was promised of than is.

    A job that is promised or running holds what is set aside in its name; nobody else's name is a job's.
    """
    open_jobs = Job.objects.filter(state__in=[State.PROMISED, State.RUNNING])
    return [*_held_by_nobody(), *_promised_twice(), *corrected_since(open_jobs)]


def corrected_since(jobs: QuerySet[Job] | Sequence[Job]) -> list[str]:
    """Return a sentence for each spool that ``jobs`` were promised with and that turned out to be another shade."""
    others = (
        PromisedSpool.objects.filter(
            thread__promise__job__in=jobs, thread__shade__isnull=False, item__spool__isnull=False
        )
        .exclude(item__spool__shade=F("thread__shade"))
        .select_related("thread", "item__spool__shade__range")
    )
    return [
        _(
            "{label} was promised as {thread} and is {shade}: promise the job anew, or put another spool on."
        ).format(label=turn.item.label, thread=turn.thread, shade=turn.item.spool.shade)
        for turn in others
    ]


def _held_by_nobody() -> list[str]:
    claims = {job.holder for job in Job.objects.filter(state__in=[State.PROMISED, State.RUNNING]).only("pk")}
    held = Reservation.objects.select_related("item").order_by("holder", "pk")
    return [
        _("{label}: {quantity} are set aside for {holder}, which claims nothing").format(
            label=each.item.label, quantity=each.quantity, holder=each.holder
        )
        for each in held
        if each.holder.startswith("job ") and each.holder not in claims
    ]


def _promised_twice() -> list[str]:
    """Find spools whose promised turns in jobs not begun yet need more than there is of them."""
    turns = (
        PromisedSpool.objects.filter(thread__promise__job__state=State.PROMISED)
        .select_related("item", "thread__promise__job")
        .order_by("item__label", "pk")
    )
    needs: dict[int, float] = {}
    of_jobs: dict[int, dict[int, str]] = {}
    items = {}
    for turn in turns:
        thread = turn.thread
        geometry_mm = thread.geometry_mm[turn.from_position - 1 : turn.to_position]
        items[turn.item_id] = turn.item
        needs[turn.item_id] = needs.get(turn.item_id, 0.0) + sum(geometry_mm) * thread.median
        of_jobs.setdefault(turn.item_id, {})[thread.promise.job_id] = str(thread.promise.job)
    return [
        _("{label}: promised to {jobs}, who need {need} of it; {there} are there").format(
            label=items[pk].label,
            jobs=_(" and ").join(of_jobs[pk].values()),
            need=told_thread(needs[pk]),
            there=told_thread(items[pk].on_hand),
        )
        for pk in needs
        if len(of_jobs[pk]) > 1 and needs[pk] > items[pk].on_hand
    ]
