"""What is exported can be imported again and changes nothing; and no spreadsheet runs it."""

import csv
import io
from collections.abc import Callable
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import openpyxl
import pytest
from django.db.models import Model, Sum
from hypothesis import example, given, settings
from hypothesis import strategies as st

from inventory import ledger
from inventory.files.export import export_csv, export_xlsx, template_csv, template_xlsx
from inventory.files.importing import KINDS, FileNotRead, NoSuchKind, Preview, apply_import, preview_import
from inventory.ledger import Finding
from inventory.models import (
    BobbinBatch,
    BobbinStyle,
    EarlierCode,
    Entry,
    Offer,
    PartBobbin,
    Place,
    PutUp,
    Shade,
    Spool,
    StabilizerProduct,
    StockItem,
    Supplier,
    ThreadRange,
)
from inventory.shelf.bobbins import open_bobbin
from inventory.shelf.receipts import receive_offcut, receive_sheets
from inventory.shelf.things import retire
from inventory.shelf.weights import mark_unknown
from tests.factories import (
    NOW,
    a_delivery,
    a_key,
    a_place,
    a_put_up,
    a_range,
    a_roll,
    a_shade,
    a_spool,
    a_stabilizer,
    an_offer,
    some_bobbins,
)

pytestmark = pytest.mark.django_db

EXPORTS = pytest.mark.parametrize("export", [export_csv, export_xlsx])
Export = Callable[..., bytes]
# A lone surrogate is no letter, and no database keeps a zero byte in text.
TEXT = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), max_size=40)
NASTY = ["=2+3", "'=2+3", "+12", "-3", "@SUM(A1)", "\tx", "\rx", "a\r\nb", "_x0041_", "\x1fx", "\ufffex"]
NASTY += ['"', "'", "7.500"]


def act() -> dict[str, Any]:
    return {"key": a_key(), "at": NOW, "by": None}


def a_workshop() -> None:
    """Put one of everything on the shelf, known in every way, with odd numbers and letters."""
    thread = a_range("Skerry", "Forty", tex=26.999_999)
    shade = a_shade("+12", name='=Écume "x"; y', range=thread)
    EarlierCode.objects.create(shade=shade, code="a;b")
    Shade.objects.create(range=thread, code="no colour")
    a_put_up(thread, metres=1000, tare_mg=12_345)
    cone = a_put_up(thread, metres=5000, tare_mg=None)
    PutUp.objects.filter(pk=cone.pk).update(
        full_diameter_mm=57.25, core_diameter_mm=40.0, winding_height_mm=120.0
    )
    ThreadRange.objects.create(
        maker="Tern", name="Nothing yet", tex=100 / 3, purpose="bobbin", fibre="cotton", washing="boiled",
        needle="75/11 light ball", most_stitches_per_minute=650,
    )  # fmt: skip
    ThreadRange.objects.create(maker="Tern", name="Spun", tex=25.0, tex_typed="Nm 80/2", fibre="cotton")
    a_spool(shade, place=a_place("wall, left; 2"), lot="-1", price_each=Decimal("4.20"))
    weighed = a_spool(shade, left_m=500)
    ledger.find(weighed, quantity=123_456, finding=Finding(1234.567_891_234, "weighed"), **act())
    mark_unknown(a_spool(shade, left_m=3), **act())
    Spool.objects.filter(pk=weighed.pk).update(put_up=None, tare_mg=9_876)
    unknown = a_spool(shade)
    ledger.find(unknown, quantity=0, finding=Finding(None, "unknown"), **act())
    bobbins = some_bobbins(count=999)
    open_bobbin(bobbins, **act())
    BobbinStyle.objects.create(name="M", outer_diameter_mm=24.51, width_mm=10.8)
    product = a_stabilizer()
    a_roll(product, metres=9)
    receive_sheets(product, width_mm=200, height_mm=250, count=50, delivery=a_delivery())
    receive_offcut(product, width_mm=180, height_mm=220, delivery=a_delivery())
    a_stabilizer("cut-away", weight_g_m2=80.5)
    an_offer(a_put_up(thread), price="4.20")
    quay = Supplier.objects.get()
    Offer.objects.create(
        supplier=quay, product=product, roll_width_mm=500, roll_length_mm=10_001, price=17, pack=2
    )
    Offer.objects.create(
        supplier=quay, bobbin_style=bobbins.style, bobbin_length_mm=110_000, shade=bobbins.shade, price=60, pack=144,
        seen_on=date(2026, 2, 3),
    )  # fmt: skip
    Supplier.objects.create(name="Chandler & Daughters", free_shipping_from=Decimal("80.00"))


def told(preview: Preview) -> tuple[int, int, list[str]]:
    return preview.new, preview.changed, [str(problem) for problem in preview.problems]


@EXPORTS
@pytest.mark.parametrize("kind", KINDS)
def test_what_is_exported_changes_nothing_when_it_is_imported(kind, export):
    a_workshop()
    content = export(kind)
    entries = Entry.objects.count()
    preview = apply_import(content, kind=kind, at=NOW, by=None)
    assert told(preview) == (0, 0, [])
    assert preview.unchanged >= 3
    assert Entry.objects.count() == entries


def test_one_offer_at_two_prices_stays_as_it_is():
    an_offer(a_put_up(), price="4.20")
    an_offer(a_put_up(), price="3.90")
    assert told(preview_import(export_csv("suppliers"), kind="suppliers")) == (0, 0, [])


@EXPORTS
def test_tex_as_it_was_typed_goes_out_and_comes_back_while_it_holds(export):
    spun = ThreadRange.objects.create(maker="Tern", name="Spun", tex=25.0, tex_typed="Nm 80/2")
    content = export("shades")
    ThreadRange.objects.all().delete()
    assert told(apply_import(content, kind="shades", at=NOW, by=None)) == (1, 0, [])
    assert ThreadRange.objects.values_list("tex", "tex_typed").get() == (25.0, "Nm 80/2")
    ThreadRange.objects.update(tex=30.0)
    (row,) = _rows(export_csv("shades"))
    assert (row["range"], row["tex"]) == (spun.name, "30")


@EXPORTS
def test_a_workshop_moves_house_by_its_exports(export):
    a_workshop()
    before = {kind: _rows(export_csv(kind)) for kind in KINDS}
    files = {kind: export(kind) for kind in ("shades", "spools", "bobbins", "stabilizer", "suppliers")}
    held = StockItem.objects.on_the_shelf().aggregate(held=Sum("on_hand"))
    _empty_the_workshop()
    for kind, content in files.items():
        assert told(apply_import(content, kind=kind, at=NOW, by=None))[1:] == (0, [])
    for kind in KINDS:
        there = [row for row in _rows(export_csv(kind)) if not any("gone" in cell for cell in row.values())]
        assert there == before[kind]
    assert StockItem.objects.on_the_shelf().aggregate(held=Sum("on_hand")) == held
    assert ledger.ledger_problems() == []


def _empty_the_workshop() -> None:
    """Take everything away as if it had never been: other names for what cannot be deleted."""
    for item in StockItem.objects.all():
        retire(item, **act())
        StockItem.objects.filter(pk=item.pk).update(label=f"GONE{item.pk}")
    Offer.objects.all().delete()
    Supplier.objects.all().delete()
    EarlierCode.objects.all().delete()
    old: dict[type[Model], str] = {
        ThreadRange: "maker",
        StabilizerProduct: "maker",
        BobbinStyle: "name",
        Place: "name",
    }
    for model, field in old.items():
        for pk in model._default_manager.values_list("pk", flat=True):
            model._default_manager.filter(pk=pk).update(**{field: f"gone {pk}"})


@EXPORTS
@given(name=TEXT, lot=TEXT, note=TEXT, place=TEXT.filter(str.strip))
@example(name="=2+3", lot="'=2+3", note="a\r\nb", place="\tx")
@example(name="_x0041_", lot="\x1fx", note="\ufffe", place="7.500")
@settings(max_examples=4)
def test_any_text_comes_back_as_it_was(export, name, lot, note, place):
    spool = Spool.objects.first() or a_spool(a_shade("R1"))
    kept = Place.objects.get_or_create(name=place)[0]
    Shade.objects.update(name=name)
    StockItem.objects.filter(pk=spool.pk).update(lot=lot, note=note, place=kept)
    shades, spools = export("shades"), export("spools")
    assert told(preview_import(shades, kind="shades")) == (0, 0, [])
    assert told(preview_import(spools, kind="spools")) == (0, 0, [])
    Shade.objects.update(name="other")
    StockItem.objects.filter(pk=spool.pk).update(lot="other", note="other")
    apply_import(shades, kind="shades", at=NOW, by=None)
    apply_import(spools, kind="spools", at=NOW, by=None)
    held = Spool.objects.select_related("shade", "place").get()
    # A blank cell says nothing, so that what was blank stays as it is now.
    assert held.shade.name == (name.strip() or "other")
    assert (held.lot, held.note) == (lot.strip() or "other", note.strip() or "other")
    assert held.place == kept


@EXPORTS
@given(
    on_hand=st.integers(0, 10**9),
    sigma=st.floats(0, 1e8),
    lab=st.tuples(st.floats(0, 100), st.floats(-128, 128), st.floats(-128, 128)),
    tex=st.floats(0.001, 1000),
)
@settings(max_examples=4)
def test_any_number_comes_back_as_it_was(export, on_hand, sigma, lab, tex):
    spool = Spool.objects.first() or a_spool(a_shade("R1"))
    ThreadRange.objects.update(tex=tex)
    Shade.objects.update(lab_l=lab[0], lab_a=lab[1], lab_b=lab[2])
    StockItem.objects.filter(pk=spool.pk).update(on_hand=on_hand, sigma=sigma)
    assert told(preview_import(export("shades"), kind="shades")) == (0, 0, [])
    assert told(preview_import(export("spools"), kind="spools")) == (0, 0, [])


@pytest.mark.parametrize("nasty", NASTY)
def test_no_cell_of_a_csv_file_runs(nasty):
    a_spool(a_shade("R1", name=nasty), lot=nasty)
    rows = list(csv.reader(io.StringIO(export_csv("spools").decode("utf-8-sig"), newline="")))
    text = {"name", "lot"}
    for heading, cell in zip(*rows, strict=True):
        if heading in text:
            assert not cell.startswith(tuple("=+-@\t\r\n"))
    assert nasty in rows[1][rows[0].index("lot")]


def test_a_separator_of_another_country_makes_no_cell_of_its_own():
    a_spool(lot="4711;=2+3")
    line = export_csv("spools").decode("utf-8-sig").splitlines()[1]
    assert '"4711;=2+3"' in line


@pytest.mark.parametrize("nasty", NASTY)
def test_no_cell_of_a_workbook_is_a_formula(nasty):
    a_spool(a_shade("R1", name=nasty), lot=nasty)
    sheet = openpyxl.load_workbook(io.BytesIO(export_xlsx("spools")))["spools"]
    kinds = {
        cell.value: cell.data_type for row in sheet.iter_rows() for cell in row if cell.value is not None
    }
    assert "f" not in kinds.values()
    (lot,) = [cell for cell in sheet[2] if sheet.cell(1, cell.column).value == "lot"]
    assert lot.data_type == "s"
    if nasty.startswith(("=", "+", "-", "@")):
        assert lot.quotePrefix  # so that it stays text when somebody edits the cell
        assert lot.value == nasty


def test_a_workbook_has_numbers_as_numbers_and_days_as_days():
    a_spool(metres=1000, price_each=Decimal("4.20"))
    sheet = openpyxl.load_workbook(io.BytesIO(export_xlsx("spools")))["spools"]
    cells = {sheet.cell(1, cell.column).value: cell.value for cell in sheet[2]}
    assert (cells["length_m"], cells["price_paid"]) == (1000, 4.2)
    assert cells["received_on"] == datetime(2026, 3, 2)
    assert datetime(2026, 3, 2, 9, 30, tzinfo=UTC) == NOW


def test_an_unknown_quantity_is_a_blank_cell():
    spool = a_spool()
    ledger.find(spool, quantity=0, finding=Finding(None, "unknown"), **act())
    (row,) = csv.DictReader(io.StringIO(export_csv("spools").decode("utf-8-sig")))
    assert (row["length_m"], row["sigma_m"], row["known"]) == ("", "", "unknown")


def test_only_what_was_chosen_is_exported():
    a_spool(a_shade("R1"), place=a_place("wall"))
    a_spool(a_shade("R2"))
    on_the_wall = StockItem.objects.filter(place__name="wall")
    assert [row["code"] for row in _rows(export_csv("spools", records=on_the_wall))] == ["R1"]
    assert _rows(export_csv("bobbins", records=on_the_wall)) == []
    assert {row["code"] for row in _rows(export_csv("shades", records=Shade.objects.filter(code="R2")))} == {
        "",
        "R2",
    }


def test_what_left_the_shelf_is_exported_only_when_asked_for():
    spool = a_spool()
    StockItem.objects.filter(pk=spool.pk).update(retired_at=NOW)
    assert _rows(export_csv("spools")) == []
    assert len(_rows(export_csv("spools", records=Spool.objects.all()))) == 1


def _rows(content: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(content.decode("utf-8-sig"), newline="")))


@pytest.mark.parametrize("kind", KINDS)
def test_a_template_is_understood_and_empty(kind):
    for content in (template_csv(kind), template_xlsx(kind)):
        with pytest.raises(FileNotRead, match="nothing under the headings"):
            preview_import(content, kind=kind)
    book = openpyxl.load_workbook(io.BytesIO(template_xlsx(kind)))
    assert [cell.value for cell in book[kind][1]] == KINDS[kind].columns
    assert book["What the columns mean"].max_row == len(KINDS[kind].columns)


def test_there_is_no_file_of_another_kind():
    with pytest.raises(NoSuchKind, match="There are: spools, shades"):
        export_csv("buttons")


def test_the_records_of_the_test_workshop_are_of_every_kind():
    a_workshop()
    assert set(StockItem.objects.values_list("kind", flat=True)) == set(StockItem.Kind.values) - {
        "needles",
        "can",
    }
    assert BobbinBatch.objects.get().on_hand == 998
    assert PartBobbin.objects.count() == 1
