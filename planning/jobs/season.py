"""How all waiting jobs stand: in their turn, if one came first, and each alone; worked out once for what they rest on.

What was worked out is kept in the process under marks of all that it rests on (``planning.jobs.rests_on``), so that
every page and command tells the same, and only what an act has changed is worked out anew. Nothing is kept longer
than the marks hold: they are read from the database each time.
"""

import threading
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar, cast

from django.db.models import Q, QuerySet

from inventory.compute.errors import WorkshopError
from inventory.compute.left_out import LeftOut
from inventory.compute.spoken import _
from inventory.models import StockItem
from planning.compute.batch.asked import BobbinStock, Shelf
from planning.compute.batch.plan import BatchPlan
from planning.compute.batch.taking import claims
from planning.compute.season.minutes import minutes_of
from planning.compute.season.stand import ReadyBatch, SeasonShelf, Stood, make_ready, stand
from planning.jobs.jobs import NotInThisState
from planning.jobs.rests_on import RestsOn, marks_now
from planning.jobs.turns import Shelves, Standing, bobbins_after
from planning.models import Job
from planning.plan.ask import chosen_machine, terms_on
from planning.plan.hooping import hooping_of

State = Job.State
Answer = TypeVar("Answer")
# So many answers are kept, and of each waiting job so many parts of standings (one for each of its threads, and a few
# more) and what it is made ready with; the oldest go first. They are enough for all that is asked of one state of the
# workshop, and for a little of the last.
MOST_ANSWERS, PARTS_A_JOB, READY_A_JOB, OF_FEW_JOBS = 16, 40, 1.2, 600
# A whole plan takes a quarter of a megabyte.
MOST_PLANS = 12
READ_ANEW = 3  # times, where others change the workshop while it is read


@dataclass
class _Keeping:
    """What is kept in the process: answers by their marks, and what they are made of."""

    lock: Any = field(default_factory=threading.RLock)
    answers: dict[Hashable, Any] = field(default_factory=dict)
    ready: dict[Hashable, ReadyBatch] = field(default_factory=dict)
    parts: dict[Hashable, object] = field(default_factory=dict)


_keeping = _Keeping()
# What this thread is working out now, and the marks that it read last.
_now = threading.local()


def forget() -> None:
    """Forget all that is kept; it is worked out anew when it is asked for."""
    with _keeping.lock:
        for each in (_keeping.answers, _keeping.ready, _keeping.parts):
            each.clear()


def season_marks() -> RestsOn:
    """Return the marks as the database stands; while something is worked out, those that it is worked out for."""
    held: RestsOn | None = getattr(_now, "held", None)
    _now.read = held or marks_now()
    return _now.read


def kept(question: Hashable, marks: Callable[[], Hashable], work: Callable[[], Answer]) -> Answer:
    """Return what ``work`` answers, kept under the ``marks`` of all that the answer rests on.

    Where they change while it works, the answer stands for this time, and nothing that was made meanwhile is kept.
    Work that fails because of that, having read the workshop half before and half after, is done again.
    """
    outer = getattr(_now, "held", None)
    for again in reversed(range(READ_ANEW + 1)):
        _now.read = None
        before = marks()
        with _keeping.lock:
            key = (question, before)
            if key in _keeping.answers:
                # What was asked for last is forgotten last.
                _keeping.answers[key] = answer = cast(Answer, _keeping.answers.pop(key))
                return answer
            _now.held = outer or _now.read
            try:
                found = work()
            except WorkshopError:
                raise
            except Exception:
                _now.held = outer
                # Within another work the marks are held, and the outermost tells.
                if outer is not None or not again or marks() == before:
                    raise
                forget()
                continue
            finally:
                _now.held = outer
            if outer is None and marks() != before:
                forget()
                return found
            _keeping.answers[key] = found
            _forget_oldest(_keeping.answers, most=MOST_ANSWERS)
            return found
    raise AssertionError("unreachable")


def in_turn(*, plans: int = 0) -> list[Standing]:
    """Return the waiting jobs in the order in which they claim stock, each against what the earlier ones leave.

    The first so many that hold nothing yet have their whole ``plans`` with them. Promised and running jobs hold what
    was set aside for them; drafts claim what is free, by priority and day. The number of queries does not grow with
    the jobs.
    """
    standings = _kept_season("in turn", lambda season: season.claim(season.jobs, keep_promises=True))
    if not plans:
        return list(standings)
    planned = dict(_plans(plans))
    return [replace(each, plan=planned.get(each.job.pk)) for each in standings]


def waiting_jobs() -> list[Job]:
    """Return the waiting jobs in their turn with all that a plan reads: read once for all that is asked of them."""
    return list(_season(season_marks()).jobs)


def minutes_in_turn() -> dict[int, float]:
    """Return how many minutes each waiting job takes of machine and hands, by its number, those of ``in_turn``.

    Of a job that holds its material they are those it was promised with, whatever is stitched already. A job that
    cannot be planned has none.
    """
    return dict(_kept_season("minutes", lambda season: season.minutes(in_turn())))


def _plans(most: int) -> list[tuple[int, BatchPlan]]:
    """Return the whole plans of the first ``most`` jobs; of more than a page shows, kept is what is made of them."""
    if most <= MOST_PLANS:
        return _kept_season(("plans", most), lambda season: season.plans(most))
    return _season(season_marks()).plans(most)


def if_first(job: Job) -> list[Standing]:
    """Return how the waiting jobs would stand if ``job`` came first and promises not yet begun were open again.

    Nothing is saved: it answers who would go short, and of what. Raises NotInThisState for a job that claims
    nothing any more.
    """
    if job.state not in (State.DRAFT, State.PROMISED):
        raise NotInThisState(
            _("{job} is {state}: it claims nothing any more.").format(job=job, state=job.get_state_display())
        )

    def work(season: "_Season") -> list[Standing]:
        jobs = sorted(season.jobs, key=lambda each: each.pk != job.pk)
        return season.claim(jobs, keep_promises=False)

    return list(_kept_season(("first", job.pk), work))


def each_alone() -> list[Standing]:
    """Return how each waiting job stands by itself, in their turn: against all that is free, and what it holds."""
    return list(_kept_season("alone", lambda season: [season.alone(job) for job in season.jobs]))


def not_considered(*states: str) -> tuple[LeftOut, ...]:
    """Return what of the shelf waiting jobs in these states cannot choose from, and why; what they hold is theirs."""
    return tuple(_kept_season(("left out", states), lambda season: season.left_out(states)))


def items_needed(*states: str) -> QuerySet[StockItem]:
    """Return what is on the shelf of everything that the waiting jobs in these states would use, each planned alone."""
    shades: set[int] = set()
    products: set[int] = set()
    styles: set[int] = set()
    for job, stood in stood_of([each for each in each_alone() if each.job.state in states]):
        shades |= {thread.shade for thread in stood.threads if thread.shade is not None}
        products |= {layer.product_id for layer in stood.stabilizer if layer.product_id}
        machine = job.machine or chosen_machine(None)
        styles |= {machine.bobbin_style_id} if machine.bobbin_style_id else set()
    wanted = (
        Q(spool__shade_id__in=shades)
        | Q(bobbinbatch__style_id__in=styles)
        | Q(stabilizerroll__product_id__in=products)
        | Q(sheetpack__product_id__in=products)
        | Q(offcut__product_id__in=products)
        | Q(spraycan__product_id__in=products)
    )
    return StockItem.objects.on_the_shelf().filter(wanted).order_by("label")


def _kept_season(question: Hashable, work: Callable[["_Season"], list[Answer]]) -> list[Answer]:
    marks: list[RestsOn] = []

    def seen() -> bytes:
        marks.append(season_marks())
        return marks[-1].every

    return kept(question, seen, lambda: work(_season(marks[-1])))


def _season(marks: RestsOn) -> "_Season":
    """Return the season that these marks are of, read once for all that is asked of it."""
    key = ("read", marks.read_as, marks.every)
    if key not in _keeping.answers:
        jobs = None
        for other in [each for each in _keeping.answers if isinstance(each, tuple) and each[:2] == key[:2]]:
            earlier: _Season = _keeping.answers.pop(other)  # one in each language is large enough
            if earlier.marks.records_of_jobs == marks.records_of_jobs:
                jobs = earlier.jobs
        _keeping.answers[key] = _Season(marks, jobs)
    season: _Season = _keeping.answers[key]
    return season


class _Season:
    """The waiting jobs and the shelf, as they were read."""

    def __init__(self, marks: RestsOn, jobs: list[Job] | None = None) -> None:
        self.marks = marks
        # Read anew only where they have changed: of a large workshop they are half of what there is to read.
        self.jobs = list(Job.objects.waiting().with_everything().in_turn()) if jobs is None else jobs
        self.shelves = Shelves(self.jobs)
        self.whole = SeasonShelf(self.shelves.shelf)
        self._all_set_aside = (self.shelves.shelf.stabilizer, dict(self.shelves.bobbins))
        self.composition = (self.whole.wall.composition, self.whole.on_offer.composition)

    def claim(self, jobs: Sequence[Job], *, keep_promises: bool) -> list[Standing]:
        """Return how ``jobs`` stand one after the other; promises that are not kept are open again."""
        open_again = () if keep_promises else [each.holder for each in jobs if each.state == State.PROMISED]
        shelf, bobbins = self._shelf(open_again)
        standings = []
        for job in jobs:
            if job.state == State.RUNNING or (keep_promises and job.state == State.PROMISED):
                standings.append(Standing(job, verdict=job.promise.verdict, holds=True))
                continue
            style = self.shelves.style_of(job)
            standing = self._stand(job, shelf, bobbins[style] if style else None)
            standings.append(standing)
            if standing.stood is None:
                continue
            claimed = standing.stood.claims
            shelf.take(claimed)
            if style:
                bobbins[style] = bobbins_after(bobbins[style], claimed, standing.stood.bobbins.sure_count)
        return standings

    def alone(self, job: Job) -> Standing:
        """Return how a job stands by itself, with what it holds."""
        shelf, bobbins = self._shelf([job.holder])
        style = self.shelves.style_of(job)
        return self._stand(job, shelf, bobbins[style] if style else None)

    def plans(self, most: int) -> list[tuple[int, BatchPlan]]:
        """Return the whole plans of the first ``most`` jobs that hold nothing, by their number."""
        self.shelves.set_aside(but_not=())
        found = []
        for job in [job for job in self.jobs if job.state == State.DRAFT][:most]:
            try:
                plan = self.shelves.plan(job)
            except WorkshopError:
                continue  # its standing says why
            self.shelves.take(job, claims(plan), bobbins=plan.bobbins.sure_count)
            found.append((job.pk, plan))
        return found

    def minutes(self, standings: Sequence[Standing]) -> list[tuple[int, float]]:
        """Return how many minutes the jobs take that stand so, by their number."""
        shades = {shade.id: shade for shade in self.whole.wall.shades}
        found = []
        for job, stood in ((each.job, each.stood) for each in standings):
            if stood is not None:
                style = self.shelves.style_of(job)
                ready = self._ready(job, self.whole, self._all_set_aside[1][style] if style else None)
                # They rest on what is threaded how often, and not on the metres behind it nor on most rules.
                threaded = tuple((each.shade, each.blocks, each.spools[1:]) for each in stood.threads)
                changes = len(stood.bobbins.changes) + stood.bobbins.inside_blocks
                terms = ready.terms
                borne = frozenset(terms.borne_by_range.items())
                said = (
                    terms.times,
                    terms.thread,
                    terms.applique_s,
                    borne,
                    ready.to_stitch,
                    ready.carried.copies,
                )
                rests_on = ("minutes", self.marks.record_of(job.pk), said, threaded, changes)
                _keeping.parts[rests_on] = minutes = _keeping.parts.pop(rests_on, None) or minutes_of(
                    ready, stood, shades
                )
                found.append((job.pk, cast(float, minutes)))
            elif job.state in (State.PROMISED, State.RUNNING):
                told = job.promise.answer.get("time", {})
                found.append((job.pk, job.promise.machine_min + told.get("hands_on_min", 0.0)))
        _forget_oldest(_keeping.parts, most=OF_FEW_JOBS + round(PARTS_A_JOB * len(self.jobs)))
        return found

    def left_out(self, states: Sequence[str]) -> list[LeftOut]:
        """Return what is not among what jobs in these states may choose from, and why."""
        self.shelves.set_aside(but_not=[job.holder for job in self.jobs if job.state in states])
        return list(self.shelves.shelf.left_out)

    def _shelf(self, but_not: Sequence[str]) -> tuple[SeasonShelf, dict[Any, BobbinStock | None]]:
        """Return the shelf and the bobbins with all set aside but what these holders have."""
        holding = [holder for holder in but_not if self.shelves.claimed_by.get(holder)]
        shelf = self.whole.again()
        shelf.stabilizer, bobbins = self._all_set_aside
        if holding:
            shelf.stabilizer, bobbins = self.shelves.beside_thread(but_not=holding)
            for holder in holding:
                shelf.wall.give(self.shelves.claimed_by[holder])
        return shelf, dict(bobbins)

    def _stand(self, job: Job, shelf: SeasonShelf, bobbins: BobbinStock | None) -> Standing:
        try:
            stood = stand(self._ready(job, shelf, bobbins), shelf, bobbins, kept=_keeping.parts)
        except WorkshopError as problem:
            return Standing(job, verdict="unknown", problem=str(problem))
        _forget_oldest(_keeping.parts, most=OF_FEW_JOBS + round(PARTS_A_JOB * len(self.jobs)))
        return Standing(job, verdict=stood.verdict, stood=stood)

    def _ready(self, job: Job, shelf: SeasonShelf, bobbins: BobbinStock | None) -> ReadyBatch:
        range_id = bobbins.range_id if bobbins else 0
        key = (self.marks.question_of(job.pk), self.composition, range_id)
        if key not in _keeping.ready:
            asked = self.shelves.asked_by.of(job)
            hooping = hooping_of(asked)
            terms, _gone = terms_on(asked, hooping, self._to_choose_from(bobbins), with_advice=False)
            _keeping.ready[key] = make_ready(
                asked.designs,
                pieces=asked.pieces,
                shelf=shelf,
                terms=terms,
                lettering=asked.lettering,
                too_big=hooping.too_big,
                key=key,
            )
            _forget_oldest(_keeping.ready, most=OF_FEW_JOBS + round(READY_A_JOB * len(self.jobs)))
        return _keeping.ready[key]

    def _to_choose_from(self, bobbins: BobbinStock | None) -> Shelf:
        return replace(self.shelves.shelf, bobbins=bobbins)


def _forget_oldest(kept: dict[Any, Any], *, most: int) -> None:
    while len(kept) > most:
        del kept[next(iter(kept))]


def stood_of(standings: Sequence[Standing]) -> list[tuple[Job, Stood]]:
    """Return the jobs of ``standings`` that could be planned, each with how it stands."""
    return [(each.job, each.stood) for each in standings if each.stood is not None]
