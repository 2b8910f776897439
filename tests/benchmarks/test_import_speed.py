"""Speed of an import of ten thousand rows, from the file to the shelf."""

import io
from functools import partial
from pathlib import Path

import openpyxl
import pytest

from fixtures.imports import make
from inventory.files.export import export_csv, export_xlsx
from inventory.files.importing import apply_import, preview_import
from inventory.ledger import ledger_problems
from inventory.models import Entry, Spool
from tests.benchmarks.processor import yardsticks
from tests.factories import NOW

pytestmark = [pytest.mark.benchmark, pytest.mark.django_db]

SHADES = Path(make.__file__).parent / "good/shades.csv"


def test_ten_thousand_spools_land_once_in_little_time(capsys: pytest.CaptureFixture[str]) -> None:
    apply_import(SHADES.read_bytes(), kind="shades", at=NOW, by=None)
    content, _ = make.ten_thousand_spools()
    steps: list[int] = []

    def land() -> None:
        apply_import(content, kind="spools", at=NOW, by=None, progress=lambda done, total: steps.append(done))

    times = {"preview": yardsticks(lambda: preview_import(content, kind="spools")), "apply": yardsticks(land)}
    assert Spool.objects.count() == Entry.objects.count() == 10_000
    assert steps[-1] == 20_000
    assert len(steps) > 100
    times["apply again"] = yardsticks(land)
    assert Spool.objects.count() == Entry.objects.count() == 10_000
    assert ledger_problems() == []

    exports: dict[str, bytes] = {}
    times["export csv"] = yardsticks(lambda: exports.update(csv=export_csv("spools")))
    times["export xlsx"] = yardsticks(lambda: exports.update(xlsx=export_xlsx("spools")))
    for name, file in exports.items():
        times[f"preview of the {name}"] = yardsticks(partial(_changes_nothing, file))
    # The reader of workbooks by itself, for a measure of what can be had.
    times["openpyxl alone, once through"] = yardsticks(lambda: _read_alone(exports["xlsx"]))
    with capsys.disabled():
        print(
            "\nTen thousand spools, in yardsticks of processor: "
            + ", ".join(f"{what} {took:.0f}" for what, took in times.items())
        )
    assert times["apply"] < 250
    assert times["preview"] < 60


def test_two_thousand_counts_and_edits(capsys: pytest.CaptureFixture[str]) -> None:
    apply_import(SHADES.read_bytes(), kind="shades", at=NOW, by=None)
    content, _ = make.ten_thousand_spools(rows=2_000)
    apply_import(content, kind="spools", at=NOW, by=None)
    labels = [f"T{number:05}" for number in range(2_000)]
    found = make.text_of([("label", "length_m"), *((each, int(each[1:]) % 700) for each in labels)]).encode()
    moved = make.text_of([("label", "place"), *((each, "Loft") for each in labels)]).encode()
    counts = yardsticks(lambda: apply_import(found, kind="spools", at=NOW, by=None))
    edits = yardsticks(lambda: apply_import(moved, kind="spools", at=NOW, by=None))
    with capsys.disabled():
        print(
            f"\nIn yardsticks of processor: two thousand counts {counts:.0f}, two thousand moves elsewhere {edits:.0f}"
        )
    assert counts < 150
    assert set(Spool.objects.values_list("place__name", flat=True)) == {"Loft"}


def _changes_nothing(content: bytes) -> None:
    preview = preview_import(content, kind="spools")
    assert (preview.new, preview.changed, preview.unchanged, preview.problems) == (0, 0, 10_000, ())


def _read_alone(content: bytes) -> None:
    book = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=True)
    assert sum(1 for _ in book["spools"].iter_rows()) == 10_001
