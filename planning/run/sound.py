"""What must hold between promises and what is set aside, and every place where it does not."""

from inventory.compute.spoken import _, figure
from inventory.models import Reservation, Spool
from planning.models import Job, PromisedSpool

State = Job.State


def run_problems() -> list[str]:
    """Return a sentence for everything set aside that no job claims, and every spool that more was promised of than is.

    A job that is promised or running holds what is set aside in its name; nobody else's name is a job's.
    """
    open_jobs = Job.objects.filter(state__in=[State.PROMISED, State.RUNNING])
    corrected = [sentence for job in open_jobs for sentence in corrected_since(job)]
    return [*_held_by_nobody(), *_promised_twice(), *corrected]


def corrected_since(job: Job) -> list[str]:
    """Return a sentence for each spool that ``job`` was promised with and that has turned out to be another shade."""
    turns = PromisedSpool.objects.filter(
        thread__promise__job=job, thread__shade__isnull=False
    ).select_related("thread")
    spools = Spool.objects.select_related("shade__range").in_bulk([turn.item_id for turn in turns])
    return [
        _(
            "{label} was promised as {thread} and is {shade}: promise the job anew, or put another spool on."
        ).format(
            label=spool.label,
            thread=turn.thread,
            shade=f"{spool.shade.range} {spool.shade.code} {spool.shade.name}".strip(),
        )
        for turn in turns
        if (spool := spools.get(turn.item_id)) is not None and spool.shade_id != turn.thread.shade_id
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
        _("{label}: promised to {jobs}, who need {need} m of it; {there} m are there").format(
            label=items[pk].label,
            jobs=_(" and ").join(of_jobs[pk].values()),
            need=figure(needs[pk] / 1000, 1),
            there=figure(items[pk].on_hand / 1000, 1),
        )
        for pk in needs
        if len(of_jobs[pk]) > 1 and needs[pk] > items[pk].on_hand
    ]
