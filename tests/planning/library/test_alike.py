"""The library with files as they come: folders as context, and files that hold the same or nearly the same."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.urls import reverse

from planning.library.folders import folders_of
from planning.library.importing import import_folder
from planning.library.search import DesignSearch, find_designs
from planning.library.variants import NotAVariant, join, near_duplicates, set_apart
from planning.models import Design, ImportRun
from planning.stitch_files.formats.signatures import pec_block_at
from tests.factories import NOW
from tests.planning.written_files import DrawnBlock, file_bytes, pennant

pytestmark = pytest.mark.django_db


def other_colours(blocks):
    return tuple(DrawnBlock("#445566", block.runs) for block in blocks)


def mended(blocks):
    """Return the drawing with one stitch set 0.3 mm aside, as somebody who mends a design leaves it."""
    first, *others = blocks
    run = list(first.runs[0])
    run[40] = (run[40][0] + 3, run[40][1])
    return (DrawnBlock(first.hex, (tuple(run), *first.runs[1:])), *others)


def under_another_label(content):
    """Return the bytes of a PES file with another label in it: the same to everybody but a computer."""
    at = pec_block_at(content) + 3
    return content[:at] + b"Another         " + content[at + 16 :]


@pytest.fixture
def library(tmp_path):
    """Import files of one drawing from folders, under other names, in other colours, and mended."""
    files = {
        "Harbour club/2025/pennant.pes": file_bytes(pennant(), "pes"),
        "Harbour club/2026/pennant again.pes": under_another_label(file_bytes(pennant(), "pes")),
        "Rowing club/pennant grey.pes": file_bytes(other_colours(pennant()), "pes"),
        "mended.pes": file_bytes(mended(pennant()), "pes"),
    }
    for name, content in files.items():
        path = tmp_path / "stitch files" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    import_folder(tmp_path / "stitch files", trim_at_jumps=3, clock=lambda: NOW, processes=1)


def named(name):
    return Design.objects.get(name=name)


def test_the_folders_that_a_design_came_from_are_shown_and_searched(library, signed_in):
    design = named("pennant grey")
    assert folders_of([design]) == {design.pk: ["stitch files / Rowing club"]}
    page = signed_in.get(reverse("designs")).content.decode()
    assert "stitch files / Rowing club" in page
    assert "stitch files / Rowing club" in signed_in.get(reverse("design", args=[design.pk])).content.decode()
    assert [each.name for each in find_designs(DesignSearch(words="rowing"))] == ["pennant grey"]
    assert not find_designs(DesignSearch(words="pottery"))


def test_other_colours_and_mended_stitches_are_offered_and_joined_by_a_person(library, signed_in):
    grey, mended_one = named("pennant grey"), named("mended")
    alike = {each.design.name: each.stitches_equal for each in near_duplicates(grey)}
    assert alike.pop("mended") is False
    (first, is_equal), *more = alike.items()
    assert (is_equal, more) == (True, [])
    grey_page = signed_in.get(reverse("design", args=[grey.pk])).content.decode()
    assert "the same stitches in other colours" in grey_page
    signed_in.post(reverse("design_join", args=[grey.pk]), {"with": named(first).pk})
    grey.refresh_from_db()
    assert grey.variant_of == named(first)
    assert "mended" in {each.design.name for each in near_duplicates(named(first))}
    set_apart(grey)
    assert Design.objects.listed().filter(name="pennant grey").exists()
    with pytest.raises(NotAVariant):
        join(mended_one, mended_one)


def test_what_is_another_drawing_is_not_offered(library, keep):
    other = keep("#b01c2e", name="flag.pes")
    assert near_duplicates(other) == []


def test_the_same_stitches_and_colours_in_one_format_are_one_design(library):
    first, second = named("pennant"), named("pennant again")
    assert {first.variant_of, second.variant_of} == {None, first if second.variant_of else second}
    assert Design.objects.listed().filter(name__startswith="pennant").count() == 2  # and the grey one


def test_a_refusal_names_its_file_once_and_the_folder_it_lies_in(tmp_path, signed_in, capsys):
    (tmp_path / "caps").mkdir()
    (tmp_path / "caps" / "letter.pes").write_text("Dear workshop")
    with pytest.raises(SystemExit):
        call_command("import_designs", str(tmp_path))
    said = capsys.readouterr().err
    assert said.count("letter.pes") == 1
    assert f"({tmp_path}/caps)" in said
    page = signed_in.get(reverse("import_run", args=[ImportRun.objects.get().pk])).content.decode()
    assert page.count("letter.pes") == 1
    # And on the page where the question is asked.
    letter = SimpleUploadedFile("letter.pes", b"Dear workshop")
    asked = signed_in.post(reverse("today"), {"pieces": 3, "stitch_files": [letter]})
    assert asked.content.decode().count("letter.pes") == 1
