"""Every act that changes the workshop, on one workshop that is always the same.

To be imported where Django is set up. An act here finds what it needs by name and takes its moment and key as given,
so that done twice from the same database it leaves the same rows.
"""

from collections.abc import Callable
from pathlib import Path
from typing import Any

from inventory import ledger
from inventory.compute.lengths import ScaleReading
from inventory.files.importing import apply_import
from inventory.models import (
    BobbinBatch,
    BobbinStyle,
    Entry,
    NeedlePack,
    Offcut,
    Offer,
    PartBobbin,
    Place,
    PutUp,
    Reservation,
    Shade,
    SheetPack,
    Spool,
    StabilizerRoll,
    StockItem,
    Stocktake,
    Supplier,
)
from inventory.orders import orders
from inventory.shelf import bobbins, counts, diameters, needles, offcuts, receipts, things, weights
from inventory.stocktakes import stocktakes
from planning.buying.drafting import draft_orders
from planning.cutting.cuts import post_cut
from planning.facts.learning import observe
from planning.facts.setup import add_setting, edit_setting, set_recipe
from planning.jobs import jobs, pinning
from planning.library.colours import RequestedColour, recolour
from planning.library.search import describe_design
from planning.models import Fabric, Hoop, Layer, RunEvent
from planning.run.finish import Ending, WeighedBack, drop, finish
from planning.run.promise import pick_up, promise, same_again, take_promise_back
from planning.run.ticks import Happening, begin, note, stop_before_the_first, take_back
from tests.factories import a_place, a_put_up, a_shade, a_spool, a_stabilizer
from tests.planning.acting.scene import NOW, another_red_spool, basket, fresh, set_up
from tests.workshop.storms.found import HOW, KEY, the_badge, the_job, the_machine, the_order, the_spool
from tests.workshop.storms.layers_and_lists import LAYERS, LISTS, lay_layers_and_lists

DELIVERY = receipts.Delivery(key=KEY, at=NOW, by=None)
DRAFT, PROMISED, NOT_BEGUN, RUNNING, DROPPED, CUT, LARGE = (
    "a draft",
    "a promised job",
    "a job just begun",
    "a running job",
    "a dropped job",
    "a job to cut for",
    "a job to buy for",
)


def open_the_workshop() -> None:
    """Fill an empty database with one thing of every kind and one job in every state. Done once."""
    set_up()
    another_red_spool()
    blue = a_shade("B", hex="#1c2b8d", name="harbour blue")
    a_spool(blue, left_m=400, place=a_place("wall"))
    put_up = a_put_up(metres=1000)
    PutUp.objects.filter(pk=put_up.pk).update(full_diameter_mm=40, core_diameter_mm=20)
    style = BobbinStyle.objects.get()
    delivery = {"at": NOW, "by": None}
    receipts.receive_sheets(
        a_stabilizer(),
        width_mm=300,
        height_mm=400,
        count=30,
        delivery=receipts.Delivery(key="sheets", **delivery),
    )
    receipts.receive_needles(
        system="130/705", size=75, count=30, delivery=receipts.Delivery(key="needles", **delivery)
    )
    things.retire(a_spool(blue, key="to-retire"), key="retire", at=NOW, by=None)
    bobbins.wind_bobbins(
        Spool.objects.earliest("pk"), style=style, count=1, length_mm=9_000, key="wind", at=NOW, by=None
    )
    ledger.set_aside(the_spool("B"), quantity=1_000, holder="a friend", key="aside", at=NOW, by=None)
    _orders_in_all_states()
    stocktakes.begin_place(a_place("wall"), key="round", at=NOW, by=None)
    _jobs_in_all_states()
    lay_layers_and_lists()
    # After the jobs, so that none of them has set these aside or used them up.
    bobbins.open_bobbin(BobbinBatch.objects.earliest("pk"), key="open", at=NOW, by=None)
    receipts.receive_offcut(
        a_stabilizer(), width_mm=300, height_mm=300, delivery=receipts.Delivery(key="offcut", **delivery)
    )


def _orders_in_all_states() -> None:
    offer = Offer.objects.earliest("pk")
    wanted = [orders.OrderedThing(offer, 4, offer.price * 4, shade=Shade.objects.get(code="R"))]
    for name in ("draft", "placed", "half"):
        order = orders.draft_order(offer.supplier, things=wanted, key=name, at=NOW, by=None)
        if name != "draft":
            orders.place_order(order, at=NOW)
        if name == "half":
            arrived = [orders.Arrived(order.lines.get(), 1)]
            orders.receive_order(order, arrived=arrived, key="first half", at=NOW, by=None)


def _jobs_in_all_states() -> None:
    for what in (DRAFT, PROMISED, NOT_BEGUN, RUNNING, DROPPED, CUT, LARGE):
        layered = Fabric.objects.get(name="twill") if what == CUT else None
        facts = jobs.JobFacts(
            what=what,
            pieces=20_000 if what == LARGE else 6,
            tests=1,
            machine=the_machine(),
            fabric=layered,
        )
        job = fresh(jobs.make_job(facts, designs=[the_badge()], at=NOW, by=None))
        if what in (PROMISED, NOT_BEGUN, RUNNING):
            promise(job, at=NOW, by=None, although_short=True)
        if what in (NOT_BEGUN, RUNNING):
            begin(fresh(job), at=NOW)
        if what == RUNNING:
            note(fresh(job), Happening("piece", key="first"), at=NOW, by=None)
        if what == DROPPED:
            drop(fresh(job), at=NOW)


def _note(kind: str, **more: Any) -> Callable[[], object]:
    return lambda: note(the_job(RUNNING), Happening(kind, key=KEY, **more), at=NOW, by=None)


def _swap() -> object:
    other = Spool.objects.filter(shade__code="R", retired_at=None).latest("pk")
    return note(
        the_job(RUNNING),
        Happening("spool", key=KEY, thread=1, label=other.label, ran_out=True, left="nothing"),
        at=NOW,
        by=None,
    )


def _weigh_back() -> object:
    ending = Ending(
        weighed=(WeighedBack(the_spool("R").label, ScaleReading(37_000, 100), sure=True),),
        bobbins=1.0,
        machine_min=12.0,
        although_unfinished=True,
    )
    return finish(the_job(RUNNING), ending, at=NOW, by=None)


def _recipe() -> object:
    twill = Fabric.objects.get(name="twill")
    return set_recipe(
        twill,
        [Layer(fabric=twill, kind="cut-away", count=2), Layer(fabric=twill, kind="topping", count=1)],
        at=NOW,
        by=None,
    )


def _receive_the_rest() -> object:
    order = the_order("half")
    line = order.lines.get()
    return orders.receive_order(
        order,
        arrived=[orders.Arrived(line, line.to_come)],
        key=KEY,
        at=NOW,
        by=None,
        place=Place.objects.get(),
    )


def _import() -> object:
    return apply_import(
        (Path(__file__).parents[3] / "fixtures" / "imports" / "good" / "shades.csv").read_bytes(),
        kind="shades",
        at=NOW,
        by=None,
    )


SHELF: dict[str, Callable[[], object]] = {
    "use": lambda: ledger.use(the_spool("R"), quantity=1_000, **HOW),
    "waste": lambda: ledger.waste(the_spool("R"), quantity=1_000, **HOW),
    "set aside": lambda: ledger.set_aside(the_spool("B"), quantity=5_000, holder="x", **HOW),
    "release": lambda: ledger.release(list(Reservation.objects.filter(holder="a friend"))),
    "take an act back": lambda: ledger.reverse(Entry.objects.filter(key="wind").earliest("pk"), **HOW),
    "count": lambda: counts.count_item(the_spool("B"), quantity=123_000, **HOW),
    "weigh": lambda: weights.weigh_spool(the_spool("B"), gross_mg=20_000, scale_resolution_mg=100, **HOW),
    "judge": lambda: weights.judge_spool(the_spool("B"), level="half", **HOW),
    "learn a tare": lambda: weights.learn_tare(the_spool("B"), empty_mg=11_500, **HOW),
    "measure": lambda: diameters.measure_spool(the_spool("B"), diameter_mm=31.0, tool="calipers", **HOW),
    "wind": lambda: bobbins.wind_bobbins(
        the_spool("R"), style=BobbinStyle.objects.get(), count=3, length_mm=9_000, **HOW
    ),
    "open a bobbin": lambda: bobbins.open_bobbin(BobbinBatch.objects.earliest("pk"), **HOW),
    "put a bobbin back": lambda: bobbins.put_back_part_bobbin(
        PartBobbin.objects.get(), left_mm=40_000, **HOW
    ),
    "cut a piece": lambda: offcuts.cut_piece(
        StabilizerRoll.objects.earliest("pk"), width_mm=200, height_mm=200, keep=[(300, 200)], **HOW
    ),
    "cut an offcut": lambda: offcuts.cut_piece(
        Offcut.objects.latest("pk"), width_mm=200, height_mm=200, **HOW
    ),
    "receive spools": lambda: receipts.receive_spools(
        Shade.objects.get(code="B"), put_up=a_put_up(metres=1000), count=5, delivery=DELIVERY
    ),
    "receive rolls": lambda: receipts.receive_rolls(
        a_stabilizer(), width_mm=500, length_mm=9_000, count=3, delivery=DELIVERY
    ),
    "move": lambda: things.move(the_spool("R"), place=Place.objects.get(), at=NOW, by=None, key=KEY),
    "retire": lambda: things.retire(Spool.objects.filter(shade__code="R").latest("pk"), **HOW),
    "put back on the shelf": lambda: things.put_back_on_shelf(
        StockItem.objects.exclude(retired_at=None).earliest("pk"), **HOW
    ),
    "split a pack": lambda: things.split_pack(SheetPack.objects.get(), count=2, **HOW),
    "use a needle": lambda: needles.use_needle(NeedlePack.objects.get(), **HOW),
    "begin a stocktake": lambda: stocktakes.begin_items(
        list(StockItem.objects.filter(kind="roll")), what="rolls", **HOW
    ),
    "find in a stocktake": lambda: stocktakes.record(
        Stocktake.objects.get(), label=the_spool("B").label, found=counts.Found(quantity=300_000), **HOW
    ),
    "finish a stocktake": lambda: stocktakes.finish(Stocktake.objects.get(), at=NOW),
    "draft an order": lambda: orders.draft_order(
        Supplier.objects.get(),
        things=[orders.OrderedThing(offer, 2, offer.price * 2, shade=Shade.objects.get(code="B"))]
        if (offer := Offer.objects.earliest("pk"))
        else [],
        **HOW,
    ),
    "place an order": lambda: orders.place_order(the_order("draft"), at=NOW),
    "cancel an order": lambda: orders.cancel_order(the_order("placed"), at=NOW),
    "receive an order": _receive_the_rest,
    "take a receipt back": lambda: orders.reverse_receipt(
        the_order("half"), key="first half", at=NOW, by=None
    ),
    "import a list": _import,
}
PLAN: dict[str, Callable[[], object]] = {
    "make a job": lambda: jobs.make_job(
        jobs.JobFacts(what="new", pieces=3, machine=the_machine()),
        designs=[the_badge()],
        at=NOW,
        by=None,
        key=KEY,
    ),
    "change a job": lambda: jobs.change_job(
        the_job(DRAFT), jobs.JobFacts(what="other", pieces=9, machine=the_machine())
    ),
    "delete a job": lambda: jobs.delete_job(the_job(DRAFT)),
    "pin shades": lambda: pinning.pin_all(the_job(DRAFT)),
    "promise": lambda: promise(the_job(DRAFT), at=NOW, by=None, although_short=True, key=KEY),
    "take a promise back": lambda: take_promise_back(the_job(PROMISED), at=NOW),
    "drop": lambda: drop(the_job(PROMISED), at=NOW),
    "pick up": lambda: pick_up(the_job(DROPPED), at=NOW),
    "same again": lambda: same_again(the_job(RUNNING), pieces=4, at=NOW, by=None, key=KEY),
    "begin": lambda: begin(the_job(PROMISED), at=NOW),
    "stop before the first": lambda: stop_before_the_first(the_job(NOT_BEGUN), at=NOW),
    "tick": _note("piece"),
    "spoil": _note("spoiled"),
    "break a thread": _note("break", thread=1),
    "swap": _swap,
    "take a tick back": lambda: take_back(RunEvent.objects.get(key__endswith="first"), **HOW),
    "finish": _weigh_back,
    "cut": lambda: post_cut([the_job(CUT)], shown=None, **HOW),
    "draft orders": lambda: draft_orders(basket, **HOW),
    "learn": lambda: observe(
        the_machine(), "needle", estimated=100_000.0, actual=120_000.0, sigma=900.0, **HOW
    ),
    "set a recipe": _recipe,
    "add a hoop": lambda: add_setting(
        Hoop(name="new", field_width_mm=90, field_height_mm=90, ring_width_mm=110, ring_height_mm=110),
        at=NOW,
        by=None,
    ),
    "change a machine": lambda: edit_setting(the_machine(), changes={"needles": 6}, at=NOW, by=None),
    "recolour": lambda: recolour(the_badge(), {1: RequestedColour(hex="#1c2b8d", name="blue")}),
    "describe": lambda: describe_design(the_badge(), name="a name", tags=["a", "b"], favourite=True),
}
ACTS = SHELF | PLAN | LAYERS | LISTS
