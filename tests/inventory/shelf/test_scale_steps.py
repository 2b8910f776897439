"""One rule for how finely a scale reads: every figure that was typed counts, wherever it was typed."""

import io
import math
from io import StringIO

import pytest
from django.core.management import call_command
from django.urls import reverse
from openpyxl import Workbook

from inventory.compute.lengths import AmbiguousNumber, read_scale
from inventory.files.importing import apply_import, preview_import
from inventory.models import Spool, StockItem
from inventory.shelf.weights import STATED_TEX_SIGMA
from inventory.stocktakes.stocktakes import begin_items
from tests.factories import NOW, a_key, a_put_up, a_range, a_shade, a_spool

TEX = 27.0
TARE_MG = 12_000


def sigma_mm(*, net_g: float, step_mg: int) -> float:
    """Return the sigma that two readings to ``step_mg`` give (JCGM 100:2008, F.2.2.1), with tex known to 3 %.

    Polyester swings with the damp by 0.1 % (0.004 / 1.004 / 4).
    """
    readings = step_mg / math.sqrt(12) * math.sqrt(2) / TEX * 1000
    length = net_g * 1000 / TEX * 1000
    return math.hypot(readings, length * STATED_TEX_SIGMA, length * 0.25 * 0.004 / 1.004)


@pytest.fixture
def spool(db: None) -> Spool:
    """A spool whose own empty weight is known, so that nothing but the scale differs from route to route."""
    range = a_range(tex=TEX)
    a_put_up(range, metres=1000, tare_mg=TARE_MG)
    made = a_spool(a_shade("R1", range=range), metres=1000)
    Spool.objects.filter(pk=made.pk).update(tare_mg=TARE_MG)
    return Spool.objects.get(pk=made.pk)


@pytest.fixture
def signed_in(client, person):
    client.force_login(person)
    return client


# What was typed, and the step that its last figure stands for.
READINGS = [("12.8 g", 100), ("12.80 g", 10), ("13 g", 1000), ("0.0128 kg", 100)]


def on_the_item_page(client, spool, typed):
    client.post(reverse("act", args=[spool.label, "weigh"]), {"gross": typed, "key": a_key()})


def in_the_scan_box(client, spool, typed):
    client.post(reverse("scan"), {"code": spool.label, "amount": typed, "key": a_key()})


def in_a_stocktake(client, spool, typed):
    stocktake = begin_items([spool], what="one spool", key=a_key(), at=NOW, by=None)
    found = {"code": spool.label, "found": typed, "key": a_key()}
    client.post(reverse("stocktake", args=[stocktake.pk]), found)


def by_weigh(client, spool, typed):
    call_command("weigh", spool.label, typed, stdout=StringIO())


def by_count_stock(client, spool, typed):
    call_command("count_stock", spool.label, *typed.split(), stdout=StringIO())


def from_a_file(client, spool, typed):
    apply_import(f"label;weight_g\n{spool.label};{typed}\n".encode(), kind="spools", at=NOW, by=None)


@pytest.mark.parametrize(("typed", "step_mg"), READINGS)
@pytest.mark.parametrize(
    "route", [on_the_item_page, in_the_scan_box, in_a_stocktake, by_weigh, by_count_stock, from_a_file]
)
def test_every_way_to_weigh_counts_the_figures_that_were_typed(signed_in, spool, route, typed, step_mg):
    route(signed_in, spool, typed)
    weighed = StockItem.objects.get(pk=spool.pk)
    assert weighed.known == "weighed"
    net_g = (read_scale(typed).mg - TARE_MG) / 1000
    assert weighed.sigma == pytest.approx(sigma_mm(net_g=net_g, step_mg=step_mg), rel=0.002)


@pytest.mark.parametrize("command", ["weigh", "count_stock"])
def test_a_step_that_is_stated_holds_whatever_was_typed(spool, command):
    call_command(command, spool.label, "12.80g", "--scale", "5 g", stdout=StringIO())
    assert StockItem.objects.get(pk=spool.pk).sigma == pytest.approx(
        sigma_mm(net_g=0.8, step_mg=5000), rel=0.002
    )


def test_a_column_states_the_step_of_the_scale_of_a_file(spool):
    content = f"label,weight_g,scale_step_g\n{spool.label},12.80,0.5\n".encode()
    apply_import(content, kind="spools", at=NOW, by=None)
    assert StockItem.objects.get(pk=spool.pk).sigma == pytest.approx(
        sigma_mm(net_g=0.8, step_mg=500), rel=0.002
    )


def test_a_step_without_a_weight_is_refused(spool):
    content = f"label,length_m,scale_step_g\n{spool.label},12,0.5\n".encode()
    (problem,) = preview_import(content, kind="spools").problems
    assert problem.column == "scale_step_g"
    assert "gives no weight_g" in problem.reason


@pytest.mark.parametrize(
    ("cell", "step_mg"),
    # A workbook keeps no last zero, so that 12.80 counts as 12.8; what was worked out counts as a kitchen scale.
    [(12.8, 100), (12.85, 10), (13, 1000), (38.41 / 3, 1000)],
)
def test_a_workbook_tells_what_its_number_keeps(spool, cell, step_mg):
    book = Workbook()
    book.active.append(["label", "weight_g"])
    book.active.append([spool.label, cell])
    file = io.BytesIO()
    book.save(file)
    apply_import(file.getvalue(), kind="spools", at=NOW, by=None)
    assert StockItem.objects.get(pk=spool.pk).sigma == pytest.approx(
        sigma_mm(net_g=cell - 12, step_mg=step_mg), rel=0.002
    )


@pytest.mark.parametrize(
    ("typed", "unit", "step_mg"),
    [
        ("52", "g", 1_000),
        ("52.4", "g", 100),
        ("52,40 g", "oz", 10),
        ("1.85", "oz", 283),
        ("0.05 kg", "g", 10_000),
        # The points of a grouped number are no decimals.
        ("1,052.4", "g", 100),
        ("1 052", "g", 1_000),
        # Nothing here is read more finely than stock is kept.
        ("52.40000", "g", 1),
    ],
)
def test_a_scale_is_as_fine_as_the_figures_that_were_typed(typed, unit, step_mg):
    assert read_scale(typed, unit=unit).resolution_mg == step_mg


def test_a_reading_with_two_meanings_is_asked_about():
    with pytest.raises(AmbiguousNumber):
        read_scale("52.400")
