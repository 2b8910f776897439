"""Sixty files like those of the wild are read whole, and none of them raises an alarm."""

import re
from pathlib import Path

import pytest

from fixtures.drawing.wild import EVERY_WRITTEN, corpus
from fixtures.make_corpus import main
from planning.stitch_files.reading import ReadDesign, read_design_files

CORPUS = {file.name: file for file in corpus()}
TOLD = {
    "short palette": "3 threads for 6 colour blocks",
    "lone stitches": "6 lone stitches stand between two cuts",
    "size of the canvas": "Some programs write the size of the canvas there",
    "lengths that slip": "56 bytes",
}


@pytest.fixture(scope="module")
def read(tmp_path_factory: pytest.TempPathFactory) -> dict[str, ReadDesign]:
    folder = tmp_path_factory.mktemp("corpus")
    assert main([str(folder)]) == 0
    found = {path.name: each for path, each in read_design_files(sorted(folder.iterdir()))}
    assert [str(each) for each in found.values() if not isinstance(each, ReadDesign)] == []
    return {name: each for name, each in found.items() if isinstance(each, ReadDesign)}


def test_it_is_sixty_small_files_in_every_format_that_is_written_and_always_the_same() -> None:
    assert len(CORPUS) == 60
    assert {file.extension for file in CORPUS.values()} == set(EVERY_WRITTEN)
    assert list(corpus()) == list(CORPUS.values())
    assert sum(len(file.content) for file in CORPUS.values()) < 1 << 20


def test_it_has_what_real_files_have(read: dict[str, ReadDesign]) -> None:
    blocks = {name: len(each.walked.blocks) for name, each in read.items()}
    assert blocks["forty-eight-blocks.dst"] == 48
    assert blocks["seventy-eight-colours.pes"] == 78
    assert read["larger-than-every-hoop.dst"].walked.width_mm > 400
    assert any(len(Path(name).stem) >= 60 for name in read)
    screen = [block.thread.hex for block in read["screen-colours.pes"].walked.blocks if block.thread]
    assert screen[:4] == ["#000000", "#ff0000", "#00ff00", "#0000ff"]
    assert all(block.thread is None for block in read["no-colours.dst"].walked.blocks)
    travels = read["long-travel.exp"].walked.blocks[0]
    assert travels.jumped_mm > 37


@pytest.mark.parametrize("name", CORPUS)
def test_an_undamaged_file_raises_no_alarm(read: dict[str, ReadDesign], name: str) -> None:
    assert [each.text for each in read[name].graded_warnings if each.is_grave] == []


@pytest.mark.parametrize("name", [name for name, file in CORPUS.items() if file.oddity in TOLD])
def test_what_is_odd_about_it_is_told_for_a_persons_information(
    read: dict[str, ReadDesign], name: str
) -> None:
    assert re.search(TOLD[CORPUS[name].oddity], "\n".join(read[name].warnings))


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("file-length-slips.vp3", "colour-lengths-slip.vp3"),
        ("design-length-slips.vp3", "colour-lengths-slip.vp3"),
        ("lone-stitches.vp3", "lone-stitches.exp"),
        ("forty-eight-blocks.vp3", "forty-eight-blocks.exp"),
        ("size-of-the-canvas.jef", "size-of-the-canvas.dst"),
    ],
)
def test_the_same_drawing_is_the_same_stitches_whatever_is_odd(
    read: dict[str, ReadDesign], one: str, other: str
) -> None:
    a, b = read[one].walked, read[other].walked
    assert [len(block.points_mm) for block in a.blocks] == [len(block.points_mm) for block in b.blocks]
    assert (round(a.width_mm), round(a.height_mm)) == (round(b.width_mm), round(b.height_mm))
