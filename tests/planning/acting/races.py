"""Two processes do two acts at the same moment, again and again, and what came of it is looked at.

Run as ``python -m tests.planning.acting.races RACE ROUNDS`` on a database that nobody else uses now. Prints what it
saw. Each act has what a person was shown before either began.
"""

import json
import multiprocessing
import sys
import time
import traceback
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

import django

django.setup()

from django.db import connection  # noqa: E402  the database needs Django to be set up

from inventory.compute.errors import WorkshopError  # noqa: E402
from inventory.models import Entry, Order, Reservation, Spool, StabilizerRoll  # noqa: E402
from inventory.orders.orders import cancel_order  # noqa: E402
from planning.buying.drafting import draft_orders  # noqa: E402
from planning.buying.drafting import shown_of as basket_shown  # noqa: E402
from planning.cutting.cuts import fingerprint, jobs_to_cut, plan_cuts, post_cut  # noqa: E402
from planning.jobs.jobs import plan_of  # noqa: E402
from planning.models import Job, JobCut, RunEvent  # noqa: E402
from planning.run.finish import drop  # noqa: E402
from planning.run.promise import promise, same_again, take_promise_back  # noqa: E402
from planning.run.promise import shown_of as plan_shown  # noqa: E402
from planning.run.ticks import Happening, begin, note  # noqa: E402
from tests.planning.acting.scene import (  # noqa: E402
    NOW,
    a_job,
    a_new_key,
    another_red_spool,
    basket,
    clear,
    fresh,
    lay,
    set_up,
)
from workshop.doctor.database import database_findings  # noqa: E402
from workshop.doctor.stock import stock_problems  # noqa: E402

# About as long as an act reads before it has the shelf.
HEAD_START_S = 0.02
Act = Callable[[], Any]
forking = multiprocessing.get_context("fork")


@dataclass(frozen=True)
class Outcome:
    """What one hand was told: what it did, or the sentence that refused it, or how it failed."""

    did: Any = None
    refused: str = ""
    failed: str = ""

    @property
    def done(self) -> bool:
        return not (self.refused or self.failed)


@dataclass(frozen=True)
class Start:
    """Two acts that stand ready, and what must be so once both are over: a sentence for all that is not."""

    first: Act
    second: Act
    wrong: Callable[[Outcome, Outcome], list[str]]


@dataclass
class Seen:
    """What came of all the rounds."""

    rounds: int = 0
    first_alone: int = 0
    second_alone: int = 0
    both: int = 0
    problems: list[str] = field(default_factory=list)


def promise_promise() -> Start:
    jobs = a_job(), a_job()
    sure_mm = plan_of(jobs[0]).threads[0].spools[0].sure_mm
    lay(Spool.objects.earliest("pk"), round(1.6 * sure_mm))

    def wrong(*_: Outcome) -> list[str]:
        promised = Job.objects.filter(pk__in=[job.pk for job in jobs], state="promised").count()
        return [] if promised == 1 else [f"{promised} of two jobs are promised one spool"]

    return Start(promising(jobs[0]), promising(jobs[1]), one_of_them(wrong))


def cut_cut() -> Start:
    job = a_job(layered=True)
    held = StabilizerRoll.objects.earliest("pk").on_hand
    cut = plan_cuts(jobs_to_cut([job.pk]))
    taken = sum(each.plan.roll_mm for each in cut.cuts)

    def wrong(*_: Outcome) -> list[str]:
        left = StabilizerRoll.objects.earliest("pk").on_hand
        cuts = JobCut.objects.filter(job=job).count()
        return [] if (cuts, left) == (1, held - taken) else [f"{cuts} cuts took {held - left}, not {taken}"]

    return Start(cutting(job), cutting(job), one_of_them(wrong))


def cut_promise() -> Start:
    jobs = a_job(layered=True), a_job(layered=True)
    one_mm = sum(each.plan.roll_mm for each in plan_cuts(jobs_to_cut([jobs[0].pk])).cuts)
    lay(StabilizerRoll.objects.earliest("pk"), round(1.5 * one_mm))

    def wrong(*_: Outcome) -> list[str]:
        cut = JobCut.objects.filter(job=jobs[0]).exists()
        promised = fresh(jobs[1]).state == "promised"
        return [] if cut != promised else [f"cut: {cut}, promised: {promised}"]

    return Start(cutting(jobs[0]), promising(jobs[1]), one_of_them(wrong))


def draft_draft() -> Start:
    shown = _short_of_red()

    def wrong(*_: Outcome) -> list[str]:
        return _drafts(1)

    return Start(drafting(shown, a_new_key()), drafting(shown, a_new_key()), one_of_them(wrong))


def draft_sent_twice() -> Start:
    shown, key = _short_of_red(), a_new_key()

    def wrong(first: Outcome, second: Outcome) -> list[str]:
        return [*both_the_same(first, second), *_drafts(1)]

    return Start(drafting(shown, key), drafting(shown, key), wrong)


def again_sent_twice() -> Start:
    job, key = a_job(), a_new_key()

    def act() -> int:
        return same_again(fresh(job), pieces=6, at=NOW, by=None, key=key).pk

    def wrong(first: Outcome, second: Outcome) -> list[str]:
        made = Job.objects.filter(repeats=job).count()
        return [*both_the_same(first, second), *([] if made == 1 else [f"{made} jobs were made"])]

    return Start(act, act, wrong)


def tick_release() -> Start:
    job = _running()
    key = a_new_key()

    def release() -> None:
        drop(fresh(job), at=NOW)

    def wrong(tick: Outcome, release: Outcome) -> list[str]:
        held = Reservation.objects.filter(holder=job.holder).count()
        found = [f"{held} things are still set aside"] if held else []
        if not release.done or fresh(job).state != "dropped":
            found.append("the job was not dropped")
        if tick.done != RunEvent.objects.filter(job=job).exists():
            found.append("the tick is not there as it was told")
        return found

    return Start(ticking(job, key=key), release, wrong)


def tick_tick() -> Start:
    job = _running()

    def wrong(*_: Outcome) -> list[str]:
        ticks = RunEvent.objects.filter(job=job).count()
        return [] if ticks == 1 else [f"one piece is ticked {ticks} times"]

    return Start(ticking(job, key=a_new_key()), ticking(job, key=a_new_key()), one_of_them(wrong))


def swap_tick() -> Start:
    job = _running()
    on = Spool.objects.earliest("pk")
    other = another_red_spool()
    before = on.on_hand + other.on_hand
    swapped = Happening(
        "spool", key=a_new_key(), position=1, thread=1, label=other.label, instead_of=on.label
    )

    def swap() -> None:
        note(fresh(job), swapped, at=NOW, by=None)

    def wrong(swap: Outcome, tick: Outcome) -> list[str]:
        found = [] if swap.done and tick.done else ["not both happened"]
        after = sum(Spool.objects.filter(pk__in=[on.pk, other.pk]).values_list("on_hand", flat=True))
        spools = Entry.objects.filter(item__in=[on.pk, other.pk], key__startswith=f"run-{job.pk}-")
        moved = sum(spools.values_list("quantity", flat=True))
        # The tick alone, or where the swap came later: taken, put back, and taken of the spool that went on.
        if before - after != -moved or spools.count() not in (1, 3):
            found.append(f"{before - after} left the spools, {-moved} by {spools.count()} entries")
        return found

    return Start(swap, ticking(job, key=a_new_key()), wrong)


def begin_take_back() -> Start:
    job = a_job()
    promise(job, at=NOW, by=None)

    def start() -> None:
        begin(fresh(job), at=NOW)

    def back() -> None:
        take_promise_back(fresh(job), at=NOW)

    def wrong(*_: Outcome) -> list[str]:
        state, held = fresh(job).state, Reservation.objects.filter(holder=job.holder).exists()
        return [] if (state, held) in (("running", True), ("draft", False)) else [f"{state}, held: {held}"]

    return Start(start, back, one_of_them(wrong))


RACES = {
    race.__name__: race
    for race in (
        promise_promise, cut_cut, cut_promise, draft_draft, draft_sent_twice, again_sent_twice, tick_release,
        tick_tick, swap_tick, begin_take_back,
    )
}  # fmt: skip


def promising(job: Job) -> Act:
    shown, key = plan_shown(plan_of(job)), a_new_key()
    return lambda: promise(job, shown=shown, key=key, at=NOW, by=None).pk


def cutting(job: Job) -> Act:
    shown, key = fingerprint(plan_cuts(jobs_to_cut([job.pk])).cuts), a_new_key()
    return lambda: len(post_cut([job], shown=shown, key=key, at=NOW, by=None).entries)


def drafting(shown: str, key: str) -> Act:
    return lambda: [order.number for order in draft_orders(basket, key=key, shown=shown, at=NOW, by=None)]


def ticking(job: Job, *, key: str) -> Act:
    return lambda: note(fresh(job), Happening("piece", key=key, position=1), at=NOW, by=None).pk


def _running() -> Job:
    job = a_job()
    promise(job, at=NOW, by=None)
    begin(job, at=NOW)
    return job


def _short_of_red() -> str:
    for order in Order.objects.filter(state="draft"):
        cancel_order(order, at=NOW)
    a_job(pieces=60)
    lay(Spool.objects.earliest("pk"), 1_000)
    shown = basket()
    assert len(shown.parts) == 1
    return basket_shown(shown)


def _drafts(wanted: int) -> list[str]:
    drafts = Order.objects.filter(state="draft").count()
    return [] if drafts == wanted else [f"{drafts} orders are drafted"]


def one_of_them(wrong: Callable[..., list[str]]) -> Callable[[Outcome, Outcome], list[str]]:
    """Also want one of the two done and the other refused: never both, never neither."""

    def checked(first: Outcome, second: Outcome) -> list[str]:
        done = first.done + second.done
        return [*wrong(first, second), *([] if done == 1 else [f"{done} of two were done"])]

    return checked


def both_the_same(first: Outcome, second: Outcome) -> list[str]:
    same = first.done and second.done and first.did == second.did
    return [] if same else [f"sent twice, told {first} and {second}"]


def run(race: Callable[[], Start], *, rounds: int) -> Seen:
    """Return what ``rounds`` of ``race`` came to."""
    seen = Seen()
    set_up()
    for number in range(rounds):
        clear()
        start = race()
        # By turns neither, the first and the second has a head start, as far as the quicker act is ahead.
        ahead_s = ((0.0, 0.0), (0.0, HEAD_START_S), (HEAD_START_S, 0.0))[number % 3]
        first, second = at_once(start.first, start.second, waits_s=ahead_s)
        problems = [each.failed for each in (first, second) if each.failed] + start.wrong(first, second)
        problems += [str(problem) for problem, _ in stock_problems()]
        seen.problems += [f"round {number}: {problem}" for problem in problems]
        seen.rounds += 1
        seen.both += first.done and second.done
        seen.first_alone += first.done and not second.done
        seen.second_alone += second.done and not first.done
    seen.problems += [str(finding) for finding in database_findings()]
    return seen


def at_once(*acts: Act, waits_s: Sequence[float]) -> list[Outcome]:
    """Return what each act told, done in a process each, all let go at the same moment but for ``waits_s``."""
    connection.close()  # nothing open may cross into the hands
    barrier = forking.Barrier(len(acts))
    pipes = [forking.Pipe(duplex=False) for _ in acts]
    hands = [
        forking.Process(target=_hand, args=(act, barrier, wait_s, telling))
        for act, wait_s, (_, telling) in zip(acts, waits_s, pipes, strict=True)
    ]
    for hand in hands:
        hand.start()
    told = [Outcome(**listening.recv()) for listening, _ in pipes]
    for hand in hands:
        hand.join()
    return told


def _hand(act: Act, barrier: Any, wait_s: float, telling: Any) -> None:
    connection.ensure_connection()
    barrier.wait()
    time.sleep(wait_s)
    try:
        outcome = Outcome(did=act())
    except WorkshopError as refusal:
        outcome = Outcome(refused=str(refusal))
    except BaseException:
        outcome = Outcome(failed=traceback.format_exc())
    telling.send(asdict(outcome))


def main(words: Sequence[str]) -> None:
    name, rounds = words
    print(json.dumps(asdict(run(RACES[name], rounds=int(rounds)))))


if __name__ == "__main__":
    main(sys.argv[1:])
