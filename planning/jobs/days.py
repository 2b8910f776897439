"""On which day a job is begun at the latest, and by which its material must be there: the same on every page."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from planning.compute.buying.in_time import material_day
from planning.compute.hooping.timing import start_by
from planning.jobs.season import minutes_in_turn
from planning.models import Job, Rules


@dataclass(frozen=True)
class JobDays:
    """The last day to begin on, and the one by which the material is there."""

    start_by: date
    material_day: date


def days_of_jobs(
    jobs: Iterable[Job], *, rules: Rules, minutes: Mapping[int, float] | None = None
) -> dict[int, JobDays]:
    """Return the days of those ``jobs`` that are due on one, by their number.

    ``minutes`` are those still to come of each, None for what each takes in its turn. Of a job of which nobody knows
    how long it takes, a day is thought of, which it takes at least.
    """
    dated = [(job.pk, job.needed_on) for job in jobs if job.needed_on is not None]
    if not dated:
        return {}
    takes = minutes_in_turn() if minutes is None else minutes
    found = {}
    for pk, due in dated:
        start = start_by(
            due, minutes=takes.get(pk, 0.0), working_minutes_a_day=rules.working_hours_a_day * 60
        )
        found[pk] = JobDays(start, material_day(start))
    return found
