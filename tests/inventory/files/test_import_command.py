"""The commands that import, export and print: what they say, and how they end."""

import io
import json
import sys
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from fixtures.imports import make
from inventory.models import Entry, Spool, StockItem
from tests.factories import a_place, a_shade, a_spool

pytestmark = pytest.mark.django_db

GOOD, BAD = Path(make.__file__).parent / "good", Path(make.__file__).parent / "bad"


def run(*arguments: object) -> tuple[int, str, str]:
    """Return a command's exit code, and what it wrote on standard output and on standard error."""
    out, err, code = io.StringIO(), io.StringIO(), 0
    try:
        call_command(*map(str, arguments), stdout=out, stderr=err)
    except SystemExit as ended:
        code = int(ended.code or 0)
    return code, out.getvalue(), err.getvalue()


@pytest.fixture
def _shades() -> None:
    assert run("import_stock", "shades", GOOD / "shades.csv")[0] == 0


@pytest.mark.usefixtures("_shades")
def test_a_good_file_lands_and_says_so():
    code, out, err = run("import_stock", "spools", GOOD / "spools_semicolons.csv")
    assert (code, err) == (0, "")
    assert out.splitlines()[0] == "CSV with semicolons. 5 new, 0 changed, 0 unchanged."
    assert Entry.objects.filter(reference="import of spools_semicolons.csv").count() == 5
    code, out, _ = run("import_stock", "spools", GOOD / "spools_semicolons.csv")
    assert (code, "0 new, 0 changed, 5 unchanged" in out) == (0, True)


@pytest.mark.usefixtures("_shades")
def test_a_dry_run_writes_nothing():
    code, out, _ = run("import_stock", "spools", GOOD / "spools.xlsx", "--dry-run")
    assert code == 0
    assert "Would be: 4 new" in out
    assert not StockItem.objects.exists()


@pytest.mark.usefixtures("_shades")
@pytest.mark.parametrize("dry_run", [[], ["--dry-run"]])
def test_a_bad_file_is_told_cell_by_cell_and_ends_with_1(dry_run):
    code, out, err = run("import_stock", "spools", BAD / "spools.csv", *dry_run)
    assert code == 1
    assert 'Row 2, length_m "1.500": 1.500 could be 1500 or 1.5.' in out
    assert out.count("Row ") == len(make.BAD_CELLS) + 1  # one reason names another row
    assert ("bad cells (7 of 8 rows)" in err) is not bool(dry_run)
    assert not StockItem.objects.exists()


@pytest.mark.usefixtures("_shades")
def test_bad_rows_are_left_out_and_written_down_when_asked(tmp_path):
    failed = tmp_path / "failed.csv"
    code, out, _ = run("import_stock", "spools", BAD / "spools.csv", "--skip-bad", "--failed", failed)
    assert code == 0
    assert f"The bad rows are in {failed}." in out
    assert list(Spool.objects.values_list("label", flat=True)) == ["S0107"]
    assert len(failed.read_text("utf-8-sig").splitlines()) == 8


@pytest.mark.usefixtures("_shades")
def test_the_answer_may_be_json():
    code, out, _ = run("import_stock", "spools", BAD / "spools.csv", "--format", "json")
    data = json.loads(out)
    assert (code, data["landed"], data["new"], data["failed"]) == (1, False, 1, 7)
    assert sorted((each["row"], each["column"]) for each in data["problems"]) == make.BAD_CELLS
    assert {"row", "column", "value", "reason"} == set(data["problems"][0])


@pytest.mark.parametrize(
    ("file", "says"),
    [
        (BAD / "no_headings.csv", "No row has the headings"),
        (BAD / "none.csv", "cannot be read: No such file"),
    ],
)
def test_what_is_no_table_ends_with_1_in_words(file, says):
    code, out, err = run("import_stock", "spools", file)
    assert (code, out) == (1, "")
    assert says in err


def test_a_kind_that_is_none_is_no_command():
    with pytest.raises(CommandError, match="invalid choice: 'buttons'"):
        call_command("import_stock", "buttons", "file.csv")


@pytest.mark.usefixtures("_shades")
def test_a_terminal_sees_a_bar_move(monkeypatch):
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "100")
    terminal = Terminal()
    call_command(
        "import_stock", "spools", str(GOOD / "spools_semicolons.csv"), stdout=io.StringIO(), stderr=terminal
    )
    assert "rows" in terminal.getvalue()
    assert "10/10" in terminal.getvalue()


def test_an_export_is_imported_again(tmp_path):
    a_spool()
    file = tmp_path / "spools.xlsx"
    assert run("export_stock", "spools", "--xlsx", "--output", file)[0] == 0
    assert "0 new, 0 changed, 1 unchanged" in run("import_stock", "spools", file)[1]


def test_an_export_goes_to_standard_output_with_its_line_ends(monkeypatch):
    spool = a_spool()
    _, out, _ = run("export_stock", "spools")
    assert out.startswith('"label","maker"')
    assert out.count("\r\n") == 2
    raw = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(raw, encoding="utf-8"))
    call_command("export_stock", "spools")
    assert spool.label.encode() in raw.getvalue()
    assert raw.getvalue().startswith(b"\xef\xbb\xbf")


def test_a_template_is_exported_empty(tmp_path):
    file = tmp_path / "spools.csv"
    assert run("export_stock", "spools", "--template", "--output", file)[0] == 0
    assert file.read_text("utf-8-sig").startswith(
        "label,maker,range,code,name,put_up,length_m,weight_g,scale_step_g,known,"
    )
    assert len(file.read_text("utf-8-sig").splitlines()) == 1


def test_a_folder_that_is_not_there_is_told(tmp_path):
    code, _, err = run("export_stock", "spools", "--output", tmp_path / "none" / "spools.csv")
    assert code == 1
    assert "cannot be written: No such file or directory" in err


def test_labels_are_printed_for_a_place_and_for_codes(tmp_path):
    file = tmp_path / "labels.pdf"
    on_the_wall, other = a_spool(place=a_place("wall")), a_spool()
    site = ("--base-url", "https://thread.example", "--output", file)
    code, out, _ = run("print_labels", other.label.lower(), "--place", "Wall", *site)
    assert (code, out.strip()) == (0, f"Labels written to {file}: 2.")
    assert file.read_bytes().startswith(b"%PDF-")
    assert on_the_wall.place is not None


def test_letters_that_no_label_can_print_are_told(tmp_path):
    spool = a_spool(a_shade("R", name="赤い糸"))
    site = ("--base-url", "https://thread.example", "--output", tmp_path / "labels.pdf")
    code, _, err = run("print_labels", spool.label, *site)
    assert code == 0
    assert f"{spool.label}: these letters cannot be printed, a question mark stands for them: 赤 い 糸" in err


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["X9"], 'No item carries the label "X9"'),
        (["--place", "nowhere"], "There is no place nowhere. There are: wall."),
        (["--place", "wall"], "There is nothing to label"),
        ([], "There is nothing to label"),
    ],
)
def test_labels_for_nothing_end_with_1(tmp_path, arguments, says):
    a_place("wall")
    file = tmp_path / "labels.pdf"
    code, _, err = run("print_labels", *arguments, "--base-url", "https://thread.example", "--output", file)
    assert code == 1
    assert says in err
    assert not file.exists()
