"""What a day asks of the workshop: what runs, what each job needs, what is to come, what nobody has measured."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.compute.on_the_way import OnTheWay
from inventory.compute.units import Units
from inventory.ledger.use_history import shade_material
from inventory.models import Order, OrderLine, Shade, Spool
from planning.buying.due import to_order
from planning.buying.needs import MaterialNeed, needs_of_all
from planning.compute.batch.needle_thread import PlannedThread
from planning.compute.certainty.settling import LookedAt
from planning.compute.season.stand import StoodThread
from planning.day.causes import cause_of
from planning.jobs.measuring import MeasureFirst, measure_first_of
from planning.jobs.season import in_turn
from planning.jobs.turns import Standing
from planning.models import Job
from planning.plan.words import answer_in_words, thread_name
from planning.run.sheet import next_steps, running_stitch
from planning.run.standing import Run, runs_of

# So many jobs are planned for the first page; the list of jobs has the others.
MOST_JOBS = 6
MOST_UNMEASURED = 3
MOST_DUE = 2
# As many rows, a running job for two, as a phone has room for above the question.
MOST_BESIDE_THE_QUESTION = 11

State = Job.State


@dataclass(frozen=True)
class Running:
    """A job at its machine: the next piece, how each piece stands, and what is due before the next ones.

    ``stitches`` has a word a piece: done, spoiled, now or open; each stands for ``pieces_a_stitch`` pieces.
    """

    job: Job
    run: Run
    called: str
    position: int
    stitches: tuple[str, ...]
    pieces_a_stitch: int
    due: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Asking:
    """A job that waits, how it stands, and the one act that it needs.

    That is choose, measure, buy, promise, begin or look, and run at the machine; send or chase where what it lacks is
    on ``order``.
    """

    standing: Standing
    cause: str
    act: str
    thing: LookedAt | None = None
    order: OnTheWay | None = None


@dataclass(frozen=True)
class Coming:
    """An order on its way; ``days_late`` is negative for one whose day is still to come."""

    order: Order
    days_late: int


@dataclass(frozen=True)
class Unmeasured:
    """A spool of which nobody knows how much is left, and the jobs whose answer hangs on it."""

    spool: Spool
    wanted_by: tuple[Job, ...]


@dataclass(frozen=True)
class Agenda:
    """All that a day asks, each list with the most pressing first. ``more_jobs`` are not among the ``asking``."""

    running: tuple[Running, ...]
    asking: tuple[Asking, ...]
    more_jobs: int
    to_order: tuple[MaterialNeed, ...]
    to_send: tuple[Order, ...]
    coming: tuple[Coming, ...]
    unmeasured: tuple[Unmeasured, ...]

    @property
    def is_full(self) -> bool:
        """Whether there is so much to be done that the question beside it waits behind a line where room is little."""
        orders = bool(self.to_order) + len(self.to_send) + len(self.coming)
        return (
            2 * len(self.running) + len(self.asking) + orders + len(self.unmeasured)
            > MOST_BESIDE_THE_QUESTION
        )

    @property
    def is_empty(self) -> bool:
        return not (self.running or self.asking or self.to_order or self.to_send or self.coming)


def agenda(*, today: date, units: Units) -> Agenda:
    """Return what ``today`` asks. Nothing is written."""
    standings = in_turn(plans=MOST_JOBS)
    waiting = [each for each in standings if each.job.state != State.RUNNING]
    at_machines = [each.job for each in standings if each.job.state == State.RUNNING]
    shown = waiting[:MOST_JOBS]
    unmeasured = _unmeasured_spools(shown)
    needs = needs_of_all(today=today)
    waited_for = OrderLine.objects.to_come().order_by().values("order")
    orders = Order.objects.filter(pk__in=waited_for).select_related("supplier")
    coming = [
        Coming(each, (today - each.expected_on).days) for each in orders if each.expected_on is not None
    ]
    return Agenda(
        running=tuple(_running(each) for each in runs_of(at_machines)),
        asking=tuple(asking_of(shown, looks=measure_first_of(shown), needs=needs.needs, units=units)),
        more_jobs=len(waiting) - len(shown),
        to_order=tuple(to_order(needs, today=today)),
        to_send=tuple(
            Order.objects.filter(state=Order.State.DRAFT).select_related("supplier").order_by("number")
        ),
        coming=tuple(sorted(coming, key=lambda each: -each.days_late)),
        unmeasured=_unmeasured(shown, unmeasured),
    )


def _running(run: Run) -> Running:
    position = run.left[0] if run.left else 0
    stitches, pieces_a_stitch = running_stitch(run)
    return Running(
        run.job,
        run,
        called=run.called(position) if position else "",
        position=position,
        stitches=stitches,
        pieces_a_stitch=pieces_a_stitch,
        due=tuple((called, note) for called, notes in next_steps(run) for note in notes)[:MOST_DUE],
    )


def asking_of(
    standings: Sequence[Standing],
    *,
    looks: Iterable[MeasureFirst],
    needs: Iterable[MaterialNeed],
    units: Units,
) -> list[Asking]:
    """Return the one act that each job needs as it stands, and what it hangs on.

    ``looks`` are what to look at first for these jobs, or for more; ``needs`` what is needed of each material.
    """
    best, by_material = _best_looks(looks), {need.key: need for need in needs}
    wanted = {thread.shade for each in standings for thread in _threads(each) if thread.shade}
    names = {shade.pk: shade.name or shade.code for shade in Shade.objects.filter(pk__in=wanted)}
    return [_asking(each, best.get(each.job.pk), by_material, names, units) for each in standings]


def _asking(
    standing: Standing,
    look: LookedAt | None,
    needs: Mapping[str, MaterialNeed],
    names: Mapping[int, str],
    units: Units,
) -> Asking:
    if standing.job.state == State.RUNNING:
        return Asking(standing, _held(standing), "run")
    if standing.holds:
        return Asking(standing, _held(standing), "begin")
    if standing.stood is None:
        return Asking(standing, standing.problem, "look")
    said = _cause(standing, names, units)
    if any(not _is_asked(thread) for thread in _threads(standing)) or standing.verdict == "off colour":
        return Asking(standing, said, "choose")
    if standing.verdict == "enough":
        return Asking(standing, said, "promise")
    if look is not None and standing.verdict in ("tight", "unknown"):
        return Asking(
            standing, _("{what}: it hangs on how much is left").format(what=look.what), "measure", look
        )
    wanting = [thread for thread in _threads(standing) if thread.verdict != "enough"]
    on_its_way = _on_its_way(wanting, needs) if wanting else None
    if on_its_way is not None:
        return Asking(standing, said, "send" if on_its_way.is_draft else "chase", order=on_its_way)
    return Asking(standing, said, "buy" if standing.verdict == "short" else "look")


def _held(standing: Standing) -> str:
    if standing.verdict == "enough":
        return _("It holds what it needs.")
    return _("It was promised although that was not sure.")


def _threads(standing: Standing) -> tuple[StoodThread, ...]:
    return standing.stood.threads if standing.stood else ()


def _is_asked(thread: StoodThread) -> bool:
    """Whether anything was asked of the shelf: not for a block without a colour that has no shade yet."""
    return bool(thread.hex) or thread.shade is not None


def _cause(standing: Standing, names: Mapping[int, str], units: Units) -> str:
    """Return what the verdict hangs on: as its whole plan says it, or of a job without one as it stands."""
    if standing.plan is None:
        assert standing.stood is not None  # asked before
        return cause_of(standing.stood, names=names, units=units)
    wanting = [thread for thread in standing.plan.threads if thread.verdict != "enough"]
    if (
        not wanting
        or standing.verdict == "enough"
        or any(not each.is_asked for each in standing.plan.threads)
    ):
        return answer_in_words(standing.plan, units=units).headline
    least = min(wanting, key=lambda each: each.pieces_possible)
    total = standing.plan.pieces.total
    said = ngettext(
        "{thread} lasts {pieces} of {total} piece", "{thread} lasts {pieces} of {total} pieces", total
    )
    return said.format(thread=thread_name(least), pieces=least.pieces_possible, total=total)


def _on_its_way(wanting: Sequence[StoodThread], needs: Mapping[str, MaterialNeed]) -> OnTheWay | None:
    """Return the last order that brings what these threads lack, or None where something is to be ordered still."""
    last: OnTheWay | None = None
    for thread in wanting:
        need = needs.get(shade_material(thread.to_buy)) if thread.to_buy else None
        if need is None or need.missing or not need.material.orders:
            return None
        # A draft has to be sent before anything of it comes, whatever else is on its way.
        drafts = [each for each in need.material.orders if each.is_draft and need.drafts_missing]
        mine = drafts[0] if drafts else need.material.orders[-1]
        last = mine if last is None or (mine.is_draft, mine.day) > (last.is_draft, last.day) else last
    return last


def _shade(thread: PlannedThread) -> int:
    return thread.choice.shade.id if thread.choice.shade else 0


def _best_looks(found: Iterable[MeasureFirst]) -> dict[int, LookedAt]:
    """Return for each job by its number the thing whose look most likely settles it."""
    best: dict[int, tuple[float, LookedAt]] = {}
    for each in found:
        for settles in each.settles:
            chance = settles.first.settling.chance / len(settles.first.items)
            if chance > best.get(settles.job.pk, (0.0, each.item))[0]:
                best[settles.job.pk] = (chance, each.item)
    return {pk: item for pk, (_, item) in best.items()}


def _plans(standings: Iterable[Standing]) -> Iterable[tuple[Standing, PlannedThread]]:
    return ((each, thread) for each in standings if each.plan for thread in each.plan.threads)


def _unmeasured_spools(standings: Sequence[Standing]) -> dict[int, list[Spool]]:
    """Return the spools of the shades these plans use that nobody ever measured, by shade."""
    shades = {_shade(thread) for _, thread in _plans(standings)} - {0}
    spools = (
        Spool.objects.on_the_shelf()
        .filter(shade_id__in=shades, known=Spool.Known.UNKNOWN)
        .select_related("shade__range", "place")
        .order_by("label")
    )
    found: dict[int, list[Spool]] = defaultdict(list)
    for spool in spools:
        found[spool.shade_id].append(spool)
    return found


def _unmeasured(standings: Sequence[Standing], by_shade: dict[int, list[Spool]]) -> tuple[Unmeasured, ...]:
    wanted: dict[int, dict[int, Job]] = defaultdict(dict)
    for standing, thread in _plans(standings):
        for spool in by_shade.get(_shade(thread), []):
            wanted[spool.pk][standing.job.pk] = standing.job
    spools = {spool.pk: spool for each in by_shade.values() for spool in each}
    found = [Unmeasured(spools[pk], tuple(jobs.values())) for pk, jobs in wanted.items()]
    return tuple(sorted(found, key=lambda each: -len(each.wanted_by))[:MOST_UNMEASURED])
