"""Many open jobs planned together against a full wall of spools, beside one plan of each on its own.

Run with ``-m benchmark -s``. The queries are counted too: they must not grow with the jobs.
"""

import random

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.compute.colour.lab import lab_from_hex
from inventory.models import Shade, Spool, StockItem
from planning.compute.stitches.thread_length import KAPPA_GRID
from planning.jobs.jobs import plan_of
from planning.jobs.season import forget, in_turn
from planning.models import Block, Design, Job, Machine, PlacedDesign
from tests.benchmarks.processor import processor_s
from tests.factories import NOW, a_range, a_roll, some_bobbins
from tests.planning.conftest import workshop  # noqa: F401

pytestmark = [pytest.mark.benchmark, pytest.mark.django_db]
SPOOLS, SHADES, BLOCKS, JOBS, DESIGNS = 2_000, 500, 10, 300, 60
TARGET_S = 2.0


def a_colour(rng: random.Random) -> str:
    return f"#{rng.randrange(1 << 24):06x}"


@pytest.fixture
def wall(workshop) -> None:  # noqa: F811
    rng = random.Random(5)
    thread = a_range()
    shades = []
    for number in range(SHADES):
        lab = lab_from_hex(a_colour(rng))
        shades.append(Shade(range=thread, code=f"K{number}", lab_l=lab.L, lab_a=lab.a, lab_b=lab.b))
    shades = Shade.objects.bulk_create(shades)
    for number in range(SPOOLS):
        # Written past the ledger: this is about reading.
        Spool.objects.create(
            kind=StockItem.Kind.SPOOL,
            label=f"W{number:05}",
            on_hand=rng.randrange(100_000, 1_000_000),
            sigma=5_000.0,
            known=StockItem.Known.WEIGHED,
            shade=shades[number % SHADES],
        )
    some_bobbins(count=100)
    a_roll(metres=100)


def some_designs() -> list[Design]:
    rng = random.Random(9)
    designs = []
    for number in range(DESIGNS):
        design = Design.objects.create(
            name=f"design {number}", sha256=f"{number:064}", format="PES", size_bytes=1, width_mm=80.0,
            height_mm=60.0, stitches=8_000, trims=12, stops=0, trim_at_jumps=3, warnings=[], added_at=NOW,
        )  # fmt: skip
        Block.objects.bulk_create(
            Block(
                design=design,
                number=block,
                hex=a_colour(rng),
                drawn_mm=2_400.0,
                penetrations=800,
                back_draw_mm=300.0,
                bobbin_path_mm=[2_000.0 - 20 * at for at in range(len(KAPPA_GRID))],
                runs=3,
                trims=1,
                zero_length=0,
                dragged_mm=0.0,
                stops=0,
            )
            for block in range(1, BLOCKS + 1)
        )
        designs.append(design)
    return designs


def some_jobs(designs: list[Design], count: int) -> None:
    machine = Machine.objects.first()
    for number in range(count):
        job = Job.objects.create(what=f"job {number}", pieces=12, machine=machine, made_at=NOW)
        PlacedDesign.objects.create(job=job, design=designs[number % len(designs)])


def test_three_hundred_jobs_against_two_thousand_spools(wall):
    designs = some_designs()
    some_jobs(designs, 20)
    forget()
    with CaptureQueriesContext(connection) as few:
        in_turn()
    some_jobs(designs, JOBS - 20)
    forget()
    standings: list[object] = []
    with CaptureQueriesContext(connection) as many:
        together_s = processor_s(lambda: standings.extend(in_turn()))
    alone = list(Job.objects.with_everything()[:10])
    alone_s = processor_s(lambda: [plan_of(job) for job in alone]) / len(alone) * JOBS
    print(
        f"\n{len(standings)} jobs of {BLOCKS} blocks against {SPOOLS} spools in turn: {together_s:.2f} s of processor "
        f"(target {TARGET_S:g} s), {len(many)} queries, {len(few)} for 20 jobs; "
        f"each planned on its own: {alone_s:.1f} s"
    )
    assert len(standings) == JOBS
    assert len(many) <= len(few)
    assert together_s < alone_s
