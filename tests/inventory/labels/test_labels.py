"""Labels are read back from the page: their places, their text, and the codes module by module."""

import re
import unicodedata
from collections.abc import Sequence

import pytest
import segno
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from pypdfium2 import PdfDocument

from inventory.compute.errors import WorkshopError
from inventory.labels.printable import not_printable, printable
from inventory.labels.sheets import (
    MOST_LABELS,
    SHEETS,
    NoSuchSheet,
    NothingToPrint,
    address_of,
    label_sheet,
    lost_letters,
    qr_modules,
)
from inventory.models import StockItem
from tests.factories import a_range, a_roll, a_shade, a_spool, some_bobbins

SITE = "https://thread.example"
DPI = 400
PT_IN_MM = 72 / 25.4

pytestmark = pytest.mark.django_db


def sheet_of(items: Sequence[StockItem], *, sheet: str = "a4-63.5x38.1", skip: int = 0) -> bytes:
    return label_sheet(items, sheet=sheet, base_url=SITE, skip=skip)


def words(pdf: bytes, *, page: int = 1, box_mm: tuple[float, float, float, float] | None = None) -> str:
    """Return the text of a page, or of what lies in a box: left, top, width and height."""
    with PdfDocument(pdf) as document:
        sheet = document[page - 1]
        page_width, page_height = sheet.get_size()
        left, top, width, height = (
            [edge * PT_IN_MM for edge in box_mm] if box_mm else (0, 0, page_width, page_height)
        )
        # A PDF is measured from its lower edge upwards.
        lower = page_height - top - height
        read = sheet.get_textpage().get_text_bounded(left, lower, left + width, lower + height)
    return " ".join(read.split())


def picture(pdf: bytes, *, page: int = 1) -> Image.Image:
    with PdfDocument(pdf) as document:
        return document[page - 1].render(scale=DPI / 72, grayscale=True).to_pil().convert("L")


def is_dark(image: Image.Image, x: int, y: int) -> bool:
    pixel = image.getpixel((x, y))
    assert isinstance(pixel, int)
    return pixel < 128


def dark(image: Image.Image, x_mm: float, y_mm: float) -> bool:
    return is_dark(image, round(x_mm / 25.4 * DPI), round(y_mm / 25.4 * DPI))


def label_box(sheet: str, position: int) -> tuple[float, float, float, float]:
    return (*SHEETS[sheet].corner_mm(position), *SHEETS[sheet].label_mm)


@pytest.mark.parametrize("sheet", SHEETS)
def test_a_label_says_its_code_and_what_it_is_within_its_own_edges(sheet):
    spool = a_spool(a_shade("R140", name="Harbour Red"))
    text = words(sheet_of([spool], sheet=sheet), box_mm=label_box(sheet, 0))
    # Where a line ends at one of the dots, the dot is left off.
    assert text.replace("· ", "") == f"{spool.label} Harbour Red Skerry Forty R140 1000 m spool"


@pytest.mark.parametrize("sheet", SHEETS)
def test_the_code_on_the_page_is_the_code_of_the_address_module_by_module(sheet):
    spool = a_spool()
    image = picture(sheet_of([spool], sheet=sheet))
    left, top, width, height = label_box(sheet, 0)
    reference = [
        list(row) for row in segno.make_qr(f"HTTPS://THREAD.EXAMPLE/S/{spool.label}", error="m").matrix
    ]
    # Found on the page without asking what drew it: the edges of what is dark in the label's left part.
    right = left + min(height - 1.5, width * 0.42)
    edges = [round(edge / 25.4 * DPI) for edge in (left, top, right, top + height)]
    part = image.crop((edges[0], edges[1], edges[2], edges[3]))
    box = part.point(lambda level: 255 * (level < 128)).getbbox()
    assert box is not None
    first_x, first_y, end_x, end_y = box
    module = (end_x - first_x) / len(reference)
    assert (end_y - first_y) / len(reference) == pytest.approx(module, abs=0.1)
    middles = [(step + 0.5) * module for step in range(len(reference))]
    seen = [[is_dark(part, int(first_x + x), int(first_y + y)) for x in middles] for y in middles]
    assert seen == reference
    # A module of a third of a millimetre and more is read by a phone at arm's length: common practice, no source.
    assert module / DPI * 25.4 > 0.33
    # The quiet zone of four modules that ISO/IEC 18004 asks for, between the code and the label's edge.
    assert min(first_x, first_y) >= 4 * module - 2


def test_labels_follow_each_other_by_rows_and_go_on_to_the_next_sheet():
    spools = [a_spool() for _ in range(4)] * 6
    pdf = sheet_of(spools)
    assert words(pdf, box_mm=label_box("a4-63.5x38.1", 0)).startswith(spools[0].label)
    assert words(pdf, box_mm=label_box("a4-63.5x38.1", 3)).startswith(spools[3].label)
    assert words(pdf, box_mm=label_box("a4-63.5x38.1", 20)).startswith(spools[20].label)
    assert words(pdf, page=2, box_mm=label_box("a4-63.5x38.1", 2)).startswith(spools[23].label)
    assert words(pdf, page=2, box_mm=label_box("a4-63.5x38.1", 3)) == ""


def test_a_part_used_sheet_starts_at_its_first_free_label():
    spools = [a_spool() for _ in range(3)]
    pdf = sheet_of(spools, skip=19)
    assert words(pdf, box_mm=label_box("a4-63.5x38.1", 18)) == ""
    assert words(pdf, box_mm=label_box("a4-63.5x38.1", 19)).startswith(spools[0].label)
    assert words(pdf, page=2, box_mm=label_box("a4-63.5x38.1", 0)).startswith(spools[2].label)


def test_the_longest_label_code_is_printed_whole_and_inside():
    spool = a_spool(a_shade("R1", name="A shade of a very long name, typed in full by one with time"))
    code = "S-94E7C635-10321-LONGER9"
    StockItem.objects.filter(pk=spool.pk).update(label=code)
    for sheet in SHEETS:
        pdf = sheet_of([StockItem.objects.get(pk=spool.pk)], sheet=sheet)
        # The reader takes a hyphen at a line's end for one that only breaks the word.
        read = words(pdf, box_mm=label_box(sheet, 0)).replace("- ", "").replace("-", "")
        assert read.startswith(code.replace("-", ""))
        left, top, width, height = label_box(sheet, 0)
        image = picture(pdf)
        # Nothing is drawn on the label's last millimetre.
        for step in range(0, 100):
            assert not dark(image, left + width - 0.6, top + height * step / 100)
            assert not dark(image, left + width * step / 100, top + height - 0.6)


@pytest.mark.parametrize(
    "name", ["Łosoś Κύμα", "Шторм", "חוט אדום נמל", "خيط أحمر", "😀 grin", "ậ e\u0301cru"]
)
def test_other_scripts_are_printed_in_their_own_letters(name):
    spool = a_spool(a_shade("Б1", name=name, range=a_range("Écume", "Größe", tex=27.0)))
    read = words(sheet_of([spool]))
    assert unicodedata.normalize("NFC", name) in read
    assert "Écume Größe · Б1" in read
    assert lost_letters([spool]) == {}


def name_boxes(pdf: bytes, name: str) -> list[tuple[float, float, float, float]]:
    """Return the box of each letter of a name on the first page: left, bottom, right, top, in points."""
    with PdfDocument(pdf) as document:
        read = document[0].get_textpage()
        start = read.get_text_range().index(name)
        return [read.get_charbox(start + at) for at in range(len(name))]


def test_hebrew_is_laid_from_the_right():
    name = "אדום"
    lefts = [box[0] for box in name_boxes(sheet_of([a_spool(a_shade("R", name=name))]), name)]
    assert lefts == sorted(lefts, reverse=True)
    assert len(set(lefts)) == len(name)


def test_the_letters_of_arabic_are_joined():
    name = "محمد"  # each letter reaches the next
    pdf = sheet_of([a_spool(a_shade("R", name=name))])
    boxes = name_boxes(pdf, name)
    image, scale = picture(pdf), DPI / 72
    bottom = image.height - scale * min(box[1] for box in boxes)
    top = image.height - scale * max(box[3] for box in boxes)
    left, right = scale * min(box[0] for box in boxes), scale * max(box[2] for box in boxes)
    assert right - left > scale * 10
    inked = [
        any(is_dark(image, x, y) for y in range(int(top), int(bottom) + 1))
        for x in range(int(left), int(right) + 1)
    ]
    inked = inked[inked.index(True) : len(inked) - inked[::-1].index(True)]
    assert all(inked)


def test_letters_that_no_label_can_print_are_told():
    plain, odd = a_spool(a_shade("R", name="Harbour")), a_spool(a_shade("S", name="赤い糸 thread 🧵"))
    assert lost_letters([plain, odd]) == {odd.label: "赤い糸🧵"}
    assert "? thread ?" in words(sheet_of([odd]))


def test_things_of_every_kind_have_labels():
    pdf = words(sheet_of([a_roll(), some_bobbins()]))
    assert "tear-away, 50 g/m²" in pdf
    assert "bobbin L" in pdf


def test_the_address_is_written_in_the_alphabet_that_a_code_packs_closest():
    for label in ("S0042", "S-94E7C635-20000"):
        code = segno.make_qr(
            address_of(label, base_url="https://thread.gull-and-halyard.example:8443"), error="m"
        )
        assert code.mode == "alphanumeric"
        assert int(code.version) <= 4


@pytest.mark.parametrize(
    ("base_url", "address"),
    [
        ("http://192.168.1.5:8000/", "HTTP://192.168.1.5:8000/S/S0042"),
        ("https://example.org/Thread/", "HTTPS://EXAMPLE.ORG/Thread/s/S0042"),
    ],
)
def test_a_folder_keeps_its_letters(base_url, address):
    assert address_of("s0042", base_url=base_url) == address


def test_a_label_code_with_odd_letters_is_still_an_address():
    assert address_of("wall 3/é", base_url=SITE) == "HTTPS://THREAD.EXAMPLE/S/wall%203%2F%C3%A9"


@pytest.mark.parametrize("base_url", ["", "thread.example", "ftp://thread.example", "javascript:alert(1)"])
def test_what_is_no_site_makes_no_address(base_url):
    with pytest.raises(WorkshopError, match="is no address of a site"):
        address_of("S0042", base_url=base_url)


def test_the_modules_are_those_of_the_code():
    address = address_of("S0042", base_url=SITE)
    assert [list(map(int, row)) for row in qr_modules(address)] == [
        list(row) for row in segno.make_qr(address, error="m").matrix
    ]


@pytest.mark.parametrize(
    ("sheet", "count", "first_mm"),
    [
        # 210 − 3 × 63.5 − 2 × 2.54 and 297 − 7 × 38.1, halved.
        ("a4-63.5x38.1", 21, (7.21, 15.15)),
        # 2⅝ × 1 in labels, 2¾ in apart, on 8½ × 11 in: margins of 3/16 and 1/2 in.
        ("letter-66.7x25.4", 30, (4.7625, 12.7)),
        ("roll-50x25", 1, (0.0, 0.0)),
    ],
)
def test_a_sheet_is_spread_about_the_middle_of_its_page(sheet, count, first_mm):
    assert SHEETS[sheet].count == count
    assert SHEETS[sheet].corner_mm(0) == pytest.approx(first_mm)
    assert str(count) in SHEETS[sheet].name or count == 1


@pytest.mark.parametrize("name", SHEETS)
def test_labels_lie_on_the_page_and_never_on_each_other(name):
    sheet = SHEETS[name]
    boxes = [(*sheet.corner_mm(position), *sheet.label_mm) for position in range(sheet.count)]
    for x, y, width, height in boxes:
        assert 0 <= x <= sheet.page_mm[0] - width + 1e-6
        assert 0 <= y <= sheet.page_mm[1] - height + 1e-6
    for number, (x, y, width, height) in enumerate(boxes):
        for left, top, _, _ in boxes[:number]:
            assert abs(x - left) >= width - 1e-6 or abs(y - top) >= height - 1e-6


def test_a_sheet_that_is_none_and_a_start_beyond_it_are_refused():
    spool = a_spool()
    with pytest.raises(NoSuchSheet, match=r"There are: a4-63\.5x38\.1"):
        sheet_of([spool], sheet="a5")
    for skip in (-1, 21):
        with pytest.raises(NoSuchSheet, match="Give 0 to 20"):
            sheet_of([spool], skip=skip)


def test_no_labels_and_too_many_are_refused():
    with pytest.raises(NothingToPrint, match="nothing to label"):
        sheet_of([])
    with pytest.raises(NothingToPrint, match=re.escape(f"Print {MOST_LABELS:,} at a time")):
        sheet_of([a_spool()] * (MOST_LABELS + 1))


@given(st.text())
def test_any_text_can_be_printed(text):
    assert not_printable([printable(text)]) == ""
    assert printable(printable(text)) == printable(text)
    # A question mark that nobody typed stands for letters that are told.
    if printable(text).count("?") > text.count("?"):
        assert not_printable([text])


def test_letters_that_every_reader_has_are_printed_as_they_are():
    kept = "Écume, Größe, crème brûlée, 5 €, Ž 80 g/m² · “x”"
    assert printable(kept) == kept
