"""A stitch file that was written is read back as it was drawn."""

import numpy as np
import pytest

from planning.compute.stitches.thread_length import KAPPA_GRID
from planning.compute.stitches.weighed_strip import Scale, draw_strip
from planning.library.designs import sums_of
from planning.stitch_files.reading import read_design_file
from planning.stitch_files.writing import WRITTEN, CannotWrite, stitch_file

STRIP = draw_strip(Scale(step_mg=10, needle_tex=27.0, bobbin_tex=16.7), wanted_error=0.05)


@pytest.mark.parametrize("extension", WRITTEN)
def test_the_strip_read_back_has_the_lengths_it_promises(extension, tmp_path):
    """Within half a per cent, in every part and in every sum from which thread is reckoned."""
    path = tmp_path / f"strip.{extension}"
    path.write_bytes(stitch_file([STRIP.points_mm], extension=extension, colours=["#1c2b8d"]))
    walked = read_design_file(path).walked
    (block,) = walked.blocks
    sums = sums_of(block)
    assert sums.drawn_mm == pytest.approx(STRIP.sums.drawn_mm, rel=0.005)
    assert sums.back_draw_mm == pytest.approx(STRIP.sums.back_draw_mm, rel=0.005)
    assert sums.penetrations == pytest.approx(STRIP.sums.penetrations, rel=0.005)
    assert sums.runs == 1
    for at in range(len(KAPPA_GRID)):
        assert sums.bobbin_path_mm[at] == pytest.approx(STRIP.sums.bobbin_path_mm[at], rel=0.005)
    offset = len(block.points_mm) - len(STRIP.points_mm)
    assert offset in (0, 1)  # some formats begin with a stitch on the spot
    for part in STRIP.parts:
        points = block.points_mm[part.first + offset : part.last + offset + 1]
        assert np.hypot(*np.diff(points, axis=0).T).sum() == pytest.approx(part.drawn_mm, rel=0.005)


def test_a_format_that_cannot_be_written_is_refused():
    with pytest.raises(CannotWrite, match="HUS files cannot be written; choose one of PES, DST"):
        stitch_file([STRIP.points_mm], extension="hus", colours=["#1c2b8d"])
