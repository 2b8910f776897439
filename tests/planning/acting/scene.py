"""A small workshop for processes that act at once: a machine, a design, red thread, bobbins, one roll, a supplier.

To be imported where Django is set up.
"""

import tempfile
from datetime import UTC, datetime
from pathlib import Path

import pyembroidery
from django.utils import timezone

from inventory.ledger import Finding, find
from inventory.models import BobbinBatch, Shade, Spool, StabilizerRoll, StockItem
from inventory.shelf.things import retire
from planning.buying.basket import BasketPlan, plan_basket
from planning.buying.needs import needs_of_all
from planning.jobs.jobs import JobFacts, make_job
from planning.library.designs import keep_design
from planning.models import Design, Fabric, Hoop, Job, Layer, Machine
from planning.run.finish import drop
from planning.stitch_files.reading import read_design_file
from tests.factories import a_bobbin_style, a_key, a_roll, a_shade, a_spool, an_offer, some_bobbins

NOW = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
RED = "#b01c2e"
COUNTED = StockItem.Known.COUNTED


def set_up() -> None:
    """Open the workshop: done once."""
    hoop = Hoop.objects.create(
        name="medium", field_width_mm=130, field_height_mm=180, ring_width_mm=150, ring_height_mm=200
    )
    machine = Machine.objects.create(name="one needle", needles=1, bobbin_style=a_bobbin_style())
    machine.hoops.add(hoop)
    twill = Fabric.objects.create(name="twill", thickness_mm=0.6)
    Layer.objects.create(fabric=twill, kind="tear-away", count=1)
    spool = a_spool(a_shade("R", hex=RED, name="harbour red"))
    an_offer(spool.put_up)
    a_roll()
    some_bobbins(count=400)
    _keep_the_design()


def _keep_the_design() -> None:
    pattern = pyembroidery.EmbPattern()
    pattern.add_thread({"hex": RED, "name": "red"})
    for step in range(400):
        pattern.stitch_abs(20 * (step % 20), 30 * (step // 20))
    pattern.end()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "badge.pes"
        pyembroidery.write(pattern, str(path), {"pes version": 6})
        keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)


def clear() -> None:
    """Drop every job that waits, and lay the shelf as it was: one full spool, one full roll, bobbins enough."""
    for job in Job.objects.waiting():
        drop(job, at=NOW)
    first = Spool.objects.earliest("pk")
    for item in StockItem.objects.filter(kind__in=["offcut", "sheets"], retired_at=None):
        retire(item, key=a_new_key(), at=NOW, by=None)
    for spool in Spool.objects.on_the_shelf().exclude(pk=first.pk):
        retire(spool, key=a_new_key(), at=NOW, by=None)
    lay(first, 1_000_000)
    lay(StabilizerRoll.objects.earliest("pk"), 10_000)
    lay(BobbinBatch.objects.earliest("pk"), 400)


def lay(item: StockItem, quantity: int) -> None:
    """Find just ``quantity`` of an item on the shelf."""
    finding = Finding(0.0, COUNTED)
    find(
        StockItem.objects.get(pk=item.pk),
        quantity=quantity,
        finding=finding,
        key=a_new_key(),
        at=NOW,
        by=None,
    )


def another_red_spool() -> Spool:
    """Return a second spool of the red, as full as the first."""
    return a_spool(Shade.objects.get(code="R"), key=a_new_key())


def a_job(*, pieces: int = 6, layered: bool = False) -> Job:
    """Return a new draft; ``layered`` on a fabric that wants stabilizer."""
    fabric = Fabric.objects.get(name="twill") if layered else None
    facts = JobFacts(what="badges", pieces=pieces, tests=1, machine=Machine.objects.get(), fabric=fabric)
    return fresh(make_job(facts, designs=[Design.objects.get()], at=NOW, by=None))


def fresh(job: Job) -> Job:
    """Return ``job`` as it stands, with all that a plan reads."""
    return Job.objects.with_everything().get(pk=job.pk)


def basket() -> BasketPlan:
    """Return what must be bought now."""
    today = timezone.localdate()
    return plan_basket(needs_of_all(today=today), today=today)


def a_new_key() -> str:
    """Return a key that no other process has."""
    return f"{a_key()}-{timezone.now().timestamp()}"
