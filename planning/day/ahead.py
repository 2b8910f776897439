"""The open jobs and the days to come: where each would be stitched, whether in time, and what each waits for."""

from collections import Counter
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property

from inventory.compute.units import Units
from inventory.models import OrderLine
from planning.buying.needs import needs_of_all
from planning.compute.hooping.calendar import LaidWork, WorkToLay, free_from, lay_out
from planning.compute.picture.calendar import CalendarDrawn, MachineDrawn, draw_calendar
from planning.day.agenda import Asking, asking_of
from planning.jobs.days import days_of_jobs
from planning.jobs.measuring import MeasureFirst, measure_first
from planning.jobs.season import in_turn, minutes_in_turn
from planning.jobs.turns import Standing
from planning.models import Job, Machine, Rules
from planning.plan.ask import chosen_machine
from planning.run.standing import Run, runs_of

# Beyond these the list below has them.
MOST_BLOCKS = 20
FIRST_LOOKS = 3
# Machines without work are drawn as well, if all are so few.
MOST_IDLE = 6
# Acts without which a job cannot begin as it is asked; a promise can be given, and an order is on its way.
WAITED_FOR = ("choose", "measure", "buy", "send", "look")

State = Job.State


@dataclass(frozen=True)
class OpenJob:
    """An open job: the one act it needs, the days in which it would be stitched, and its run if it has begun.

    ``start_by`` is the last day to begin on; None where the job has no day or its time is not known.
    """

    asking: Asking
    laid: LaidWork
    start_by: date | None
    run: Run | None = None

    @property
    def job(self) -> Job:
        return self.asking.standing.job

    @property
    def pieces_left(self) -> int:
        return len(self.run.left) if self.run else 0


@dataclass(frozen=True)
class MachineAhead:
    """A machine, its row of the calendar, and the day on which it is free again: None where it is free now."""

    machine: Machine
    drawn: MachineDrawn
    free_from: date | None


@dataclass(frozen=True)
class JobsAhead:
    """All open jobs in their turn, and the calendar of their machines."""

    jobs: tuple[OpenJob, ...]
    calendar: CalendarDrawn
    machines: tuple[MachineAhead, ...]
    measure: tuple[MeasureFirst, ...]
    working_hours_a_day: float

    @cached_property
    def by_job(self) -> dict[Hashable, OpenJob]:
        """Return each by the number of its job."""
        return {each.job.pk: each for each in self.jobs}

    @property
    def has_days(self) -> bool:
        """Whether any of them is due on some day."""
        return any(each.job.needed_on for each in self.jobs)

    @property
    def first_looks(self) -> list[str]:
        """The labels of what to look at first."""
        return [each.item.label for each in self.measure[:FIRST_LOOKS]]

    @property
    def in_doubt(self) -> int:
        """How many jobs a look at the shelf may settle."""
        return len({settles.job.pk for each in self.measure for settles in each.settles})

    @property
    def late(self) -> tuple[OpenJob, ...]:
        return tuple(each for each in self.jobs if each.laid.is_late)

    @property
    def waiting(self) -> int:
        """How many wait for an act of a person before their first stitch."""
        return sum(each.asking.act in WAITED_FOR for each in self.jobs)

    @property
    def guessed(self) -> int:
        """Of how many nobody knows how long they take."""
        return sum(each.laid.is_guessed for each in self.jobs)

    @property
    def is_by_day(self) -> bool:
        """Whether the next due comes first: no job goes before its day."""
        return len({each.job.priority for each in self.jobs}) <= 1

    @property
    def cut_for(self) -> tuple[tuple[str, int], ...]:
        """The stabilizers that several jobs that are not promised yet are cut from, and for how many each."""
        found: Counter[str] = Counter()
        for each in self.jobs:
            stood = each.asking.standing.stood
            found.update({layer.product for layer in stood.stabilizer if layer.cut} if stood else ())
        return tuple((product, number) for product, number in found.most_common() if product and number > 1)


def jobs_ahead(*, today: date, units: Units) -> JobsAhead:
    """Return the open jobs as they stand on ``today``, in a number of queries that does not grow with them.

    Each is laid after those before it on its machine; what is begun comes first, with the pieces that it has left.
    """
    standings = in_turn()
    measure = measure_first() if standings else ()
    # What of it is on order is asked only where anything is.
    needs = (
        needs_of_all(today=today).needs if standings and OrderLine.objects.not_all_there().exists() else ()
    )
    asking = asking_of(standings, looks=measure, needs=needs, units=units)
    runs = {
        each.job.pk: each
        for each in runs_of([job.job for job in standings if job.job.state == State.RUNNING])
    }
    rules = Rules.current()
    hours = rules.working_hours_a_day
    minutes = _minutes_left(standings, runs)
    first = chosen_machine(None)
    works = [
        WorkToLay(each.job.pk, each.job.machine_id or first.pk, minutes.get(each.job.pk), each.job.needed_on)
        for each in sorted(standings, key=lambda each: each.job.state != State.RUNNING)
    ]
    days = days_of_jobs(
        [each.job for each in standings if each.job.pk in minutes], rules=rules, minutes=minutes
    )
    laid = lay_out(works, today=today, working_minutes_a_day=hours * 60)
    by_job = {each.job: each for each in laid}
    machines = _machines(first, {each.machine for each in laid})
    calendar = draw_calendar(
        laid,
        machines=[each.pk for each in machines],
        today=today,
        working_minutes_a_day=hours * 60,
        most_blocks=MOST_BLOCKS,
    )
    free = free_from(laid, today=today, working_minutes_a_day=hours * 60)
    return JobsAhead(
        tuple(
            OpenJob(
                each,
                by_job[each.standing.job.pk],
                days[each.standing.job.pk].start_by if each.standing.job.pk in days else None,
                runs.get(each.standing.job.pk),
            )
            for each in asking
        ),
        calendar,
        tuple(
            MachineAhead(machine, drawn, free.get(machine.pk))
            for machine, drawn in zip(machines, calendar.machines, strict=True)
        ),
        measure,
        hours,
    )


def _minutes_left(standings: Sequence[Standing], runs: dict[int, Run]) -> dict[int, float]:
    """Return the minutes of each job that are still to come; of one that is begun, as many as it has pieces left."""
    minutes = minutes_in_turn() if standings else {}
    for pk, run in runs.items():
        of = run.promise.tests + run.promise.pieces
        if pk in minutes and of:
            minutes[pk] *= min(1.0, len(run.left) / of)
    return minutes


def _machines(first: Machine, busy: set[object]) -> list[Machine]:
    """Return the machines to draw: all if they are few, else those that have work; without any, the one assumed."""
    known = list(Machine.objects.all()) or [first]
    return known if len(known) <= MOST_IDLE else [each for each in known if each.pk in busy]
