"""VP3 is read along its chain of colour blocks: what stands inside one is a check and no guide."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from planning.stitch_files.formats.vp3 import vp3_layout
from planning.stitch_files.reading import ReadDesign, read_design_file
from tests.planning.written_files import DrawnBlock, file_bytes, pattern_of, pennant, zigzag

SOUND = file_bytes(pennant(), "vp3")
LAYOUT = vp3_layout(SOUND)


def read(folder: Path, content: bytes) -> ReadDesign:
    path = folder / "pennant.vp3"
    path.write_bytes(content)
    return read_design_file(path)


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> ReadDesign:
    return read(tmp_path_factory.mktemp("sound"), SOUND)


def with_length(content: bytes, at: int, by: int, *, size: int = 4) -> bytes:
    length = int.from_bytes(content[at : at + size], "big") + by
    return content[:at] + length.to_bytes(size, "big") + content[at + size :]


def name_at(number: int, place: int) -> int:
    """Return where the length of a name stands: 0 the code, 1 the name, 2 the maker."""
    at = LAYOUT.blocks[number].at + 15
    at += 2 + 6 * SOUND[at] + 2
    for _ in range(place):
        at += 2 + int.from_bytes(SOUND[at : at + 2], "big")
    return at


def assert_same_stitches(found: ReadDesign, sound: ReadDesign) -> None:
    assert len(found.walked.blocks) == len(sound.walked.blocks)
    for one, other in zip(found.walked.blocks, sound.walked.blocks, strict=True):
        assert np.array_equal(one.points_mm, other.points_mm)
        assert (one.thread and one.thread.hex) == (other.thread and other.thread.hex)


def test_the_layout_is_that_of_the_bytes() -> None:
    assert len(LAYOUT.blocks) == LAYOUT.counted == 4
    assert LAYOUT.end == len(SOUND)
    for block in LAYOUT.blocks:
        assert SOUND[block.at : block.at + 3] == b"\x00\x05\x00"
        assert block.end == block.said_end == block.inner_end + 1


@pytest.mark.parametrize(
    ("number", "place", "by"), [(0, 0, 1), (0, 0, -1), (1, 1, 3), (2, 1, 400), (3, 2, 7), (3, 0, 60_000)]
)
def test_a_name_of_the_wrong_length_loses_no_stitch(
    tmp_path: Path, sound: ReadDesign, number: int, place: int, by: int
) -> None:
    found = read(tmp_path, with_length(SOUND, name_at(number, place), by, size=2))
    assert_same_stitches(found, sound)
    assert [each.grade for each in found.graded_warnings] == ["info"]
    assert f"thread of colour {number + 1} are not as long" in found.warnings[0]


@pytest.mark.parametrize(("number", "by"), [(0, -56), (1, 56), (2, 5_000), (3, 1 << 20)])
def test_the_length_of_the_stitches_is_a_check_and_no_guide(
    tmp_path: Path, sound: ReadDesign, number: int, by: int
) -> None:
    found = read(tmp_path, with_length(SOUND, LAYOUT.blocks[number].stitches_at - 7, by))
    assert_same_stitches(found, sound)
    assert [each.grade for each in found.graded_warnings] == ["look"]
    assert f"stitches of colour {number + 1} ends" in found.warnings[0]


@pytest.mark.parametrize(("number", "by"), [(0, -57), (0, 57), (1, -1), (1, 1), (2, 1 << 20)])
def test_a_colour_of_the_wrong_length_is_ended_where_the_next_one_starts(
    tmp_path: Path, sound: ReadDesign, number: int, by: int
) -> None:
    found = read(tmp_path, with_length(SOUND, LAYOUT.blocks[number].at + 3, by))
    assert_same_stitches(found, sound)
    assert [each.grade for each in found.graded_warnings] == ["look"]


def all_slipped(by: int) -> bytes:
    content = SOUND
    for block in LAYOUT.blocks:
        content = with_length(content, block.at + 3, by)
    return content


@pytest.mark.parametrize(
    "content",
    [
        lambda: all_slipped(56),
        lambda: all_slipped(-56),
        lambda: with_length(SOUND, LAYOUT.file_at + 3, 56),
        lambda: with_length(SOUND, LAYOUT.file_at + 3, -56),
        lambda: with_length(SOUND, LAYOUT.design_at + 3, 56),
        lambda: with_length(with_length(SOUND, LAYOUT.design_at + 3, -56), LAYOUT.file_at + 3, -56),
    ],
)
def test_a_constant_slip_is_for_a_persons_information(
    tmp_path: Path, sound: ReadDesign, content: Callable[[], bytes]
) -> None:
    found = read(tmp_path, content())
    assert_same_stitches(found, sound)
    assert [each.grade for each in found.graded_warnings] == ["info"]
    assert "56 bytes" in found.warnings[0]


def test_a_block_that_the_header_does_not_count_is_read_and_told(tmp_path: Path, sound: ReadDesign) -> None:
    found = read(tmp_path, with_length(SOUND, LAYOUT.blocks[0].at - 2, -1, size=2))
    assert_same_stitches(found, sound)
    assert any("counts 3 colour blocks; the file holds 4" in each for each in found.warnings)
    assert any(each.is_grave for each in found.graded_warnings)


def test_a_missing_block_is_told(tmp_path: Path) -> None:
    found = read(tmp_path, SOUND[: LAYOUT.blocks[-1].at])
    assert len(found.walked.blocks) == 3
    assert any(each.is_grave for each in found.graded_warnings)


def test_a_block_that_starts_straight_above_the_centre_starts_there(tmp_path: Path) -> None:
    """The reading library leaves out a move of which one axis is zero."""
    blocks = (
        DrawnBlock("#000000", (zigzag(-200, -200, stitches=101),)),
        DrawnBlock("#ff0000", (zigzag(0, 150, stitches=50),)),
    )
    found = read(tmp_path, file_bytes(pattern_of(blocks), "vp3"))
    start = found.walked.blocks[1].points_mm[0] - found.walked.blocks[0].points_mm[0]
    assert start == pytest.approx([20.0, 35.0], abs=0.2)
