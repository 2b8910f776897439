"""Acts on plans that are killed in the middle, by the machinery of ``tests.inventory.ledger.victims``.

Run as ``python -m tests.planning.acting.deaths SCRIPT KILLS SEED`` on a database that nobody else uses now.
"""

import json
import random
import sys
from collections.abc import Callable, Sequence
from dataclasses import asdict

import django

django.setup()

from inventory.models import Change, Entry, Order, Reservation, Spool, StabilizerRoll, StockItem  # noqa: E402
from inventory.orders.orders import cancel_order  # noqa: E402
from planning.buying.drafting import draft_orders  # noqa: E402
from planning.cutting.cuts import post_cut  # noqa: E402
from planning.models import Job, JobCut, Promise, RunEvent, RunReport  # noqa: E402
from planning.run.finish import Ending, finish  # noqa: E402
from planning.run.promise import promise, same_again  # noqa: E402
from planning.run.ticks import Happening, begin, note  # noqa: E402
from tests.inventory.ledger.victims import ActScript, kill_again_and_again  # noqa: E402
from tests.planning.acting.scene import (  # noqa: E402
    NOW,
    a_job,
    another_red_spool,
    basket,
    fresh,
    lay,
    set_up,
)
from workshop.doctor.stock import stock_problems  # noqa: E402


def one_job() -> Job:
    return fresh(Job.objects.earliest("pk"))


def promised(key: str) -> None:
    promise(one_job(), key=key, at=NOW, by=None)


def promised_whole(key: str) -> bool:
    job = one_job()
    frozen = Promise.objects.filter(job=job, threads__spools__isnull=False).exists()
    return job.state == "promised" and frozen and Reservation.objects.filter(holder=job.holder).exists()


def changed(prefix: str) -> Callable[[Sequence[str]], set[str]]:
    """Return which keys the journal of changes has, under this prefix and the first job's number."""

    def there(keys: Sequence[str]) -> set[str]:
        written = {f"{prefix}-{one_job().pk}-{key}": key for key in keys}
        return {written[key] for key in Change.objects.filter(key__in=written).values_list("key", flat=True)}

    return there


def many_metres() -> None:
    set_up()
    lay(StabilizerRoll.objects.earliest("pk"), 10_000_000)


def cut(key: str) -> None:
    post_cut([a_job(pieces=2, layered=True)], shown=None, key=key, at=NOW, by=None)


def cut_there(keys: Sequence[str]) -> set[str]:
    written = set(Entry.objects.filter(key__startswith="cut-").values_list("key", flat=True))
    written |= set(JobCut.objects.values_list("key", flat=True))
    return {key.split("-", 2)[2] for key in written} & set(keys)


def cut_whole(key: str) -> bool:
    noted = JobCut.objects.filter(key__endswith=f"-{key}").first()
    return noted is not None and Entry.objects.filter(key=noted.key, quantity__lt=0).exists()


def to_buy() -> None:
    set_up()
    a_job(pieces=60)
    lay(Spool.objects.earliest("pk"), 1_000)


def draft(key: str) -> None:
    # What waits as a draft is not drafted again.
    for order in Order.objects.filter(state=Order.State.DRAFT):
        cancel_order(order, at=NOW)
    draft_orders(basket, key=key, at=NOW, by=None)


def drafted(keys: Sequence[str]) -> set[str]:
    return {key.partition(":")[0] for key in Order.objects.values_list("key", flat=True)} & set(keys)


def drafted_whole(key: str) -> bool:
    return all(order.lines.exists() for order in Order.objects.filter(key__startswith=f"{key}:"))


def repeat(key: str) -> None:
    same_again(one_job(), pieces=6, key=key, at=NOW, by=None)


def repeated_whole(key: str) -> bool:
    made = Job.objects.filter(pk=Change.objects.get(key__endswith=f"-{key}").record).first()
    return made is not None and made.repeats_id is not None and made.placed.count() == 1


def a_run() -> None:
    set_up()
    another_red_spool()
    lay(Spool.objects.earliest("pk"), 100_000_000)
    job = a_job(pieces=2_000)
    promise(job, at=NOW, by=None, although_short=True)
    begin(fresh(job), at=NOW)


def tick(key: str) -> None:
    note(one_job(), Happening("piece", key=key), at=NOW, by=None)


def swap(key: str) -> None:
    """Put the spool on that is not on now."""
    last = RunEvent.objects.filter(kind="spool").order_by("-pk").first()
    spools = list(Spool.objects.order_by("pk"))
    other = spools[0] if last is not None and last.item_id == spools[1].pk else spools[1]
    note(one_job(), Happening("spool", key=key, thread=1, label=other.label), at=NOW, by=None)


def noted(keys: Sequence[str]) -> set[str]:
    written = {f"{one_job().pk}-{key}": key for key in keys}
    there = set(RunEvent.objects.filter(key__in=written).values_list("key", flat=True))
    there |= {key.removeprefix("run-") for key in Entry.objects.values_list("key", flat=True)} & set(written)
    return {written[key] for key in there}


def ticked_whole(key: str) -> bool:
    event = RunEvent.objects.filter(key=f"{one_job().pk}-{key}").first()
    return event is not None and Entry.objects.filter(key=f"run-{event.key}", reason="use").exists()


def swapped_whole(key: str) -> bool:
    held = Reservation.objects.filter(holder=one_job().holder, item__kind=StockItem.Kind.SPOOL)
    return RunEvent.objects.filter(key=f"{one_job().pk}-{key}", item__isnull=False).exists() and held.exists()


def end(key: str) -> None:
    job = a_job(pieces=1)
    Job.objects.filter(pk=job.pk).update(what=key)
    promise(job, at=NOW, by=None)
    begin(fresh(job), at=NOW)
    finish(fresh(job), Ending(although_unfinished=True), at=NOW, by=None)


def ended(keys: Sequence[str]) -> set[str]:
    by_state = Job.objects.filter(what__in=keys, state="finished").values_list("what", flat=True)
    by_report = RunReport.objects.filter(job__what__in=keys).values_list("job__what", flat=True)
    return {*by_state, *by_report}


def ended_whole(key: str) -> bool:
    job = Job.objects.get(what=key)
    held = Reservation.objects.filter(holder=job.holder).exists()
    return job.state == "finished" and RunReport.objects.filter(job=job).exists() and not held


def wrong() -> list[str]:
    return [str(problem) for problem, _ in stock_problems()]


SCRIPTS = {
    script.name: script
    for script in (
        ActScript(
            "promise", lambda: (set_up(), a_job()), promised, promised_whole, changed("promise"), wrong
        ),
        ActScript("cut", many_metres, cut, cut_whole, cut_there, wrong),
        ActScript("draft", to_buy, draft, drafted_whole, drafted, wrong),
        ActScript("repeat", lambda: (set_up(), a_job()), repeat, repeated_whole, changed("again"), wrong),
        ActScript("tick", a_run, tick, ticked_whole, noted, wrong),
        ActScript("swap", a_run, swap, swapped_whole, noted, wrong),
        ActScript("finish", set_up, end, ended_whole, ended, wrong),
    )
}


def main(words: Sequence[str]) -> None:
    name, kills, seed = words
    seen = kill_again_and_again(SCRIPTS[name], kills=int(kills), rng=random.Random(int(seed)))
    print(json.dumps(asdict(seen)))


if __name__ == "__main__":
    main(sys.argv[1:])
