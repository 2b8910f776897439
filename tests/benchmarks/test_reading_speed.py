"""Speed of the walk, side by side with the bare reading of the same file by the library."""

import io
import math
import statistics
from pathlib import Path

import numpy as np
import pytest
from pyembroidery import DstReader, EmbPattern, PesReader

from planning.compute.stitches.plausibility import signs_of_damage
from planning.compute.stitches.thread_length import block_sums
from planning.compute.stitches.walk import StitchRecords, Walked, walk
from planning.stitch_files.formats import FORMATS
from planning.stitch_files.formats.claims import disagreements
from planning.stitch_files.reading import ReadDesign, content_of, read_design_file
from tests.benchmarks.processor import processor_s
from tests.planning.written_files import file_bytes

READERS = {"dst": DstReader, "pes": PesReader}
STITCHES = 100_000
REPEATS = 5


def a_large_design() -> EmbPattern:
    """Return 100,000 stitches of fill and satin in 20 colours, with a trim every 500."""
    rng = np.random.default_rng(20)
    pattern = EmbPattern()
    for block in range(20):
        pattern.add_thread(f"#{rng.integers(0x1000000):06x}")
        if block:
            pattern.color_change()
        for i in range(STITCHES // 20):
            if i and i % 500 == 0:
                pattern.trim()
            turn = i / 7 + block
            pattern.stitch_abs(
                int(600 * math.sin(turn / 50) + 20 * (i % 2)), int(400 * math.cos(turn / 70) + 30 * block)
            )
    pattern.end()
    return pattern


def walk_and_sum(records: StitchRecords, extension: str) -> Walked:
    known = FORMATS[extension]
    walked = walk(records, trims=known.trims, record_limit_tenths=known.record_limit_tenths)
    for block in walked.blocks:
        block_sums(block.points_mm, block.run_starts, trims=block.trims, zero_length=block.zero_length)
    return walked


def check(design: ReadDesign, content: bytes, extension: str) -> list[str]:
    """Return all warnings that the bytes and the stitches give, beside those of the walk."""
    known = FORMATS[extension]
    found = content_of(design.records, design.walked, known, ended_at=None)
    return [
        *known.oddities(content),
        *disagreements(known.claims(content), found),
        *signs_of_damage(design.records, record_limit_tenths=known.record_limit_tenths),
    ]


@pytest.mark.benchmark
@pytest.mark.parametrize("extension", sorted(READERS))
def test_walking_and_checking_100_000_stitches_takes_no_longer_than_the_bare_read_of_their_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], extension: str
) -> None:
    content = file_bytes(a_large_design(), extension)
    path = tmp_path / f"large.{extension}"
    path.write_bytes(content)
    guesses_off = {"clipping": False, "trim_distance": None, "trim_at": 10**9}
    design = read_design_file(path)

    bare, walking, checking, whole = [], [], [], []
    for _ in range(REPEATS):
        bare.append(
            processor_s(lambda: READERS[extension].read(io.BytesIO(content), EmbPattern(), dict(guesses_off)))
        )
        walking.append(processor_s(lambda: walk_and_sum(design.records, extension)))
        checking.append(processor_s(lambda: check(design, content, extension)))
        whole.append(processor_s(lambda: read_design_file(path)))
    ratio = (statistics.median(walking) + statistics.median(checking)) / statistics.median(bare)
    with capsys.disabled():
        print(
            f"\n{extension}: {design.walked.stitches:,} stitches, {len(content):,} bytes; bare read "
            f"{statistics.median(bare) * 1000:.0f} ms, walk and sums {statistics.median(walking) * 1000:.0f} ms, "
            f"checks {statistics.median(checking) * 1000:.0f} ms (ratio {ratio:.3f}); "
            f"whole reading with its child process {statistics.median(whole) * 1000:.0f} ms"
        )
    assert design.walked.stitches == pytest.approx(STITCHES, rel=0.01)
    assert len(design.walked.blocks) == 20
    assert ratio <= 1
