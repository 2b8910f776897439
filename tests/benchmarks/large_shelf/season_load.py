"""What the benchmark of a season measures, in a process of its own on the workshop of ``ENOUGH_THREAD_DATA``.

``python -m tests.benchmarks.large_shelf.season_load [--jobs N] [--shades N] [--planner]`` answers in JSON. Jobs that
claim and shades that lack are copied from those there are, for this time alone: nothing of it is kept.
"""

import argparse
import json
import os
from datetime import timedelta
from importlib import import_module
from random import Random

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "workshop.settings")
django.setup()

from django.db import connection, transaction  # noqa: E402  the database needs Django to be set up

from fixtures.make_large_shelf import SEED, a_dyed_hex  # noqa: E402
from inventory.compute.colour.lab import lab_from_hex  # noqa: E402
from inventory.models import Shade, Spool, StockItem  # noqa: E402
from planning.compute.batch.taking import claims  # noqa: E402
from planning.jobs.rests_on import marks_now  # noqa: E402
from planning.jobs.season import _Season  # noqa: E402
from planning.jobs.turns import Shelves  # noqa: E402
from planning.models import Job, PlacedDesign  # noqa: E402
from tests.benchmarks.processor import processor_s  # noqa: E402


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--jobs", type=int, default=0)
    parser.add_argument("--shades", type=int, default=0)
    parser.add_argument("--planner", action="store_true")
    wishes = parser.parse_args()
    for heavy in ("scipy.optimize", "scipy.special", "colormath.color_conversions"):
        import_module(heavy)  # imported where they are first used: that is no part of a season
    with transaction.atomic():
        _more_shades(wishes.shades)
        _more_drafts(wishes.jobs)
        print(json.dumps(_measured(planner=wishes.planner)))
        transaction.set_rollback(True)


def _measured(*, planner: bool) -> dict[str, float]:
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
    told: dict[str, float] = {"jobs": len(stood), "shades": len(season.whole.wall.shades)}
    told |= {"read_s": read_s, "season_s": season_s}
    if planner:
        planned: list[object] = []
        told["planner_s"] = processor_s(lambda: planned.extend(_planned(season.jobs)))
        told["alike"] = sum(one == other for one, other in zip(stood, planned, strict=True))
    return told


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


def _more_drafts(wanted: int) -> None:
    """Add drafts like those there are, of other days and numbers of pieces, until so many claim stock."""
    rng, drafts = Random(SEED), list(Job.objects.filter(state=Job.State.DRAFT).order_by("pk"))
    placed = {each.job_id: each for each in PlacedDesign.objects.order_by("-pk")}
    of = [drafts[number % len(drafts)] for number in range(wanted - len(drafts))]
    jobs = Job.objects.bulk_create(
        Job(
            what=f"more of {each.what}",
            pieces=rng.randrange(12, 200),
            needed_on=each.needed_on + timedelta(days=rng.randrange(40)) if each.needed_on else None,
            made_at=each.made_at + timedelta(days=40),
            fabric_id=each.fabric_id,
            machine_id=each.machine_id,
            priority=rng.choice((3, 5, 5, 5, 7)),
        )
        for each in of
    )
    designs = [placed[rng.choice(drafts).pk].design_id for _ in jobs]
    PlacedDesign.objects.bulk_create(
        PlacedDesign(job=job, order=0, design_id=design) for job, design in zip(jobs, designs, strict=True)
    )


def _more_shades(wanted: int) -> None:
    """Add shades of other colours, each with spools like those of a shade there is, until there are so many."""
    rng, shades = Random(SEED), list(Shade.objects.filter(code__startswith="K").order_by("pk"))
    made = []
    for number in range(wanted - Shade.objects.count()):
        like, lab = shades[number % len(shades)], lab_from_hex(a_dyed_hex(rng))
        made.append(
            Shade(range_id=like.range_id, code=f"M{number:05}", lab_l=lab.L, lab_a=lab.a, lab_b=lab.b)
        )
    made = Shade.objects.bulk_create(made)
    if not made:
        return
    spools: dict[int, list[Spool]] = {}
    for spool in Spool.objects.on_the_shelf():
        spools.setdefault(spool.shade_id, []).append(spool)
    pairs = [
        (new, spool)
        for number, new in enumerate(made)
        for spool in spools.get(shades[number % len(shades)].pk, ())
    ]
    first = StockItem.objects.order_by("-pk")[0].pk + 1
    items = StockItem.objects.bulk_create(
        StockItem(
            pk=first + number,
            label=f"M{number:07}",
            **{
                name: getattr(spool, name)
                for name in ("kind", "on_hand", "sigma", "known", "lot", "place_id")
            },
        )
        for number, (_, spool) in enumerate(pairs)
    )
    # A row beside each: bulk_create writes no model that has a parent.
    with connection.cursor() as cursor:
        cursor.executemany(
            f"INSERT INTO {Spool._meta.db_table} (stockitem_ptr_id, put_up_id, shade_id) VALUES (%s, %s, %s)",
            [(item.pk, spool.put_up_id, new.pk) for item, (new, spool) in zip(items, pairs, strict=True)],
        )


if __name__ == "__main__":
    main()
