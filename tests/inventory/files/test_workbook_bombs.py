"""Workbooks made to hurt: answered in words, in seconds of processor time, in a process of their own."""

import io
import resource
import zipfile

import openpyxl
import pytest

from inventory.tables.raw import FileNotRead, letters_of
from inventory.tables.tables import read_table
from inventory.tables.workbooks import ChildLimits, rows_of_workbook

MOST_CPU_SECONDS = 5.0


def workbook(parts: dict[str, bytes]) -> bytes:
    """Return a sound small workbook in which these parts are replaced, or added."""
    sound, file = io.BytesIO(), io.BytesIO()
    book = openpyxl.Workbook()
    book.active.append(["label", "length_m"])
    book.active.append(["S0001", 12])
    book.save(sound)
    with zipfile.ZipFile(sound) as old, zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(name, parts.pop(name, None) or old.read(name))
        for name, content in parts.items():
            new.writestr(name, content)
    return file.getvalue()


HEAD = b'<?xml version="1.0"?>'
MAIN = b'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'


def shared_strings(count: int) -> bytes:
    return HEAD + b"<sst " + MAIN + b">" + b"<si><t>x</t></si>" * count + b"</sst>"


def sheet(body: bytes) -> bytes:
    return HEAD + b"<worksheet " + MAIN + b"><sheetData>" + body + b"</sheetData></worksheet>"


LAUGHS = HEAD + b'<!DOCTYPE l [<!ENTITY a "ha">' + b"".join(
    b'<!ENTITY %s "%s">' % (bytes([98 + n]), b"&%s;" % bytes([97 + n]) * 10) for n in range(9)
) + b"]><sst " + MAIN + b"><si><t>&j;</t></si></sst>"  # fmt: skip

BOMBS = {
    "eight million texts": {"xl/sharedStrings.xml": shared_strings(8_000_000)},
    "a million rows": {"xl/worksheets/sheet1.xml": sheet(b'<row><c t="n"><v>1</v></c></row>' * 1_000_000)},
    "rows with nothing in them": {"xl/worksheets/sheet1.xml": sheet(b"<row/>" * 3_000_000)},
    "one row of a million cells": {
        "xl/worksheets/sheet1.xml": sheet(b"<row>" + b'<c t="n"><v>1</v></c>' * 1_000_000 + b"</row>")
    },
    "a million formats": {
        "xl/styles.xml": HEAD
        + b"<styleSheet "
        + MAIN
        + b"><cellXfs>"
        + b"<xf/>" * 1_000_000
        + b"</cellXfs></styleSheet>"
    },
    "entities in entities": {"xl/sharedStrings.xml": LAUGHS},
    "more than it may unpack to": {"xl/media/image1.png": b"\0" * 160_000_000},
}


@pytest.mark.parametrize("bomb", BOMBS)
def test_a_bomb_is_answered_in_words_and_seconds(bomb):
    content = workbook(dict(BOMBS[bomb]))
    before = _cpu_seconds()
    with pytest.raises(FileNotRead, match="workbook"):
        read_table(content, columns=("label", "length_m"))
    assert _cpu_seconds() - before < MOST_CPU_SECONDS


def test_a_workbook_that_takes_too_much_work_is_stopped():
    content = workbook({"xl/worksheets/sheet1.xml": sheet(b'<row><c t="n"><v>1</v></c></row>' * 200_000)})
    with pytest.raises(FileNotRead, match="far more work"):
        rows_of_workbook(
            content, known={letters_of("label")}, most_rows=10**9, limits=ChildLimits(cpu_seconds=1)
        )


def test_a_workbook_that_takes_too_much_memory_is_stopped():
    content = workbook({})
    limits = ChildLimits(memory_bytes=80_000_000)
    with pytest.raises(FileNotRead):
        rows_of_workbook(content, known={letters_of("label")}, most_rows=10, limits=limits)


def _cpu_seconds() -> float:
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(each.ru_utime + each.ru_stime for each in used)
