"""Reading stitch files: one design must be the same design in whatever format it comes."""

import doctest
import hashlib
import os
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from pyembroidery import EmbPattern, EmbThread

from planning.compute.stitches import plausibility
from planning.compute.stitches.walk import END, BlockPath
from planning.stitch_files import child as reading_child
from planning.stitch_files import formats, opening
from planning.stitch_files.formats import FORMATS, claims, endings, signatures
from planning.stitch_files.reading import PACKAGE_ROOT, ReadDesign, UnreadableDesign, read_design_file
from tests.planning.written_files import (
    DrawnBlock,
    compressed,
    file_bytes,
    hus_file,
    pattern_of,
    pennant,
    pennant_with_a_dragged_travel,
    zigzag,
)

EVERY_FORMAT = sorted(FORMATS)
# The writers of these two mark every move as a trim, or know no move at all.
WITH_MOVES_OF_THEIR_OWN = sorted(set(EVERY_FORMAT) - {"pes", "pec", "vp3"})


def read(folder: Path, content: bytes, extension: str, *, trim_at_jumps: int = 3) -> ReadDesign:
    path = folder / f"pennant.{extension}"
    path.write_bytes(content)
    return read_design_file(path, trim_at_jumps=trim_at_jumps)


def drawn_mm(block: BlockPath) -> float:
    steps = np.hypot(*np.diff(block.points_mm, axis=0).T)
    steps[block.run_starts[1:] - 1] = 0
    return float(steps.sum())


def hexes(design: ReadDesign) -> list[str | None]:
    return [block.thread.hex if block.thread else None for block in design.walked.blocks]


def test_the_table_knows_each_format_under_its_extension() -> None:
    assert {"pes", "pec", "dst", "exp", "jef", "vp3", "xxx", "hus", "sew", "u01", "tbf"} <= set(FORMATS)
    assert all(known.extension == extension for extension, known in FORMATS.items())


@pytest.mark.parametrize(
    "module", [formats, claims, endings, signatures, opening, reading_child, plausibility]
)
def test_the_examples_in_the_docstrings_hold(module: object) -> None:
    result = doctest.testmod(module)  # type: ignore[arg-type]
    assert result.attempted > 0
    assert result.failed == 0


@pytest.mark.parametrize("extension", EVERY_FORMAT)
@pytest.mark.parametrize("design", [pennant(), pennant_with_a_dragged_travel()], ids=["trimmed", "dragged"])
def test_a_design_is_the_same_in_every_format(
    tmp_path: Path, extension: str, design: tuple[DrawnBlock, ...]
) -> None:
    found = read(tmp_path, file_bytes(design, extension), extension).walked
    assert len(found.blocks) == len(design)
    for block, meant in zip(found.blocks, design, strict=True):
        assert drawn_mm(block) == pytest.approx(meant.drawn_mm, rel=0.005)
        assert len(block.points_mm) == pytest.approx(meant.penetrations, rel=0.01)
        assert len(block.run_starts) == len(meant.runs)
    points = np.array([point for block in design for run in block.runs for point in run]) / 10
    assert [found.width_mm, found.height_mm] == pytest.approx(np.ptp(points, axis=0), abs=0.2)


@pytest.mark.parametrize("extension", WITH_MOVES_OF_THEIR_OWN)
def test_a_long_travel_left_untrimmed_drags_its_37_mm(tmp_path: Path, extension: str) -> None:
    content = file_bytes(pennant_with_a_dragged_travel(), extension)
    assert read(tmp_path, content, extension).walked.blocks[0].jumped_mm == pytest.approx(37.0)


def test_a_long_travel_left_untrimmed_is_told_where_a_machine_might_trim(tmp_path: Path) -> None:
    dragged = read(tmp_path, file_bytes(pennant_with_a_dragged_travel(), "dst"), "dst")
    assert "1 long travel (up to 37 mm) is not trimmed" in " ".join(dragged.warnings)


@pytest.mark.parametrize("extension", EVERY_FORMAT)
def test_a_sound_design_is_read_without_a_warning(tmp_path: Path, extension: str) -> None:
    assert read(tmp_path, file_bytes(pennant(), extension), extension).warnings == ()


def test_a_travel_told_as_a_move_is_dragged_as_one_told_as_a_stitch(tmp_path: Path) -> None:
    design = EmbPattern()
    design.add_thread("#c01020")
    for x in (0, 20, 40):
        design.stitch_abs(x, 0)
    design.move_abs(410, 0)
    for x in (410, 430):
        design.stitch_abs(x, 0)
    design.end()
    for extension in ("dst", "exp", "jef", "vp3", "xxx", "u01", "tbf", "hus", "sew"):
        found = read(tmp_path, file_bytes(design, extension), extension)
        block = found.walked.blocks[0]
        assert (extension, drawn_mm(block), len(block.run_starts)) == (extension, pytest.approx(43.0), 1)
        assert any("not trimmed" in text for text in found.warnings) == (extension in ("dst", "jef", "sew"))


def test_a_machine_that_trims_at_more_jumps_trims_less(tmp_path: Path) -> None:
    content = file_bytes(pennant(), "dst")
    assert read(tmp_path, content, "dst").walked.trims == 3
    assert read(tmp_path, content, "dst", trim_at_jumps=50).walked.trims == 0


@pytest.mark.parametrize("extension", ["pes", "vp3", "xxx", "tbf"])
def test_colours_come_from_the_file_where_it_carries_them(tmp_path: Path, extension: str) -> None:
    design = read(tmp_path, file_bytes(pennant(), extension), extension)
    assert hexes(design) == [block.hex for block in pennant()]


@pytest.mark.parametrize("extension", ["pes", "vp3"])
def test_name_and_code_of_a_thread_come_from_the_file(tmp_path: Path, extension: str) -> None:
    thread = read(tmp_path, file_bytes(pennant(), extension), extension).walked.blocks[1].thread
    assert thread is not None
    assert (thread.name, thread.code) == ("colour 2", "101")


@pytest.mark.parametrize("extension", ["pec", "jef", "hus", "sew"])
def test_a_palette_gives_a_colour_but_nobodys_name_or_code(tmp_path: Path, extension: str) -> None:
    for block in read(tmp_path, file_bytes(pennant(), extension), extension).walked.blocks:
        assert block.thread is not None
        assert re.fullmatch("#[0-9a-f]{6}", block.thread.hex or "")
        assert block.thread.code == ""
        assert set(block.thread.name.split()) <= formats.PLAIN_COLOUR_WORDS


@pytest.mark.parametrize("extension", ["dst", "exp", "u01"])
def test_a_file_without_colours_is_uncoloured_and_not_filled_in(tmp_path: Path, extension: str) -> None:
    design = read(tmp_path, file_bytes(pennant(), extension), extension)
    assert hexes(design) == [None] * 4
    assert design.records.threads == ()


def test_colour_lines_in_a_dst_header_are_colours_in_the_file(tmp_path: Path) -> None:
    design = read(tmp_path, file_bytes(pennant(), "dst", version="extended"), "dst")
    assert hexes(design) == [block.hex for block in pennant()]


def test_a_broken_colour_line_in_a_dst_header_loses_the_colour_and_not_the_design(tmp_path: Path) -> None:
    content = file_bytes(pennant(), "dst", version="extended").replace(b"TC:#107040,", b"TC:nocolor,")
    design = read(tmp_path, content, "dst")
    assert hexes(design) == [*[block.hex for block in pennant()[:3]], None]
    assert "3 threads for 4 colour blocks" in " ".join(design.warnings)


@pytest.mark.parametrize("extension", ["pes", "pec", "jef", "vp3", "xxx", "tbf"])
def test_equal_neighbouring_colours_stay_two_blocks_in_every_format(tmp_path: Path, extension: str) -> None:
    first, second, *others = pennant()
    design = (first, DrawnBlock(first.hex, second.runs), *others)
    pattern = pattern_of(design)
    pattern.threadlist[1] = pattern.threadlist[0]
    found = read(tmp_path, file_bytes(pattern, extension), extension)
    assert len(found.walked.blocks) == 4
    assert hexes(found)[0] == hexes(found)[1]
    assert "Neighbouring blocks 1 and 2 ask for the same colour: that is one threading." in found.warnings


def test_the_threads_on_the_needles_are_taken_in_the_order_of_the_needles(tmp_path: Path) -> None:
    content = bytearray(file_bytes(pennant(), "tbf"))
    content[0x10A : 0x10A + 4] = bytes((2, 1, 2, 3))
    at = content.index(b"DA:") + 3
    content[at : at + 20] = b"E\xaa\x00\x00 E\x00\xbb\x00 E\x00\x00\xcc ".ljust(20)
    assert hexes(read(tmp_path, bytes(content), "tbf")) == ["#00bb00", "#aa0000", "#00bb00", "#0000cc"]


def test_a_stop_in_a_jef_file_pauses_and_takes_no_thread(tmp_path: Path) -> None:
    pattern = EmbPattern()
    pattern.add_thread("#ff0000")
    pattern.add_thread("#0000ff")
    for x, y in zigzag(0, 0, stitches=20):
        pattern.stitch_abs(x, y)
    pattern.stop()
    for x, y in zigzag(80, 0, stitches=20):
        pattern.stitch_abs(x, y)
    pattern.color_change()
    for x, y in zigzag(0, 100, stitches=20):
        pattern.stitch_abs(x, y)
    pattern.end()
    found = read(tmp_path, file_bytes(pattern, "jef"), "jef")
    assert [(block.stops, len(block.points_mm)) for block in found.walked.blocks] == [(1, 40), (0, 20)]
    assert hexes(found)[1] == "#0b2f84"
    assert found.warnings == ()


def test_fewer_colours_than_blocks_in_a_jef_file_leave_blocks_uncoloured(tmp_path: Path) -> None:
    content = bytearray(file_bytes(pennant(), "jef"))
    content[24] = 2  # the colour count
    found = read(tmp_path, bytes(content), "jef")
    assert hexes(found)[2:] == [None, None]
    assert "2 threads for 4 colour blocks" in " ".join(found.warnings)


def test_a_needle_number_beyond_the_list_leaves_the_list_in_its_order(tmp_path: Path) -> None:
    content = bytearray(file_bytes(pennant(), "tbf"))
    content[0x10A + 3] = 9
    content[content.index(b"DA:") + 18] = 0  # the list ends after three threads
    assert hexes(read(tmp_path, bytes(content), "tbf")) == [*[block.hex for block in pennant()[:3]], None]


def test_a_header_that_says_another_number_of_stitches_is_told(tmp_path: Path) -> None:
    content = re.sub(rb"ST:.{7}", b"ST:   9999", file_bytes(pennant(), "dst"), count=1)
    found = read(tmp_path, content, "dst")
    assert (
        "The header says 9,999 stitches; the file holds 621: stitches may be missing or doubled."
        in found.warnings
    )


def test_a_header_that_says_another_number_of_colours_is_told(tmp_path: Path) -> None:
    content = re.sub(rb"CO:.{3}", b"CO: 11", file_bytes(pennant(), "dst"), count=1)
    assert "The header says 11 colour changes; the file holds 3" in read(tmp_path, content, "dst").warnings[0]


def test_a_header_that_says_another_size_is_told(tmp_path: Path) -> None:
    content = re.sub(rb"\+X:.{5}", b"+X: 4999", file_bytes(pennant(), "dst"), count=1)
    assert read(tmp_path, content, "dst").warnings == (
        "The header says that the design reaches 30.0 and 499.9 mm to the sides of its start; it reaches 30.0 and "
        "96.6 mm. Some programs write the size of the canvas there. Check the hoop.",
    )


def test_a_canvas_for_a_size_is_no_alarm_but_a_size_that_is_too_small_is(tmp_path: Path) -> None:
    sound = file_bytes(pennant(), "dst")
    canvas = read(tmp_path, re.sub(rb"\+X:.{5}", b"+X: 4999", sound, count=1), "dst")
    assert [each.grade for each in canvas.graded_warnings] == ["info"]
    small = read(tmp_path, re.sub(rb"\+X:.{5}", b"+X:  499", sound, count=1), "dst")
    assert [each.grade for each in small.graded_warnings] == ["look"]
    assert "stitches may be missing or damaged" in small.warnings[0]
    # A canvas whose count is off as well may hide that something is missing.
    both = re.sub(rb"ST:.{7}", b"ST:   9999", re.sub(rb"\+X:.{5}", b"+X: 4999", sound, count=1), count=1)
    assert [each.grade for each in read(tmp_path, both, "dst").graded_warnings] == ["look", "look"]


def test_a_hus_header_that_counts_more_stitches_than_there_are_is_told(tmp_path: Path) -> None:
    content = hus_file(
        count=400,
        colours=[3],
        commands=compressed(b"\x80" * 100 + b"\x90"),
        x=compressed(b"\x14" * 101),
        y=compressed(b"\x05\xfb" * 50 + b"\0"),
    )
    assert "The header says 400 stitches; the file holds 100" in read(tmp_path, content, "hus").warnings[0]


def test_reading_that_stops_at_an_unknown_code_is_told(tmp_path: Path) -> None:
    content = b"\x14\x00\x14\x05" * 20 + b"\x80\x66\x00\x00" + b"\x14\x00\x14\x05" * 20
    found = read(tmp_path, content, "exp")
    assert found.walked.stitches == 40
    assert "Reading stopped at a code that is not known in EXP files" in found.warnings[-1]


def test_a_design_is_known_by_its_content_and_its_name(tmp_path: Path) -> None:
    content = file_bytes(pennant(), "dst")
    found = read(tmp_path, content, "dst")
    assert (found.name, found.format, found.size_bytes) == ("pennant", "DST", len(content))
    assert found.sha256 == hashlib.sha256(content).hexdigest()
    assert END in found.records.command


def test_a_file_that_lies_under_another_name_is_known_by_its_own(tmp_path: Path) -> None:
    path = tmp_path / "upload-0001"
    path.write_bytes(file_bytes(pennant(), "exp"))
    found = read_design_file(path, name="Sail bag.EXP")
    assert (found.name, found.format) == ("Sail bag", "EXP")
    with pytest.raises(UnreadableDesign, match=r"^Sail bag\.pes is not a whole PES file"):
        read_design_file(path, name="Sail bag.pes")


def test_a_file_is_read_from_any_working_directory(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "planning.py").write_text("raise RuntimeError('not this one')")
    monkeypatch.chdir(tmp_path)
    assert read(tmp_path, file_bytes(pennant(), "pes"), "pes").walked.stitches == 621


def test_the_library_stays_in_the_child_and_the_site_out_of_it(tmp_path: Path) -> None:
    def modules_after(statement: str) -> set[str]:
        script = f"{statement}; import sys; print(*sys.modules)"
        done = subprocess.run(
            [sys.executable, "-c", script], cwd=PACKAGE_ROOT, capture_output=True, text=True, check=True
        )
        return set(done.stdout.split())

    path = tmp_path / "pennant.dst"
    path.write_bytes(file_bytes(pennant(), "dst"))
    parent = modules_after(
        f"from planning.stitch_files.reading import read_design_file as r; r({os.fspath(path)!r})"
    )
    assert "numpy" in parent
    assert "pyembroidery" not in parent
    child = modules_after("import planning.stitch_files.child")
    assert "pyembroidery" in child
    assert not child & {"django", "numpy"}


def test_the_environment_of_the_site_does_not_reach_the_child(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[dict[str, str]] = []
    run = subprocess.run

    def watched(*args: object, **options: object) -> object:
        seen.append(dict(options["env"]))  # type: ignore[call-overload]
        return run(*args, **options)  # type: ignore[call-overload]

    monkeypatch.setenv("DATABASE_URL", "postgres://harbour")
    monkeypatch.setattr(subprocess, "run", watched)
    read(tmp_path, file_bytes(pennant(), "exp"), "exp")
    assert "PYTHONPATH" in seen[0]
    assert "DATABASE_URL" not in seen[0]


def test_a_thread_of_a_file_is_told_in_words_that_can_be_printed() -> None:
    thread = EmbThread()
    thread.set_hex_color("#102030")
    thread.description, thread.catalog_number = "Signal\x00 red\n" + "!" * 200, "None"
    assert reading_child.thread_words(thread) == ("#102030", "Signal red" + "!" * 70, "", False)
