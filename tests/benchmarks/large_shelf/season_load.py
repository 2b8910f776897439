"""What the benchmark of a season measures, in a process of its own on the workshop of ``ENOUGH_THREAD_DATA``.

``python -m tests.benchmarks.large_shelf.season_load`` answers in JSON.
"""

import json
import os
from importlib import import_module

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "workshop.settings")
django.setup()

from planning.compute.batch.taking import claims  # noqa: E402  the database needs Django to be set up
from planning.jobs.rests_on import marks_now  # noqa: E402
from planning.jobs.season import _Season  # noqa: E402
from planning.jobs.turns import Shelves  # noqa: E402
from planning.models import Job  # noqa: E402
from tests.benchmarks.processor import processor_s  # noqa: E402


def main() -> None:
    for heavy in ("scipy.optimize", "scipy.special", "colormath.color_conversions"):
        import_module(heavy)  # imported where they are first used: that is no part of a season
    read: list[_Season] = []
    read_s = processor_s(lambda: read.append(_Season(marks_now())))
    (season,) = read
    stood: list[object] = []
    season_s = processor_s(
        lambda: stood.extend(
            (each.job.pk, each.verdict, each.stood.claims)
            for each in season.claim(season.jobs, keep_promises=True)
            if each.stood is not None
        )
    )
    planned: list[object] = []
    planner_s = processor_s(lambda: planned.extend(_planned(season.jobs)))
    alike = sum(one == other for one, other in zip(stood, planned, strict=True))
    told = {
        "jobs": len(planned),
        "alike": alike,
        "read_s": read_s,
        "season_s": season_s,
        "planner_s": planner_s,
    }
    print(json.dumps(told))


def _planned(jobs: list[Job]) -> list[object]:
    """Return what today's planner says of each job, one after the other."""
    shelves, found = Shelves(jobs), list[object]()
    for job in jobs:
        if job.state != Job.State.DRAFT:
            continue
        plan = shelves.plan(job)
        found.append((job.pk, plan.verdict, claims(plan)))
        shelves.take(job, claims(plan), bobbins=plan.bobbins.sure_count)
    return found


if __name__ == "__main__":
    main()
