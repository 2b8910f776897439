"""The default κ, thickness and depth of the interlock against what is published and what they were fitted to."""

import importlib

import numpy as np
import pytest

from planning.compute.stitches.thread_length import (
    USUAL_THICKNESS_MM,
    ThreadSettings,
    block_sums,
    bobbin_geometry_mm,
    needle_geometry_mm,
)
from planning.models import Fabric, Machine, no_cloth

DEFAULTS = ThreadSettings()


def zigzag(width_mm: float, per_cm: float, *, crossings: int = 4_000) -> tuple[np.ndarray, float]:
    """Return the points of a zigzag and the length of its seam in mm."""
    step = 10 / per_cm
    across = np.arange(crossings) % 2 * width_mm
    return np.column_stack([across, np.arange(crossings) * step]), crossings * step


@pytest.mark.parametrize(
    ("width_mm", "per_cm", "computed"), [(3.0, 7.0, 5.35), (4.0, 6.0, 5.80), (5.0, 5.0, 5.89)]
)
def test_a_304_zigzag_takes_about_what_the_handbook_says(width_mm, per_cm, computed):
    """Handbook ratio 5.5 of the seam, 1 : 1, width and density not told (stitch-type guide, apparelscience.com): ours
    at κ = 0, q = ½, t = 0.5 mm lies within 7 % of it for usual ones (5.35 to 5.89, computed by others)."""
    points, seam_mm = zigzag(width_mm, per_cm)
    lay = {"kappa": 0.0, "thickness_mm": 0.5, "interlock_depth": 0.5}
    sums = block_sums(points, [0])
    needle, bobbin = (reckon(sums, **lay) / seam_mm for reckon in (needle_geometry_mm, bobbin_geometry_mm))
    assert needle == pytest.approx(bobbin, rel=1e-9)
    assert needle + bobbin == pytest.approx(computed, rel=0.02)
    assert needle + bobbin == pytest.approx(5.5, rel=0.07)  # −2.7, +5.4 and +6.98 %


def test_the_usual_cloth_stands_in_one_place():
    assert DEFAULTS.thickness_mm == USUAL_THICKNESS_MM == no_cloth().thickness_mm
    assert Fabric().thickness_mm == USUAL_THICKNESS_MM
    assert (Machine().kappa, Machine().interlock_depth) == (DEFAULTS.kappa, DEFAULTS.interlock_depth)
    assert (DEFAULTS.kappa, DEFAULTS.interlock_depth) == (0.25, 0.75)


def test_machines_that_are_there_keep_their_start_and_new_ones_begin_at_one():
    migration = importlib.import_module("planning.migrations.0011_what_was_learned_tells_more").Migration
    starts = [
        operation.field.default
        for operation in migration.operations
        if getattr(operation, "model_name", "") == "machine" and operation.name == "bobbin_start"
    ]
    assert starts == [1.25, 1.0]
    assert Machine().bobbin_start == 1.0
