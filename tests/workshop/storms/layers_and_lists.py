"""Acts on cans, films, foam, fabric and appliques, on second spools, on many things, shades and lists, by a program.

To be imported where Django is set up. What they need is laid by ``lay_layers_and_lists``, after the jobs.
"""

import math
import tempfile
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pyembroidery
from django.contrib.auth.models import User
from django.test import Client
from django.urls import get_resolver

from inventory.catalogue.merging import merge_shades, rename_shade, take_back_shade_act
from inventory.compute.errors import WorkshopError
from inventory.compute.lengths import ScaleReading
from inventory.files.listening.landing import land_list
from inventory.files.listening.reading import read_kept_list
from inventory.files.listening.rows import Reading, understand
from inventory.ledger import use
from inventory.lists.many import find_many, move_many, relabel_many, retire_many, take_back_many
from inventory.models import (
    ActOnMany,
    Place,
    Shade,
    ShadeAct,
    SprayCan,
    StabilizerProduct,
    StabilizerRoll,
    StockItem,
)
from inventory.shelf import corrections, counts, offcuts, receipts, weights
from planning.jobs import jobs
from planning.library.appliques import add_applique, part_meant, parts_of, remove_applique
from planning.library.designs import keep_design
from planning.models import Applique, Design, Fabric, Hoop, Layer, Machine, PromisedSpool
from planning.run.again import note_told
from planning.run.finish import Ending, finish
from planning.run.promise import promise
from planning.run.reopen import reopen
from planning.run.second_needle import name_needle
from planning.run.ticks import Happening, begin, note
from planning.stitch_files.reading import read_design_file
from tests.factories import a_put_up, a_roll, a_shade, a_spool, a_stabilizer
from tests.planning.acting.scene import NOW, fresh
from tests.workshop.storms.found import HOW, KEY, the_badge, the_job, the_machine, the_spool
from workshop.models import Token
from workshop.people.members import hashed
from workshop.people.rights import Right
from workshop.people.tokens import BEGINS

SAILS, DONE = "sails with an applique", "a finished job"
GOLD, BLUE = "#d9a520", "#1c2b8d"
SECRET = f"{BEGINS}of-a-scale-that-weighs-in-a-storm"
FAR = datetime(2099, 1, 1, tzinfo=UTC)
LIST = b"Brand,Colour no,Colour,Wt,Left,Qty,Box\nSkerry,1147,dark blue,40 wt,half,1,A\nSkerry,12,red,40 wt,new,3,B\n"
DELIVERY = receipts.Delivery(key=KEY, at=NOW, by=None)


def lay_layers_and_lists() -> None:
    """Lay a can, a film, fabric, a design with an applique that a job stitches on four needles, and what was done."""
    of = {"at": NOW, "by": None}
    spray = StabilizerProduct.objects.create(maker="Skerry", name="Hold", kind="spray", weight_g_m2=25.0)
    receipts.receive_cans(
        spray,
        content_mg=300_000,
        empty_mg=110_000,
        count=2,
        delivery=receipts.Delivery(key="cans", **of),
    )
    StabilizerProduct.objects.create(maker="Skerry", name="Puff", kind="foam", thickness_mm=3.0)
    canvas = StabilizerProduct.objects.create(maker="Skerry", name="Canvas", kind="fabric", has_grain=True)
    a_roll(canvas)
    a_roll(a_stabilizer("topping", weight_g_m2=20.0))
    gold = a_shade("G", hex=GOLD, name="flag gold")
    for number in range(2):
        a_spool(gold, left_m=45, key=f"gold-{number}")
    a_shade("OLD", hex=BLUE, name="old blue")
    a_spool(Shade.objects.get(code="OLD"), key="old")
    rename_shade(Shade.objects.get(code="W"), code="W0", key="renamed", **of)
    moved = list(StockItem.objects.filter(spool__shade=gold))
    move_many(moved, place=Place.objects.earliest("pk"), key="moved", **of)
    _stitch_sails(canvas)
    _finish_a_job()
    get_resolver().url_patterns  # noqa: B018  loads all that a request needs, which no act should take time for
    person = User.objects.create_user("a scale", is_superuser=True)
    Token.objects.create(
        name="a scale",
        user=person,
        right=Right.PLAN,
        secret_sha256=hashed(SECRET),
        made_at=NOW,
        by=person,
        ends_at=FAR,
        used_at=FAR,  # each use would be a write of its own, before the act
    )


def _stitch_sails(canvas: StabilizerProduct) -> None:
    four = Machine.objects.create(name="four needles", needles=4, bobbin_style=the_machine().bobbin_style)
    four.hoops.add(Hoop.objects.earliest("pk"))
    cloth = Fabric.objects.create(name="sailcloth", thickness_mm=0.6)
    Layer.objects.create(fabric=cloth, order=1, kind="tear-away", count=1)
    Layer.objects.create(fabric=cloth, order=2, kind="spray", method="sprayed")
    design = _sail()
    parts = parts_of(design)
    lines = [
        (role, part_meant(each, parts))
        for role, each in (("placement", "1"), ("tack-down", "1.2"), ("cover", "2"))
    ]
    add_applique(design, lines=lines, product=canvas, name="sail", at=NOW, by=None)
    facts = jobs.JobFacts(what=SAILS, pieces=50, tests=1, machine=four, fabric=cloth)
    job = fresh(jobs.make_job(facts, designs=[design], at=NOW, by=None))
    promise(job, at=NOW, by=None, although_short=True)
    begin(fresh(job), at=NOW)
    note(fresh(job), Happening("piece", key="a sail"), at=NOW, by=None)


def _sail() -> Design:
    """Return a sail: its line and tack-down in blue with a stop between, its cover in gold."""
    pattern = pyembroidery.EmbPattern()
    pattern.add_thread({"hex": BLUE, "name": "line"})
    pattern.add_thread({"hex": GOLD, "name": "cover"})
    for round_ in range(2):
        for step in range(61):
            angle = math.tau * step / 60
            pattern.stitch_abs(200 * math.cos(angle), 200 * math.sin(angle))
        if round_ == 0:
            pattern.add_command(pyembroidery.STOP)
    pattern.color_change()
    for step in range(300):
        angle, radius = math.tau * step / 299, 215 if step % 2 else 185
        pattern.stitch_abs(radius * math.cos(angle), radius * math.sin(angle))
    pattern.end()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sail.jef"
        pyembroidery.write(pattern, str(path))
        return keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)


def _finish_a_job() -> None:
    facts = jobs.JobFacts(what=DONE, pieces=1, machine=the_machine(), fabric=Fabric.objects.get(name="twill"))
    job = fresh(jobs.make_job(facts, designs=[the_badge()], at=NOW, by=None))
    promise(job, at=NOW, by=None, although_short=True)
    begin(fresh(job), at=NOW)
    note(fresh(job), Happening("piece", key="the only one"), at=NOW, by=None)
    finish(fresh(job), Ending(although_unfinished=True), at=NOW, by=None)


def _can() -> SprayCan:
    return SprayCan.objects.earliest("pk")


def _red() -> list[StockItem]:
    return list(StockItem.objects.filter(spool__shade__code="R", retired_at=None).order_by("pk"))


def _old() -> list[StockItem]:
    return list(StockItem.objects.filter(spool__shade__code="OLD", retired_at=None).order_by("pk"))


def _kinds(kind: str) -> StabilizerProduct:
    return StabilizerProduct.objects.filter(kind=kind).earliest("pk")


def _second() -> PromisedSpool:
    return PromisedSpool.objects.filter(thread__promise__job__what=SAILS, order=2).get()


def _applique() -> object:
    parts = parts_of(the_badge())
    return add_applique(
        the_badge(), lines=[("cover", part_meant("1", parts))], product=_kinds("fabric"), name="patch", **HOW
    )


def _land() -> object:
    kept = read_kept_list(LIST)
    way = Reading(kept.guessed)
    return land_list(kept, understand(kept, way), reading=way, at=NOW, by=None)


def _weigh_by_program() -> None:
    """Weigh as a scale does that holds a token. Raises WorkshopError with what it is told where it is refused."""
    label = the_spool("B").label
    answer = Client(SERVER_NAME="localhost").post(
        f"/api/1/stock/{label}/weigh",
        {"gross_mg": 20_000, "scale_step_mg": 100},
        content_type="application/json",
        headers={"Authorization": f"Bearer {SECRET}", "Idempotency-Key": KEY},
    )
    if answer.status_code != 200:
        raise WorkshopError(answer.content.decode())


LAYERS: dict[str, Callable[[], object]] = {
    "receive cans": lambda: receipts.receive_cans(
        _kinds("spray"), content_mg=400_000, count=3, delivery=DELIVERY
    ),
    "weigh a can": lambda: weights.weigh_can(
        _can(), gross=ScaleReading(260_000, 1_000), empty_mg=112_000, **HOW
    ),
    "spray": lambda: use(_can(), quantity=2_500, **HOW),
    "receive foam": lambda: receipts.receive_sheets(
        _kinds("foam"),
        width_mm=300,
        height_mm=300,
        count=5,
        delivery=DELIVERY,
    ),
    "receive fabric": lambda: receipts.receive_rolls(
        _kinds("fabric"), width_mm=1_400, length_mm=3_000, count=2, delivery=DELIVERY
    ),
    "cut a film": lambda: offcuts.cut_piece(
        StabilizerRoll.objects.get(product__kind="topping"),
        width_mm=200,
        height_mm=150,
        keep=[(200, 150)],
        **HOW,
    ),
    "cut fabric": lambda: offcuts.cut_piece(
        StabilizerRoll.objects.get(product__kind="fabric"),
        width_mm=200,
        height_mm=200,
        keep=[(300, 200)],
        **HOW,
    ),
    "say an applique": _applique,
    "take an applique out": lambda: remove_applique(Applique.objects.get(), at=NOW, by=None),
    "name a second needle": lambda: name_needle(
        the_job(SAILS), label=_second().item.label, needle=4 if _second().needle != 4 else None, **HOW
    ),
    "tick a sail": lambda: note(the_job(SAILS), Happening("piece", key=KEY), at=NOW, by=None),
    "go on with the second spool": lambda: note(
        the_job(SAILS),
        Happening(
            "spool",
            key=KEY,
            thread=_second().thread.order,
            label=_second().item.label,
            ran_out=True,
            left="nothing",
        ),
        at=NOW,
        by=None,
    ),
    "stitch a part again": lambda: note_told(
        the_job(SAILS), Happening("restitch", key=KEY, block=2), at=NOW, by=None
    ),
    "finish with fabric and spray": lambda: finish(
        the_job(SAILS), Ending(bobbins=2.0, although_unfinished=True), at=NOW, by=None
    ),
    "open a finished job again": lambda: reopen(the_job(DONE), why="one more", at=NOW, by=None),
}
LISTS: dict[str, Callable[[], object]] = {
    "move many": lambda: move_many(_red(), place=Place.objects.earliest("pk"), **HOW),
    "relabel many": lambda: relabel_many(
        _red(), labels={each.pk: f"NEW-{number}" for number, each in enumerate(_red())}, **HOW
    ),
    "find many": lambda: find_many(
        [(each, counts.Found(quantity=400_000 + 1_000 * number)) for number, each in enumerate(_red())], **HOW
    ),
    "retire many": lambda: retire_many(_old(), reference="worn", **HOW),
    "take an act on many back": lambda: take_back_many(ActOnMany.objects.get(), **HOW),
    "correct a spool": lambda: corrections.correct_spool(
        the_spool("OLD"), shade=Shade.objects.get(code="B"), put_up=a_put_up(metres=1000), **HOW
    ),
    "rename a shade": lambda: rename_shade(Shade.objects.get(code="B"), code="B2", name="harbour", **HOW),
    "make two shades one": lambda: merge_shades(
        Shade.objects.get(code="B"), into=Shade.objects.get(code="OLD"), **HOW
    ),
    "take a renaming back": lambda: take_back_shade_act(ShadeAct.objects.get(), at=NOW, by=None),
    "land a list": _land,
    "weigh by a program": _weigh_by_program,
}
