"""Length from the diameter: against its own geometry, simulated readings, and the table of a study."""

import math

import numpy as np
import pytest

from inventory.compute.diameters import (
    TOOLS,
    NotThatSpool,
    Winding,
    density_doubt,
    length_from_diameter,
    sigma_by_diameter,
)
from inventory.compute.errors import WorkshopError

SMALL = {"length_mm": 1_000_000.0, "full_mm": 32.0, "core_mm": 20.0}
CONE = {"length_mm": 5_000_000.0, "full_mm": 57.0, "core_mm": 40.0}


@pytest.mark.parametrize(
    ("put_up", "error", "metres"),
    [
        (SMALL, 0.5, (76, 54, 46)),
        (SMALL, 0.3, (49, 33, 28)),
        (SMALL, 0.15, (31, 19, 15)),
        (SMALL, 0.10, (27, 15, 10)),
        (CONE, 0.5, (269, 191, 170)),
        (CONE, 0.3, (184, 123, 104)),
        (CONE, 0.15, (134, 78, 55)),
        (CONE, 0.10, (122, 67, 40)),
    ],
)
def test_the_error_is_that_of_the_study(put_up, error, metres):
    """± m at full, half and a fifth, full and core diameter measured with the same tool (simulated within 1 %)."""
    winding = Winding(**put_up, sigma_mm=error)
    found = [sigma_by_diameter(share, winding=winding, error_mm=error) / 1000 for share in (1.0, 0.5, 0.2)]
    assert found == pytest.approx(metres, abs=1.0)


@pytest.mark.parametrize("share", [0.9, 0.5, 0.2])
def test_the_stated_error_is_that_of_simulated_readings(share):
    rng, n, error = np.random.default_rng(90), 200_000, 0.15
    length = SMALL["length_mm"] * (1 + 0.01 * rng.standard_normal(n)) * (1 + 0.02 * rng.standard_normal(n))
    full, core = (SMALL[name] + error * rng.standard_normal(n) for name in ("full_mm", "core_mm"))
    ring = SMALL["full_mm"] ** 2 - SMALL["core_mm"] ** 2
    across = math.sqrt(SMALL["core_mm"] ** 2 + share * ring) + error * rng.standard_normal(n)
    told = length * (across**2 - core**2) / (full**2 - core**2)
    stated = sigma_by_diameter(share, winding=Winding(**SMALL, sigma_mm=error), error_mm=error)
    assert told.std() == pytest.approx(stated, rel=0.02)


def test_the_length_is_the_share_of_the_ring():
    winding = Winding(**SMALL)
    assert length_from_diameter(32.0, winding=winding, tool="calipers")[0] == pytest.approx(1_000_000)
    assert length_from_diameter(20.0, winding=winding, tool="calipers")[0] == pytest.approx(0.0)
    half = math.sqrt((32.0**2 + 20.0**2) / 2)
    assert length_from_diameter(half, winding=winding, tool="ruler")[0] == pytest.approx(500_000)
    # As far as reading goes, a little beyond full is full.
    assert length_from_diameter(32.4, winding=winding, tool="calipers")[0] == pytest.approx(1_000_000)


def test_mean_diameters_are_exact_on_a_cone_of_even_winding():
    """Diameters fall from bottom to top by the same on core and winding: the square of that cancels."""
    height = np.linspace(-1, 1, 20_001)
    volume = np.mean((50 + 10 * height) ** 2 - (40 + 10 * height) ** 2)
    assert volume == pytest.approx(50**2 - 40**2, rel=1e-6)


@pytest.mark.parametrize("diameter", [19.0, 33.0, 0.0])
def test_a_diameter_that_such_a_spool_cannot_have_is_refused(diameter):
    with pytest.raises(NotThatSpool, match="20 mm empty and 32 mm full"):
        length_from_diameter(diameter, winding=Winding(**SMALL), tool="calipers")


def test_nonsense_is_refused_in_words():
    with pytest.raises(WorkshopError, match="thicker than its core"):
        Winding(1_000.0, full_mm=20.0, core_mm=20.0)
    with pytest.raises(WorkshopError, match="nothing to measure across with"):
        length_from_diameter(25.0, winding=Winding(**SMALL), tool="thumb")
    assert TOOLS["calipers"] < TOOLS["ruler"]


def test_a_winding_too_dense_or_too_loose_is_doubted():
    """32 / 20 mm by 45 mm with 27 g would be 1.22 g/cm³; usual are about 0.6 to 1.1, from memory."""
    assert "1.22 g/cm³, which is suspiciously dense" in density_doubt(Winding(**SMALL), height_mm=45, tex=27)
    assert density_doubt(Winding(**SMALL), height_mm=65, tex=27) == ""
    assert "suspiciously loose" in density_doubt(Winding(**SMALL), height_mm=120, tex=27)
