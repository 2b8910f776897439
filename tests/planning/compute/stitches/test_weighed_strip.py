"""The strip is as long as it says, weighs what the scale needs, and gives back invented truths."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.compute.errors import WorkshopError
from planning.compute.certainty.enough import Factor
from planning.compute.stitches.thread_length import ThreadSettings, block_sums, bobbin_laid_mm, needle_laid_mm
from planning.compute.stitches.weighed_strip import (
    SATIN_WIDTHS_MM,
    Scale,
    StripMeasured,
    draw_strip,
    factor_after_strip,
    kappa_from_light_strip,
    strip_result,
    weighing_errors,
)

SETTINGS = ThreadSettings()
FINE = Scale(step_mg=10, needle_tex=27.0, bobbin_tex=16.7)


def test_every_part_is_as_long_as_plain_geometry_says():
    """Whole columns, line and rows over 100 mm: the paths by hand."""
    strip = draw_strip(FINE, wanted_error=0.05)
    parts = {part.name: part for part in strip.parts}
    for width in SATIN_WIDTHS_MM:
        part = parts[f"satin {width:g} mm"]
        assert part.last - part.first == 250  # 100 mm at 0.4 mm a penetration
        assert part.drawn_mm == pytest.approx(250 * math.hypot(width, 0.4))
    assert parts["running line"].drawn_mm == pytest.approx(100)
    fill = parts["fill"]
    rows = (fill.last - fill.first + 1) / 26
    assert fill.drawn_mm == pytest.approx(rows * 100 + (rows - 1) * 0.4)


def test_the_light_strip_of_a_satin_column_is_the_share_of_bobbin_thread_on_its_back():
    """The bobbin path of the column is the light strip, b of every width crossed, and the advance along it."""
    strip = draw_strip(FINE, wanted_error=0.05)
    column = next(part for part in strip.parts if part.width_mm == 7.0)
    sums = block_sums(strip.points_mm[column.first : column.last + 1], [0])
    for kappa in (0.0, 0.25, 1 / 3, 0.4375):
        at = replace(
            SETTINGS, kappa=kappa, interlock_depth=1.0, bobbin_tail_start_mm=0, bobbin_tail_trim_mm=0
        )
        share = bobbin_laid_mm(sums, at) / sums.drawn_mm
        assert kappa_from_light_strip(share) == pytest.approx(kappa, abs=0.01)


def test_positions_lie_on_the_grid_of_the_formats_and_in_the_field():
    strip = draw_strip(FINE, field_mm=(130.0, 180.0))
    tenths = strip.points_mm * 10
    assert np.abs(tenths - np.rint(tenths)).max() < 1e-9
    width, height = strip.size_mm
    assert width <= 130
    assert height <= 180


@given(st.sampled_from([1.0, 10.0]), st.floats(0.03, 0.2), st.floats(10, 60), st.floats(10, 40))
def test_both_threads_weigh_enough_for_the_error_wanted(step, wanted, needle_tex, bobbin_tex):
    scale = Scale(step_mg=step, needle_tex=needle_tex, bobbin_tex=bobbin_tex)
    field_mm = (300.0, 300.0)
    strip = draw_strip(scale, wanted_error=wanted, field_mm=field_mm)
    assert max(weighing_errors(scale, strip, SETTINGS)) <= wanted
    assert strip.size_mm[1] <= field_mm[1]


def test_a_strip_that_weighs_too_little_for_its_scale_is_refused_with_what_would_do():
    with pytest.raises(WorkshopError, match=r"1000 mg steps.*Take a larger hoop, or a finer scale"):
        draw_strip(Scale(step_mg=1000, needle_tex=27.0, bobbin_tex=16.7))
    with pytest.raises(WorkshopError, match="too small"):
        draw_strip(FINE, field_mm=(30.0, 30.0))


def test_light_strips_that_cannot_be_are_refused():
    for share in (-0.1, 1.1):
        with pytest.raises(WorkshopError, match="cannot be"):
            kappa_from_light_strip(share)
    with pytest.raises(WorkshopError, match="bobbin thread became no lighter"):
        strip_result(
            draw_strip(FINE).sums,
            StripMeasured(light_share=0.3, light_sigma=0.02, needle_mg=500.0, bobbin_mg=0.0),
            scale=FINE,
            settings=SETTINGS,
        )


def weighed(rng, grams_mg, step_mg):
    """A difference of two weighings on a scale that shows whole steps, the pan never just on a step."""
    before = rng.uniform(20_000, 30_000)
    return (round(before / step_mg) - round((before - grams_mg) / step_mg)) * step_mg


@pytest.mark.parametrize("step_mg", [10, 100])
def test_invented_truths_are_recovered_within_the_stated_error(step_mg):
    """Of 2,000 strips, 68 and 95 in a hundred must lie within one and two of the stated sigmas."""
    rng = np.random.default_rng(70)
    scale = Scale(step_mg=step_mg, needle_tex=27.0, bobbin_tex=16.7)
    strip = draw_strip(scale, wanted_error=0.05 if step_mg == 10 else 0.10, field_mm=(200.0, 300.0))
    off = {"kappa": [], "needle": [], "bobbin": []}
    for _ in range(2_000):
        kappa, factors = rng.uniform(0.22, 0.42), np.exp(rng.normal([0.0, 0.2], [0.12, 0.2]))
        truth = replace(SETTINGS, kappa=kappa)
        light = 1 - 2 * kappa + rng.normal(0, 0.03)
        path_mm = 600.0
        needle_mg = (factors[0] * needle_laid_mm(strip.sums, truth) + path_mm) / 1000 * scale.needle_tex
        bobbin_mg = factors[1] * bobbin_laid_mm(strip.sums, truth) / 1000 * scale.bobbin_tex
        result = strip_result(
            strip.sums,
            StripMeasured(
                light_share=light,
                light_sigma=0.03,
                needle_mg=weighed(rng, needle_mg, step_mg),
                bobbin_mg=weighed(rng, bobbin_mg, step_mg),
                path_mm=path_mm,
            ),
            scale=scale,
            settings=SETTINGS,
        )
        off["kappa"].append((result.kappa - kappa) / result.kappa_sigma)
        for what, told, factor in (
            ("needle", result.needle, factors[0]),
            ("bobbin", result.bobbin, factors[1]),
        ):
            off[what].append((told.log_ratio - math.log(factor)) / told.sigma)
    for residuals in map(np.abs, off.values()):
        assert np.mean(residuals < 1) == pytest.approx(0.683, abs=0.04)
        assert np.mean(residuals < 2) == pytest.approx(0.954, abs=0.02)


def test_the_factor_after_the_strip_lies_between_what_was_believed_and_what_was_weighed():
    prior = Factor(mean_log=0.0, sigma=0.12, scatter=0.06)
    strip = draw_strip(FINE, wanted_error=0.05)
    truth = replace(SETTINGS, kappa=0.3)
    result = strip_result(
        strip.sums,
        StripMeasured(
            light_share=0.4,
            light_sigma=0.02,
            needle_mg=1.2 * needle_laid_mm(strip.sums, truth) / 1000 * 27.0,
            bobbin_mg=1.5 * bobbin_laid_mm(strip.sums, truth) / 1000 * 16.7,
        ),
        scale=FINE,
        settings=SETTINGS,
    )
    assert result.kappa == pytest.approx(0.3)
    assert result.needle_factor[0] == pytest.approx(1.2)
    assert result.bobbin_factor[0] == pytest.approx(1.5)
    after = factor_after_strip(prior, result.needle)
    assert 1.0 < after.median < 1.2
    assert after.sigma < prior.sigma
