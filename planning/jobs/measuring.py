"""What to look at first for all open jobs: the things whose look settles most of their verdicts."""

from collections.abc import Sequence
from dataclasses import dataclass

from inventory.shelf.looking import looks_by_label
from planning.compute.certainty.settling import LookedAt, LookFirst
from planning.jobs.season import in_turn, kept, season_marks
from planning.jobs.turns import Standing
from planning.models import Job
from planning.plan.settling import doubt_of_standing, labels_in_doubt, look_first_of


@dataclass(frozen=True)
class Settles:
    """A job, and the looks that most likely settle it among which a thing is."""

    job: Job
    first: LookFirst


@dataclass(frozen=True)
class MeasureFirst:
    """A thing to look at, for which jobs, and of how many verdicts it settles its share on average."""

    item: LookedAt
    settles: tuple[Settles, ...]
    worth: float


def measure_first() -> tuple[MeasureFirst, ...]:
    """Return what to look at before anything is bought for the open jobs in their turn, what settles most first.

    Of each job the smallest set of looks that a thing is in counts, shared evenly among its things.
    """
    return kept("measure first", lambda: season_marks().every, lambda: measure_first_of(in_turn()))


def measure_first_of(standings: Sequence[Standing]) -> tuple[MeasureFirst, ...]:
    """Return ``measure_first`` for jobs that stand in their turn; reads once, however many they are."""
    doubts = [(each.job, doubt_of_standing(each.stood)) for each in standings if each.stood is not None]
    labels = {label for _, doubt in doubts for label in labels_in_doubt(doubt)}
    looks = looks_by_label(sorted(labels)) if labels else {}
    items: dict[str, LookedAt] = {}
    settles: dict[str, list[Settles]] = {}
    for job, doubt in doubts:
        told: set[str] = set()
        for first in look_first_of(doubt, looks) if labels else ():
            for item in first.items:
                if item.label not in told:
                    told.add(item.label)
                    items[item.label] = item
                    settles.setdefault(item.label, []).append(Settles(job, first))
    found = [
        MeasureFirst(
            items[label],
            tuple(jobs),
            sum(each.first.settling.chance / len(each.first.items) for each in jobs),
        )
        for label, jobs in settles.items()
    ]
    return tuple(sorted(found, key=lambda each: (-each.worth, each.item.label)))
