"""Spray, film, foam and what holds by itself: planned, taken of the shelf at the finish, cautioned where it is used."""

import pytest
from django.urls import reverse

from inventory.ledger import ledger_problems
from inventory.models import SprayCan, StabilizerProduct, StockItem
from inventory.shelf.receipts import receive_cans
from planning.compute.stabilizer.cautions import (
    FOAM,
    IF_SPRAYED,
    IRON,
    SPRAY,
    STICKY,
    TRIM,
    WATER,
    layer_cautions,
)
from planning.facts.forms import LayerForm
from planning.facts.layers import with_cautions
from planning.jobs.asked import asked_of
from planning.jobs.season import each_alone
from planning.models import Fabric, Layer, RunEvent
from planning.plan.ask import plan_asked
from planning.plan.data import plan_as_data
from planning.run.finish import Ending, finish
from planning.run.promise import promise
from planning.run.reopen import reopen
from planning.run.standing import run_of
from planning.run.ticks import Happening, begin, note
from tests.factories import NOW, a_delivery, a_key, a_roll, a_shade, a_spool, a_stabilizer, some_bobbins
from tests.pages import page_text
from tests.planning.run.jobs import BLUE, RED, a_job

pytestmark = pytest.mark.django_db
PIECE_MM2 = 190 * 240
COAT = 25.0


@pytest.fixture
def cans(workshop) -> list[SprayCan]:
    spray = StabilizerProduct.objects.create(maker="Skerry", name="Hold", kind="spray", weight_g_m2=COAT)
    return [
        receive_cans(spray, content_mg=grams * 1000, empty_mg=110_000, delivery=a_delivery())[0]
        for grams in (5, 300)
    ]


@pytest.fixture
def job(stitch_file, cans):
    a_spool(a_shade("R", hex=RED))
    a_spool(a_shade("B", hex=BLUE))
    some_bobbins(count=20)
    a_roll()
    twill = Fabric.objects.get(name="twill")
    Layer.objects.create(fabric=twill, order=2, kind="spray", method="sprayed")
    return a_job(stitch_file(RED, BLUE, stitches=400), fabric=twill)


def spray_of(plan):
    return next(layer for layer in plan.stabilizer if layer.kind == "spray")


def test_a_coat_takes_its_weight_of_the_piece_and_a_can_is_emptied_before_the_next(job, cans):
    plan = plan_asked(asked_of(job))
    layer = spray_of(plan)
    # 25 g/m² on 0.19 m × 0.24 m are 1.14 g a hooping.
    each = PIECE_MM2 / 1e6 * COAT
    assert layer.spray.needed_mg == round(each * 1000 * plan.hoopings)
    assert layer.spray.takes == ((cans[0].label, 5000), (cans[1].label, layer.spray.needed_mg - 5000))
    assert (layer.verdict, plan.verdict) == ("enough", "enough")
    (told,) = [each for each in plan_as_data(plan)["stabilizer"] if each["kind"] == "spray"]
    assert (told["spray_mg"], told["missing_pieces"], told["cautions"]) == (layer.spray.needed_mg, 0, [SPRAY])


def test_a_can_that_is_nearly_empty_makes_the_batch_short_in_plan_and_season(job, cans):
    StockItem.objects.filter(pk=cans[1].pk).update(retired_at=NOW)
    plan = plan_asked(asked_of(job))
    assert (spray_of(plan).verdict, plan.verdict) == ("short", "short")
    assert [each.verdict for each in each_alone() if each.job.pk == job.pk] == ["short"]
    row = next(each for each in plan_as_data(plan)["shopping"] if each["what"] == "Skerry Hold")
    assert row["need_mg"] == spray_of(plan).spray.needed_mg - 5000


def test_what_was_sprayed_is_booked_at_the_finish_and_taken_back_when_it_is_opened_again(job, cans):
    promise(job, at=NOW, by=None)
    held = StockItem.objects.get(pk=cans[0].pk)
    assert held.reserved == 5000
    begin(job, at=NOW)
    for _ in range(4):
        note(job, Happening(RunEvent.Kind.PIECE, key=a_key()), at=NOW, by=None)
    report = finish(job, Ending(although_unfinished=True), at=NOW, by=None)
    four = round(PIECE_MM2 / 1e6 * COAT * 1000 * 4)
    assert StockItem.objects.get(pk=cans[0].pk).on_hand == 5000 - four
    (row,) = [each for each in report.facts["stabilizer"] if each["product"] == "Skerry Hold"]
    assert (row["used_mg"], row["used_pieces"]) == (four, 4)
    assert row["planned_mg"] > four
    assert StockItem.objects.filter(reserved__gt=0, kind="can").count() == 0
    job.refresh_from_db()
    reopen(job, why="two more", at=NOW, by=None)
    assert StockItem.objects.get(pk=cans[0].pk).on_hand == 5000
    assert ledger_problems() == []


def test_the_caution_stands_on_the_plan_the_run_sheet_and_the_finish(job, signed_in):
    assert "Spray away from the machine" in page_text(signed_in.get(reverse("job", args=[job.pk])))
    promise(job, at=NOW, by=None)
    begin(job, at=NOW)
    assert "safety data" in page_text(signed_in.get(reverse("run_sheet", args=[job.pk])))
    note(job, Happening(RunEvent.Kind.PIECE, key=a_key()), at=NOW, by=None)
    assert "Sprayed: 1.1" in page_text(signed_in.get(reverse("finish_job", args=[job.pk])))
    assert run_of(job).promise.answer["stabilizer"][1]["cautions"] == [SPRAY]


def test_what_a_product_holds_by_and_comes_off_by_decides_the_caution(workshop):
    assert layer_cautions(kind="cut-away", method="hooped", holds_by="fusible") == (IRON,)
    assert layer_cautions(kind="tear-away", method="floated", holds_by="sticky") == (STICKY,)
    assert layer_cautions(kind="tear-away", method="floated") == (IF_SPRAYED,)
    assert layer_cautions(kind="topping", method="topping", comes_off="water") == (IF_SPRAYED, WATER)
    assert FOAM in layer_cautions(kind="foam", method="topping")
    assert layer_cautions(kind="fabric", method="applique 1") == (TRIM,)
    # A promise that was made before cautions were kept with it is told by kind and method.
    old = {"kind": "heat-away", "method": "laid on top", "piece_mm": [1, 1]}
    (kept,) = with_cautions([old])
    assert len(kept["cautions"]) == 2


def test_foam_and_film_are_cut_like_any_layer(stitch_file, workshop):
    foam = StabilizerProduct.objects.create(maker="Skerry", name="Puff", kind="foam", thickness_mm=3)
    a_roll(foam)
    a_roll(a_stabilizer("topping", weight_g_m2=20, comes_off="water"))
    a_roll()
    twill = Fabric.objects.get(name="twill")
    Layer.objects.create(fabric=twill, order=2, kind="foam", method="topping")
    Layer.objects.create(fabric=twill, order=3, kind="topping", method="topping")
    plan = plan_asked(asked_of(a_job(stitch_file(RED), fabric=twill)))
    of = {layer.kind: layer for layer in plan.stabilizer}
    assert {each.verdict for each in of.values()} == {"enough"}
    assert FOAM in of["foam"].cautions
    assert WATER in of["topping"].cautions


def test_a_spray_is_sprayed_and_nothing_else_is():
    asked = {"weight_from_g_m2": 0, "weight_to_g_m2": 1000, "count": 1}
    assert not LayerForm(asked | {"kind": "spray", "method": "hooped"}).is_valid()
    assert not LayerForm(asked | {"kind": "topping", "method": "sprayed"}).is_valid()
    assert LayerForm(asked | {"kind": "spray", "method": "sprayed"}).is_valid()
    assert not LayerForm(asked | {"kind": "fabric", "method": "topping"}).is_valid()
