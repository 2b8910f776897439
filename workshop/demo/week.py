"""The demo workshop in the middle of a week: jobs in every state, orders, a stocktake half done, a test that was noted.

All of it is done by the acts that people do it with, so that it can be gone on with and taken back like theirs.
"""

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal

from django.utils.timezone import localdate

from inventory.models import Offer, Order, Place, Spool, StabilizerProduct, Stocktake
from inventory.orders.orders import OrderedThing, draft_order, place_order
from inventory.shelf.counts import Found
from inventory.shelf.receipts import Delivery, receive_cans, receive_rolls
from inventory.stocktakes.stocktakes import begin_place, record
from planning.jobs.jobs import JobFacts, made_before, make_job
from planning.library.appliques import add_applique, parts_of
from planning.models import Design, Fabric, Job, Layer, Machine, StitchOutNote
from planning.run.finish import Ending, drop, finish
from planning.run.promise import promise
from planning.run.ticks import Happening, begin, note

KEY = "demo-week"
PATCHES = "Patch twill, sprayed"
BENCH, WINDOW = "Six needles at the back", "Single needle by the window"
# What each job is, of which design, how many pieces, on what, at which machine, and in how many days it is needed.
JOBS = {
    "finished": ("Lifebuoy patches", "lifebuoy-patch", 6, PATCHES, BENCH, -3),
    "running": ("Sail bag marks", "sail-bag-mark", 8, "Sailcloth", BENCH, 2),
    "promised": ("Signal flags for the regatta", "signal-flags", 6, "Woven twill", BENCH, 6),
    "draft": ("Harbour pennants", "harbour-pennant", 18, "Pennant felt", BENCH, 9),
    "waits": ("Compass cushions", "compass-rose", 4, "Fleece", WINDOW, 16),
    "dropped": ("Lighthouse bibs", "lighthouse", 5, "Jersey knit", WINDOW, 12),
}


def lay_out_week(designs: Mapping[str, Design], *, at: datetime) -> bool:
    """Return whether the week was laid out now; it is done once, however often it is asked for."""
    if made_before(f"{KEY}-draft") is not None:
        return False
    _lay_out_patches(designs["lifebuoy-patch"], at=at - timedelta(days=20))
    for state in JOBS:
        job = _made(state, designs, at=at - timedelta(days=9 if state == "finished" else 3))
        if state in ("finished", "running", "promised"):
            promise(job, at=at - timedelta(days=2), by=None, although_short=True)
        if state in ("finished", "running"):
            _stitch(_again(job), state, at=at)
        if state == "dropped":
            drop(_again(job), at=at - timedelta(days=1))
    _order(at=at)
    _count(at=at)
    _note(designs["lighthouse"], at=at)
    return True


def _made(state: str, designs: Mapping[str, Design], *, at: datetime) -> Job:
    what, design, pieces, fabric, machine, days = JOBS[state]
    facts = JobFacts(
        what=what,
        pieces=pieces,
        needed_on=localdate(at) + timedelta(days=days + 3),
        fabric=Fabric.objects.filter(name=fabric).first(),
        machine=Machine.objects.filter(name=machine).first(),
    )
    made = make_job(facts, designs=[designs[design]], at=at, by=None, key=f"{KEY}-{state}")
    return _again(made)


def _lay_out_patches(design: Design, *, at: datetime) -> None:
    """What the patches need beside thread: felt laid on at a stop, held by a can of spray, on a cloth of its own."""
    rack, rolls = Place.objects.get(name="Roll rack"), StabilizerProduct.Kind
    felt, _ = StabilizerProduct.objects.get_or_create(
        maker="Tarrowmouth", name="Signal felt", defaults={"kind": rolls.FABRIC, "thickness_mm": 1.2}
    )
    tack, _ = StabilizerProduct.objects.get_or_create(
        maker="Tarrowmouth", name="Tack", defaults={"kind": rolls.SPRAY, "weight_g_m2": 25.0}
    )
    brought = Delivery(key=f"{KEY}-felt", at=at, by=None, place=rack, price_each=Decimal("14.00"))
    receive_rolls(felt, width_mm=900, length_mm=2_000, delivery=brought)
    can = replace(brought, key=f"{KEY}-can", price_each=Decimal("9.50"))
    receive_cans(tack, content_mg=340_000, empty_mg=110_000, delivery=can)
    parts = {part.key: part for part in parts_of(design)}
    lines = [("placement", parts["1.1"]), ("tack-down", parts["1.2"])]
    add_applique(design, lines=lines, product=felt, at=at, by=None, name="the ring", key=f"{KEY}-ring")
    cloth, is_new = Fabric.objects.get_or_create(name=PATCHES)
    if is_new:
        tear, sprayed = rolls.TEAR_AWAY, Layer.Method.SPRAYED
        Layer.objects.create(fabric=cloth, order=1, kind=tear)
        Layer.objects.create(fabric=cloth, order=2, kind=rolls.SPRAY, method=sprayed)


def _again(job: Job) -> Job:
    """Return the job as it stands."""
    return Job.objects.with_everything().get(pk=job.pk)


def _stitch(job: Job, state: str, *, at: datetime) -> None:
    """Tick what was stitched: a finished job whole, a running one some pieces far with a break and a spoiled one."""
    begun = at - (timedelta(days=2) if state == "finished" else timedelta(hours=3))
    run = begin(job, at=begun)
    some = list(run.left) if state == "finished" else list(run.left[:4])
    for number, position in enumerate(some, 1):
        when = begun + timedelta(minutes=20 * number)
        if state == "running" and number == 2:
            broke = Happening(kind="break", key=f"{KEY}-break", position=position, thread=1)
            note(_again(job), broke, at=when - timedelta(minutes=8), by=None)
        kind = "spoiled" if state == "running" and number == 3 else "piece"
        note(
            _again(job),
            Happening(kind=kind, key=f"{KEY}-{state}-{number}", position=position),
            at=when,
            by=None,
        )
    if state == "finished":
        finish(_again(job), Ending(machine_min=95.0), at=begun + timedelta(hours=6), by=None)


def _order(*, at: datetime) -> None:
    """One order on its way, and one that is drafted and not sent."""
    for number, days_ago in enumerate((4, None), 1):
        offer = Offer.objects.filter(put_up__isnull=False).order_by("price", "pk")[number * 2]
        assert offer.put_up is not None  # asked for
        spool = Spool.objects.filter(shade__range=offer.put_up.range).order_by("on_hand", "label").first()
        assert spool is not None  # the demo owns thread of every range on offer
        order = draft_order(
            offer.supplier,
            things=[OrderedThing(offer=offer, packs=1, total=offer.price, shade=spool.shade)],
            key=f"{KEY}-order-{number}",
            at=at - timedelta(days=days_ago or 0),
            by=None,
            shipping=offer.supplier.shipping,
        )
        if days_ago is not None:
            sent = at - timedelta(days=days_ago)
            place_order(
                Order.objects.get(pk=order.pk), at=sent, expected_on=localdate(at) + timedelta(days=1)
            )


def _count(*, at: datetime) -> Stocktake:
    """A drawer that somebody began to count this morning."""
    drawer = Place.objects.get(name="Drawer 1")
    begun = begin_place(drawer, key=f"{KEY}-count", at=at - timedelta(hours=1), by=None)
    there = list(Spool.objects.on_the_shelf().filter(place=drawer).order_by("label"))
    for spool in there[: len(there) // 2]:
        held = Found(quantity=spool.on_hand) if spool.known != Spool.Known.UNKNOWN else Found(level="half")
        record(begun, label=spool.label, found=held, key=f"{KEY}-count-{spool.label}", at=at, by=None)
    return begun


def _note(design: Design, *, at: datetime) -> None:
    jersey = Fabric.objects.filter(name="Jersey knit").first()
    StitchOutNote.objects.create(
        design=design,
        stitched_on=localdate(at) - timedelta(days=2),
        fabric="Jersey knit",
        known_fabric=jersey,
        verdict=StitchOutNote.Verdict.CHANGE,
        words="The tower puckers. Floated a second layer under it: better.",
    )
