"""Files from any program are read alike: encodings, separators, workbooks; and what is no table says so."""

import io
import struct
import zipfile
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from openpyxl import Workbook
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from fixtures.imports import make
from inventory.files.importing import FileNotRead
from inventory.tables.cells import Unreadable
from inventory.tables.tables import MOST_ROWS, Table, read_table
from inventory.tables.workbooks import MOST_UNPACKED_BYTES

COLUMNS = [
    "label",
    "maker",
    "range",
    "code",
    "put_up",
    "length_m",
    "known",
    "received_on",
    "opened_on",
    "place",
    "note",
]
IMPORTS = Path(make.__file__).parent


def read(content: bytes | str, *, columns: list[str] = COLUMNS) -> Table:
    return read_table(content if isinstance(content, bytes) else content.encode(), columns=columns)


def workbook(*lines: list[object]) -> bytes:
    book = Workbook()
    assert book.active is not None
    for line in lines:
        book.active.append(line)
    content = io.BytesIO()
    book.save(content)
    return content.getvalue()


def cells(table: Table, column: str) -> list[object]:
    return [row.cells.get(column) for row in table.rows]


def test_the_files_of_the_folder_are_what_its_script_writes():
    assert {name: (IMPORTS / name).read_bytes() for name in make.files()} == make.files()


@pytest.mark.parametrize(
    "name", ["spools_semicolons.csv", "spools_windows_1252.csv", "spools_utf_16_tabs.csv"]
)
def test_encodings_and_separators_make_no_difference(name):
    table = read((IMPORTS / "good" / name).read_bytes())
    assert cells(table, "label") == ["S0001", "S0002", "S0003", "S0004", "S0005"]
    assert cells(table, "length_m") == ["640,5", "1000", "1.234,5", "", "0"]
    assert cells(table, "place")[0] == "Wall, left"
    assert cells(table, "note")[0] == "used for the\ncrew caps"
    assert cells(table, "note")[2] == 'see "B"'


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be"])
def test_a_byte_order_mark_is_no_part_of_a_heading_and_unicode_needs_no_note(encoding):
    table = read("label,note\r\nS1,Łosoś\r\n".encode(encoding))
    assert cells(table, "note") == ["Łosoś"]
    assert table.notes == ()


def test_windows_letters_are_read_with_a_note_that_names_the_line():
    table = read("label,note\nS1,plain\nS2,Écume\n".encode("cp1252"))
    assert cells(table, "note") == ["plain", "Écume"]
    assert table.notes == (
        "The file is not UTF-8 (line 3), so it was read as Windows-1252. Check the names that have accents.",
    )


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_the_separator_is_the_one_that_makes_headings(separator):
    # Every other separator stands in the cells, and more often.
    others = "".join({",", ";", "\t", "|"} - {separator}) * 3
    line = separator.join(["S1", f'"{others}"', "5"])
    table = read(separator.join(["label", "note", "length_m"]) + "\n" + line + "\n")
    assert cells(table, "note") == [others]
    assert cells(table, "length_m") == ["5"]


def test_a_first_line_that_names_the_separator_is_no_row():
    table = read("sep=;\nlabel;length_m\nS1;5,5\n")
    assert [row.number for row in table.rows] == [2]
    assert cells(table, "length_m") == ["5,5"]


def test_headings_are_known_in_any_case_with_spaces_and_underscores():
    table = read("LABEL,Length (m),put-up,Opened  on\nS1,5,spool,2026-01-02\n")
    assert table.columns == ("label", "length_m", "put_up", "opened_on")


def test_an_unknown_column_is_reported_and_left_out():
    table = read("label,lenght_m,shelf mark\nS1,5,x\n")
    assert table.columns == ("label",)
    assert table.notes == (
        'The column "lenght_m" is not known and was left out. Is it length_m?',
        'The column "shelf mark" is not known and was left out.',
    )


def test_a_title_above_the_headings_and_blank_rows_are_left_out_and_rows_keep_their_numbers():
    table = read("My threads,,\n,,\nlabel,code,length_m\nS1,R1,5\n,,\nS2,R2,6\n")
    assert [row.number for row in table.rows] == [4, 6]
    assert table.notes == ("The headings stand in row 3; what is above them was left out.",)


def test_a_cell_beyond_the_headings_is_kept_to_be_told_of():
    (row,) = read("label,length_m\nS1,12,5\n").rows
    assert row.beyond == ("5",)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "The file is empty"),
        (b"\r\n\r\n", "The file is empty"),
        (b"label,length_m\r\n", "nothing under the headings"),
        (b"label,label\r\nS1,S2\r\n", "Columns A and B are both label"),
        (
            (IMPORTS / "bad/no_headings.csv").read_bytes(),
            "No row has the headings of this template. They are: label",
        ),
        ((IMPORTS / "bad/unclosed_quotation.csv").read_bytes(), "A quotation mark there is not closed"),
        ((IMPORTS / "bad/picture.csv").read_bytes(), "neither a CSV file nor an .xlsx workbook"),
        (b"label\x81,\xff\r\n\x81", "letters cannot be read"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(500), "old .xls workbook"),
        (b"PK\x03\x04 and then nothing", "The workbook is damaged"),
        (b"label\n" + b"x\n" * (MOST_ROWS + 1), "more than 20,000 rows"),
        (b"label\n" + b"x" * 10_000_000, "10.0 MB, and 10 MB is the most"),
    ],
)
def test_what_is_no_table_is_refused_in_words(content, says):
    with pytest.raises(FileNotRead, match=says):
        read(content)


def test_an_essential_column_that_is_missing_is_named():
    with pytest.raises(FileNotRead, match="no column label or code, which is needed"):
        read_table(b"note,place\nx,y\n", columns=COLUMNS, essential=[("label", "code")])


def test_a_workbook_as_people_keep_it_is_read():
    table = read((IMPORTS / "good/spools.xlsx").read_bytes())
    assert [row.number for row in table.rows] == [5, 8, 9, 10]
    assert cells(table, "length_m") == [Decimal("640.5"), Decimal(500), Decimal("1234.5"), Decimal("1.234")]
    assert cells(table, "received_on") == [date(2025, 11, 3), date(2026, 1, 12), "2026-01-12", ""]
    assert cells(table, "opened_on")[0] == Decimal(46034)
    assert cells(table, "code")[3] == Decimal(12)
    assert table.notes == (
        "The sheet Threads was read; the workbook has 1 more.",
        "Cells that hold a formula: 1. The value last saved was taken for each.",
        "The headings stand in row 3; what is above them was left out.",
        "Row 4 has cells merged across columns, so it is a title and was left out.",
        "Row 7 has cells merged across columns, so it is a title and was left out.",
    )


def test_a_formula_without_a_saved_value_and_an_error_are_no_values():
    table = read((IMPORTS / "bad/spools_formulas.xlsx").read_bytes())
    formula, error, number, day = cells(table, "length_m")
    assert isinstance(formula, Unreadable)
    assert "formula without a saved value" in formula.reason
    assert formula.shown == "=2*250"
    assert isinstance(error, Unreadable)
    assert error.shown == "#REF!"
    assert number == Decimal(500)
    assert day == date(2026, 5, 12)


def test_the_sheet_with_the_headings_is_read_wherever_it_stands():
    book = Workbook()
    assert book.active is not None
    book.active.append(["notes", "label of the drawer"])
    book.create_sheet("Threads").append(["label", "length_m"])
    book["Threads"].append(["S1", 5])
    hidden = book.create_sheet("Old")
    hidden.append(["label", "length_m", "code"])
    hidden.append(["S9", 9, "R1"])
    hidden.sheet_state = "hidden"
    content = io.BytesIO()
    book.save(content)
    assert cells(read(content.getvalue()), "label") == ["S1"]


def test_what_a_sheet_claims_about_its_size_counts_for_nothing():
    content = _with_part(
        workbook(["label", "length_m"], ["S1", 5]),
        "xl/worksheets/sheet1.xml",
        lambda xml: xml.replace(b'<dimension ref="A1:B2"', b'<dimension ref="A1:XFD1048576"'),
    )
    assert cells(read(content), "label") == ["S1"]


def test_days_may_be_counted_from_1904():
    book = Workbook()
    book.epoch = CALENDAR_MAC_1904
    assert book.active is not None
    book.active.append(["label", "opened_on"])
    book.active.append(["S1", 44572])
    content = io.BytesIO()
    book.save(content)
    assert read(content.getvalue()).days_from_1904
    assert not read(workbook(["label", "opened_on"], ["S1", 44572])).days_from_1904


def test_a_workbook_that_unpacks_to_too_much_is_refused_before_it_is_unpacked():
    content = io.BytesIO(workbook(["label"], ["S1"]))
    with (
        zipfile.ZipFile(content, "a", zipfile.ZIP_DEFLATED) as archive,
        archive.open("xl/media/bomb.bin", "w") as part,
    ):
        for _ in range(MOST_UNPACKED_BYTES // 1_000_000 + 1):
            part.write(bytes(1_000_000))
    assert len(content.getvalue()) < 1_000_000
    with pytest.raises(FileNotRead, match=r"unpacks to 15[12] MB"):
        read(content.getvalue())


def test_a_workbook_that_lies_about_its_size_is_refused():
    honest = io.BytesIO(workbook(["label"], ["S1"]))
    content = bytearray(honest.getvalue())
    with zipfile.ZipFile(honest) as archive:
        part = archive.getinfo("xl/worksheets/sheet1.xml")
    # The directory at the end of the archive says how large the part is when unpacked: make it ten bytes.
    where = content.rindex(b"xl/worksheets/sheet1.xml") - 46
    assert struct.unpack_from("<I", content, where + 24)[0] == part.file_size
    struct.pack_into("<I", content, where + 24, 10)
    with pytest.raises(FileNotRead, match="The workbook is damaged"):
        read(bytes(content))


def test_a_locked_workbook_is_refused():
    content = bytearray(workbook(["label"], ["S1"]))
    where = content.index(b"PK\x01\x02")
    content[where + 8] |= 1
    with pytest.raises(FileNotRead, match="locked with a password"):
        read(bytes(content))


def test_another_programs_document_is_no_workbook():
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
    with pytest.raises(FileNotRead, match=r"not an \.xlsx workbook"):
        read(content.getvalue())


def test_entities_in_a_workbook_are_not_blown_up():
    bomb = (
        b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">'
        + b"".join(b'<!ENTITY %c "%s">' % (98 + n, b"&%c;" % (97 + n) * 10) for n in range(9))
        + b"]>"
    )
    content = _with_part(
        workbook(["label"], ["S1"]),
        "xl/worksheets/sheet1.xml",
        lambda xml: bomb + xml.replace(b"<sheetData>", b"<sheetData>&j;"),
    )
    with pytest.raises(FileNotRead, match="declares entities"):
        read(content)


def _with_part(content: bytes, name: str, change: Callable[[bytes], bytes]) -> bytes:
    changed = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(changed, "w") as new:
        for each in old.namelist():
            part = old.read(each)
            new.writestr(each, change(part) if each == name else part)
            assert each != name or change(part) != part
    return changed.getvalue()
