"""Stock from files: what lands, what stays, what is refused; and the same file twice is once."""

import csv
import io
from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.db import IntegrityError

from fixtures.imports import make
from inventory import ledger
from inventory.files.importing import NothingLanded, Preview, apply_import, failed_rows_csv, preview_import
from inventory.files.importing import stock as importing_stock
from inventory.models import (
    BobbinBatch,
    Change,
    Entry,
    LandedRow,
    Offcut,
    PartBobbin,
    Place,
    SheetPack,
    Spool,
    StabilizerRoll,
    StockItem,
)
from inventory.shelf.receipts import receive_many
from inventory.shelf.weights import weigh_spool
from tests.factories import NOW, a_key, a_put_up, a_range, a_shade, a_spool, some_bobbins

pytestmark = pytest.mark.django_db

IMPORTS = Path(make.__file__).parent
HEAD = ("label", "maker", "range", "code", "put_up", "length_m", "known")


def a_file(*rows: Sequence[object], head: Sequence[str] = HEAD) -> bytes:
    return make.text_of([head, *rows]).encode()


def apply(content: bytes, *, kind: str = "spools", **particulars: Any) -> Preview:
    return apply_import(content, kind=kind, **({"at": NOW, "by": None} | particulars))


def the_catalogue() -> None:
    apply((IMPORTS / "good/shades.csv").read_bytes(), kind="shades")


def spool(label: str) -> Spool:
    return Spool.objects.get(label=label)


def cells(preview: Preview) -> list[tuple[int, str]]:
    return sorted((problem.row, problem.column) for problem in preview.problems)


@pytest.mark.parametrize(
    "name", ["spools_semicolons.csv", "spools_windows_1252.csv", "spools_utf_16_tabs.csv"]
)
def test_a_file_of_spools_lands(name):
    the_catalogue()
    landed = apply((IMPORTS / "good" / name).read_bytes())
    assert (landed.new, landed.changed, landed.unchanged, landed.failed) == (5, 0, 0, ())
    first = spool("S0001")
    assert (first.on_hand, first.known, first.sigma) == (640_500, "judged", pytest.approx(0.25 * 640_500))
    assert (str(first.place), first.lot, first.opened_on) == ("Wall, left", "4711", date(2026, 1, 12))
    assert (first.price_paid, first.quantity_paid) == (Decimal("4.20"), 1_000_000)
    assert spool("S0003").shade.code == "N180"
    assert spool("S0005").shade.code == "R140"  # by the code it had before
    assert ledger.ledger_problems() == []


def test_a_workbook_lands_with_its_days_and_formulas():
    the_catalogue()
    landed = apply((IMPORTS / "good/spools.xlsx").read_bytes())
    assert landed.new == 4
    assert (spool("S0001").received_on, spool("S0001").opened_on) == (date(2025, 11, 3), date(2026, 1, 12))
    assert spool("S0001").note == "7"
    assert spool("S0002").on_hand == 500_000
    assert spool("S0004").shade.code == "12"


def test_a_full_length_of_which_nothing_more_is_said_is_sealed():
    the_catalogue()
    apply(a_file(("S1", "Skerry", "Forty", "R140", "1000 m spool", "1000", ""),
                 ("S2", "Skerry", "Forty", "R140", "1000 m spool", "999", "")))  # fmt: skip
    assert (spool("S1").known, spool("S2").known) == ("sealed", "judged")


def test_a_sealed_spool_holds_what_its_put_up_says():
    the_catalogue()
    apply(a_file(("S1", "Skerry", "Forty", "R140", "5000 m cone", "", "sealed")))
    assert spool("S1").on_hand == 5_000_000


def test_an_unknown_quantity_stays_unknown_and_zero_is_zero():
    the_catalogue()
    apply((IMPORTS / "good/spools_semicolons.csv").read_bytes())
    assert (spool("S0004").known, spool("S0004").sigma) == ("unknown", None)
    assert (spool("S0005").on_hand, spool("S0005").known) == (0, "counted")


def test_a_blank_quantity_leaves_what_is_known_of_an_item():
    there = a_spool(left_m=500)
    landed = apply(a_file((there.label, "", "", "", "", "", "")))
    assert landed.unchanged == 1
    held = spool(there.label)
    assert (held.on_hand, held.known, held.entries.count()) == (500_000, "weighed", 2)


def test_a_changed_quantity_is_an_entry_of_the_difference():
    there = a_spool(metres=1000)
    landed = apply(
        a_file((there.label, "640,5", "weighed"), head=("label", "length_m", "known")),
        reference="stocktake.csv",
    )
    assert landed.changed == 1
    assert landed.outcomes[0].changes == ("length_m: 1000 m → 640.5 m, weighed",)
    entry = there.entries.get(reason="count")
    assert (entry.quantity, entry.reference) == (-359_500, "stocktake.csv")
    assert spool(there.label).known == "weighed"
    assert ledger.ledger_problems() == []


def test_a_changed_detail_leaves_what_it_was():
    there = a_spool()
    apply(a_file((there.label, "Rack 2", "4711"), head=("label", "place", "lot")))
    changed = {
        name: (told["before"], told["after"])
        for each in Change.objects.all()
        for name, told in each.fields.items()
    }
    assert changed == {"place": (None, "Rack 2"), "lot": ("", "4711")}
    assert spool(there.label).place == Place.objects.get(name="Rack 2")
    assert there.entries.count() == 1


def test_finding_less_than_is_set_aside_says_so():
    there = a_spool(metres=1000)
    ledger.set_aside(there, quantity=900_000, holder="job 1", key=a_key(), at=NOW, by=None)
    content = a_file((there.label, "100"), head=("label", "length_m"))
    assert "reservations shrink" in " ".join(preview_import(content, kind="spools").outcomes[0].changes)
    apply(content)
    assert spool(there.label).reserved == 100_000


def test_the_same_file_lands_once():
    the_catalogue()
    content = (IMPORTS / "good/spools_semicolons.csv").read_bytes()
    apply(content)
    entries = Entry.objects.count()
    again = apply(content)
    assert (again.new, again.changed, again.unchanged) == (0, 0, 5)
    assert "landed before, on 2 Mar 2026: 5" in " ".join(again.notes)
    assert Entry.objects.count() == entries


def test_the_same_file_sent_late_does_not_undo_what_happened_since():
    the_catalogue()
    content = a_file(("S1", "Skerry", "Forty", "R140", "1000 m spool", "700", "judged"))
    apply(content)
    ledger.use(spool("S1"), quantity=200_000, key=a_key(), at=NOW, by=None)
    assert apply(content).unchanged == 1
    assert spool("S1").on_hand == 500_000


def test_a_count_sent_twice_is_counted_once():
    there = a_spool(metres=1000)
    content = a_file((there.label, "700"), head=("label", "length_m"))
    apply(content)
    ledger.use(spool(there.label), quantity=200_000, key=a_key(), at=NOW, by=None)
    assert apply(content).unchanged == 1
    assert spool(there.label).on_hand == 500_000


def test_rows_without_label_codes_land_once_too():
    the_catalogue()
    row = ("", "Skerry", "Forty", "R140", "1000 m spool", "700", "judged")
    content = a_file(row, row)
    assert apply(content).new == 2
    assert apply(content).unchanged == 2
    labels = sorted(Spool.objects.values_list("label", flat=True))
    assert len(labels) == 2
    assert [label[-2:] for label in labels] == ["-2", "-3"]
    # Another file means other things, even where its rows read the same.
    assert apply(a_file(row, row, row)).new == 3


def test_a_count_that_was_taken_back_can_be_landed_again():
    there = a_spool(metres=1000)
    content = a_file((there.label, "700"), head=("label", "length_m"))
    apply(content)
    ledger.reverse(there.entries.get(reason="count"), key=a_key(), at=NOW, by=None)
    assert spool(there.label).on_hand == 1_000_000
    assert apply(content).changed == 1
    assert spool(there.label).on_hand == 700_000


def test_an_import_that_was_taken_back_says_why_its_codes_are_taken():
    the_catalogue()
    content = a_file(("S1", "Skerry", "Forty", "R140", "1000 m spool", "700", "judged"))
    apply(content)
    ledger.reverse(spool("S1").entries.get(), key=a_key(), at=NOW, by=None)
    assert "left the shelf" in preview_import(content, kind="spools").problems[0].reason


def test_a_preview_writes_nothing():
    the_catalogue()
    preview = preview_import((IMPORTS / "good/spools_semicolons.csv").read_bytes(), kind="spools")
    assert preview.new == 5
    assert "New places: Wall, left, Rack." in preview.notes
    assert not StockItem.objects.exists()
    assert not Place.objects.exists()


def test_every_bad_cell_is_named_and_nothing_lands():
    the_catalogue()
    content = (IMPORTS / "bad/spools.csv").read_bytes()
    with pytest.raises(
        NothingLanded, match=r"Nothing was imported, because of 16 bad cells \(7 of 8 rows\)"
    ) as refused:
        apply(content)
    assert cells(refused.value.preview) == make.BAD_CELLS
    assert not StockItem.objects.exists()
    assert not Entry.objects.exists()


def test_bad_cells_of_a_workbook_are_named():
    the_catalogue()
    preview = preview_import((IMPORTS / "bad/spools_formulas.xlsx").read_bytes(), kind="spools")
    assert cells(preview) == [
        (2, "length_m"),
        (3, "length_m"),
        (4, "code"),
        (4, "received_on"),
        (5, "length_m"),
    ]


def test_a_problem_tells_row_column_value_and_reason():
    the_catalogue()
    (problem,) = preview_import(
        a_file(("S1", "Skerry", "Forty", "R140", "1000 m spool", "1.500", "")), kind="spools"
    ).problems
    assert str(problem) == 'Row 2, length_m "1.500": 1.500 could be 1500 or 1.5. Type 1500, or type 1.5.'


def test_the_good_rows_land_where_bad_ones_are_left_out():
    the_catalogue()
    landed = apply((IMPORTS / "bad/spools.csv").read_bytes(), skip_bad=True)
    assert landed.new == 1
    assert len(landed.failed) == 7
    assert list(Spool.objects.values_list("label", flat=True)) == ["S0107"]


def test_a_file_of_bad_rows_alone_lands_nothing_in_any_case():
    with pytest.raises(NothingLanded):
        apply(a_file(("S1", "Skerry", "Forty", "R140", "", "5", "")), skip_bad=True)


def test_a_bad_row_brings_no_place():
    the_catalogue()
    head = ("label", "code", "length_m", "place")
    apply(a_file(("S1", "R140", "5", "Rack 1"), ("S2", "R140", "much", "Rack 2"), head=head), skip_bad=True)
    assert list(Place.objects.values_list("name", flat=True)) == ["Rack 1"]


def test_failed_rows_come_back_with_reasons_and_land_once_corrected():
    the_catalogue()
    content = a_file(
        ("", "Skerry", "Forty", "R140", "1000 m spool", "1.500", "judged"),
        ("", "Skerry", "Forty", "R140", "1000 m spool", "700", "judged"),
        ("", "Skerry", "Forty", "R140", "1000 m spool", "=5", ""),
    )
    landed = apply(content, skip_bad=True)
    failed = failed_rows_csv(landed)
    rows = list(csv.DictReader(io.StringIO(failed.decode("utf-8-sig"), newline="")))
    assert [row["length_m"] for row in rows] == ["1.500", "'=5"]
    assert "1.500 could be 1500 or 1.5" in rows[0]["reason"]
    corrected = failed.replace(b'"1.500"', b'"150"').replace(b'"\'=5"', b'"160"')
    assert apply(corrected).new == 2
    # Corrected once more, they are the same things: the rows carry their label codes now.
    assert apply(corrected.replace(b'"160"', b'"170"')).new == 0
    assert sorted(Spool.objects.values_list("on_hand", flat=True)) == [150_000, 170_000, 700_000]


def test_a_label_code_that_is_on_something_else_is_refused():
    bobbins = some_bobbins()
    (problem,) = preview_import(
        a_file((bobbins.label, "5"), head=("label", "length_m")), kind="spools"
    ).problems
    assert (problem.column, problem.reason) == ("label", "This label code is on something else: bobbins.")


def test_what_a_thing_is_does_not_change_by_a_file():
    there = a_spool(a_shade("R1"))
    a_shade("R2")
    (problem,) = preview_import(
        a_file((there.label, "Skerry", "Forty", "R2"), head=HEAD[:4]), kind="spools"
    ).problems
    assert problem.column == "code"
    assert "is Skerry Forty R1 on the shelf, and the row says Skerry Forty R2" in problem.reason


def test_label_codes_are_known_in_any_case():
    there = a_spool()
    assert apply(a_file((there.label.lower(), "500"), head=("label", "length_m"))).changed == 1


def test_a_new_label_code_is_no_trap_for_the_series():
    the_catalogue()
    apply(a_file(("S0001", "Skerry", "Forty", "R140", "1000 m spool", "700", "judged")))
    assert a_spool().label == "S0002"


def test_a_shade_named_by_its_code_alone_must_be_one():
    a_shade("77", range=a_range("Skerry", "Forty"))
    a_shade("77", range=a_range("Tern", "Lustre"))
    a_shade("78")
    preview = preview_import(a_file(("S1", "77"), ("S2", "78"), head=("label", "code")), kind="spools")
    assert cells(preview) == [(2, "code")]
    assert "Several shades carry this code: " in preview.problems[0].reason


def test_an_unknown_range_is_met_with_the_one_that_was_meant():
    a_shade("77")
    (problem,) = preview_import(
        a_file(("S1", "Skery", "Forty", "77"), head=("label", "maker", "range", "code")), kind="spools"
    ).problems
    assert problem.reason == "There is no range Skery Forty. Is it Skerry Forty?"


def test_a_weight_tells_the_length_as_weighing_does():
    shade, put_up = a_shade("R1"), a_put_up(metres=1000, tare_mg=12_000)
    apply(
        a_file(
            ("S1", "R1", put_up.name, "25,5", "Skerry", "Forty"),
            head=("label", "code", "put_up", "weight_g", "maker", "range"),
        )
    )
    landed = spool("S1")
    weighed = a_spool(shade, metres=1000)
    weigh_spool(weighed, gross_mg=25_500, scale_resolution_mg=100, key=a_key(), at=NOW, by=None)
    weighed = spool(weighed.label)
    # 13.5 g of 27 tex are 500 m (ISO 1144: 1 tex = 1 g/km).
    assert landed.on_hand == weighed.on_hand == 500_000
    assert landed.known == weighed.known == "weighed"
    assert landed.sigma == pytest.approx(weighed.sigma)


@pytest.mark.parametrize(
    ("weight", "tare", "says"),
    [
        ("5", "", "less than 12.00 g, its weight when empty"),
        ("90", "", "a full 1000 m spool holds less"),
        ("25", "30", "less than 30.00 g"),
    ],
)
def test_a_weight_that_cannot_be_is_refused(weight, tare, says):
    there = a_spool(metres=1000)
    (problem,) = preview_import(
        a_file((there.label, weight, tare), head=("label", "weight_g", "tare_g")), kind="spools"
    ).problems
    assert problem.column == "weight_g"
    assert says in problem.reason


def test_a_weight_needs_the_weight_of_the_empty_spool():
    a_shade("R1")
    (problem,) = preview_import(
        a_file(("S1", "R1", "25"), head=("label", "code", "weight_g")), kind="spools"
    ).problems
    assert "Give tare_g" in problem.reason


def test_how_a_quantity_is_known_needs_the_quantity():
    a_shade("R1")
    (problem,) = preview_import(
        a_file(("S1", "R1", "weighed"), head=("label", "code", "known")), kind="spools"
    ).problems
    assert problem.column == "length_m"


def test_bobbins_land_with_their_styles():
    the_catalogue()
    content = (IMPORTS / "good/bobbins.csv").read_bytes()
    assert apply(content, kind="bobbins").new == 4
    batch, part = BobbinBatch.objects.get(label="B0001"), PartBobbin.objects.get(label="P0001")
    assert (batch.on_hand, batch.length_mm, batch.known, batch.style.outer_diameter_mm) == (
        24,
        110_000,
        "counted",
        20.3,
    )
    assert (part.on_hand, part.style) == (55_000, batch.style)
    assert BobbinBatch.objects.get(label="B0002").known == "unknown"
    assert apply(content, kind="bobbins").unchanged == 4
    assert ledger.ledger_problems() == []


@pytest.mark.parametrize(
    ("kind", "head", "row", "column"),
    [
        ("bobbins", ("label", "length_m"), ("B0001", "5"), "length_m"),
        ("bobbins", ("label", "pieces"), ("P0001", "5"), "pieces"),
        ("bobbins", ("label", "kind", "pieces"), ("B0001", "part bobbin", "5"), "kind"),
        ("stabilizer", ("label", "pieces"), ("R0001", "5"), "pieces"),
        ("stabilizer", ("label", "length_m"), ("H0001", "5"), "length_m"),
        ("stabilizer", ("label", "form"), ("H0001", "roll"), "form"),
        ("stabilizer", ("label", "width_mm"), ("R0001", "400"), "width_mm"),
        ("stabilizer", ("label", "form", "maker", "product"), ("R9", "bale", "Skerry", "Tear 50"), "form"),
        ("stabilizer", ("label", "maker", "product"), ("R9", "Skerry", "Tear 50"), "form"),
        ("spools", ("label", "length_m"), ("x" * 25, "5"), "label"),
    ],
)
def test_what_does_not_suit_the_thing_is_refused(kind, head, row, column):
    the_catalogue()
    for each in ("bobbins", "stabilizer"):
        apply((IMPORTS / f"good/{each}.csv").read_bytes(), kind=each)
    problems = preview_import(a_file(row, head=head), kind=kind).problems
    assert column in {problem.column for problem in problems}
    assert sum(problem.column == column for problem in problems) == 1


def test_how_a_quantity_is_known_may_change_alone():
    there = a_spool(metres=1000)
    landed = apply(a_file((there.label, "judged"), head=("label", "known")))
    assert landed.outcomes[0].changes == ("known: sealed, as sold → judged by eye",)
    held = spool(there.label)
    assert (held.on_hand, held.known, held.sigma) == (1_000_000, "judged", pytest.approx(250_000))
    assert there.entries.get(reason="count").quantity == 0


def test_a_new_bobbin_style_needs_its_size():
    the_catalogue()
    preview = preview_import(
        a_file(
            ("B1", "M", "", "W1", "5", "100"),
            head=("label", "style", "style_width_mm", "code", "pieces", "length_each_m"),
        ),
        kind="bobbins",
    )
    assert cells(preview) == [(2, "style_outer_diameter_mm"), (2, "style_width_mm")]


def test_stabilizer_lands_with_its_products():
    content = (IMPORTS / "good/stabilizer.csv").read_bytes()
    assert apply(content, kind="stabilizer").new == 4
    roll = StabilizerRoll.objects.get(label="R0001")
    assert (roll.on_hand, roll.width_mm, roll.product.kind, roll.product.has_grain) == (
        8_250,
        500,
        "tear-away",
        True,
    )
    assert SheetPack.objects.get(label="H0001").on_hand == 50
    assert Offcut.objects.get(label="C0001").on_hand == 1
    assert apply(content, kind="stabilizer").unchanged == 4


def test_progress_counts_every_row_twice_and_comes_to_its_end():
    the_catalogue()
    content, _ = make.ten_thousand_spools(rows=1_200)
    seen: list[tuple[int, int]] = []
    apply(content, progress=lambda done, total: seen.append((done, total)))
    assert {total for _, total in seen} == {2_400}
    assert [done for done, _ in seen] == sorted(done for done, _ in seen)
    assert seen[-1] == (2_400, 2_400)
    # Both halves move in steps that a person sees.
    assert sum(done <= 1_200 for done, _ in seen) >= 10
    assert sum(done > 1_200 for done, _ in seen) >= 3


def test_what_fails_while_it_lands_leaves_nothing(monkeypatch):
    the_catalogue()
    there = a_spool(metres=1000)

    def failing(*args: Any, **options: Any) -> None:
        raise RuntimeError("the power went out")

    monkeypatch.setattr(ledger, "find", failing)
    content = a_file(
        ("S9001", "Skerry", "Forty", "R140", "1000 m spool", "5", "judged"),
        (there.label, "", "", "", "", "5", ""),
    )
    with pytest.raises(RuntimeError, match="power"):
        apply(content)
    assert not Spool.objects.filter(label="S9001").exists()


def test_another_hand_that_lands_the_same_thing_first_is_no_fault(monkeypatch):
    the_catalogue()
    content = a_file(("S1", "Skerry", "Forty", "R140", "1000 m spool", "700", "judged"))
    calls: list[str] = []

    def second_to_land(arrivals: Any, **act: Any) -> Any:
        calls.append(act["key"])
        if len(calls) == 1:
            raise IntegrityError("another hand was quicker")
        return receive_many(arrivals, **act)

    monkeypatch.setattr(importing_stock, "receive_many", second_to_land)
    assert apply(content).new == 1
    assert len(calls) == 2


def test_a_bad_file_of_ten_thousand_rows_names_every_bad_cell_and_changes_nothing():
    the_catalogue()
    content, bad = make.ten_thousand_spools(bad_every=100)
    assert len(bad) == 125
    with pytest.raises(NothingLanded, match=r"because of 125 bad cells \(100 of 10,000 rows\)") as refused:
        apply(content)
    assert cells(refused.value.preview) == bad
    assert len(failed_rows_csv(refused.value.preview).splitlines()) == 101
    assert not StockItem.objects.exists()
    assert not Entry.objects.exists()


def test_a_file_that_landed_before_its_rows_were_noted_is_known_again():
    the_catalogue()
    content = (IMPORTS / "good/bobbins.csv").read_bytes()
    apply(content, kind="bobbins")
    ledger.use(StockItem.objects.first(), quantity=1, key="import-no-file", at=NOW, by=None)
    noted = sorted(LandedRow.objects.values_list("entry", "sha256"))
    assert noted
    LandedRow.objects.all().delete()
    migration = import_module("inventory.migrations.0009_what_files_landed")
    migration.note_what_files_landed(apps, None)
    assert sorted(LandedRow.objects.values_list("entry", "sha256")) == noted
    again = preview_import(content, kind="bobbins")
    assert "landed before" in " ".join(again.notes)
    assert again.new == again.changed == 0
