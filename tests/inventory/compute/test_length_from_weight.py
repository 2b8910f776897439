"""The length on a spool from its weight or by eye, and how sure that is."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.compute.density import tex_from_denier, tex_from_ne
from inventory.compute.errors import NotPositive
from inventory.compute.weighing import (
    COMMERCIAL_MOISTURE_REGAIN,
    FILL_LEVELS,
    MOISTURE_SIGMA,
    LighterThanTare,
    UnknownFillLevel,
    length_from_fill_level,
    length_from_weight,
    length_sigma,
    weight_of_length,
)


def test_95_grams_of_ne_50_2_are_4022_metres() -> None:
    # textilecalculation.blogspot.com, 2014, prints 4,002.31 m with 0.91 m in a yard; with 0.9144, 4,021.7.
    length_mm = length_from_weight(gross_mg=95_000, tare_mg=0, tex=tex_from_ne(50, plies=2))
    assert length_mm / 1000 == pytest.approx(4021.7, rel=1e-3)
    assert length_mm / 1000 * 0.91 / 0.9144 == pytest.approx(4002.31, rel=1e-4)


def test_120_grams_of_two_ply_108_denier_are_5000_metres() -> None:
    # By definition of denier: 2 × 108 g in 9,000 m.
    length_mm = length_from_weight(gross_mg=150_000, tare_mg=30_000, tex=tex_from_denier(2 * 108))
    assert length_mm == pytest.approx(5_000_000, rel=1e-12)


@given(
    st.floats(min_value=0, max_value=1e9),
    st.floats(min_value=1, max_value=1000),
    st.floats(min_value=0, max_value=1e6),
)
def test_weighing_a_known_length_gives_that_length(length_mm: float, tex: float, tare_mg: float) -> None:
    gross_mg = weight_of_length(length_mm=length_mm, tex=tex, tare_mg=tare_mg)
    measured_mm = length_from_weight(gross_mg=gross_mg, tare_mg=tare_mg, tex=tex)
    assert measured_mm == pytest.approx(length_mm, rel=1e-9, abs=1e-3)


def test_a_spool_lighter_than_its_empty_weight_is_refused() -> None:
    with pytest.raises(LighterThanTare, match=r"25\.00 g.*30\.00 g.*when empty"):
        length_from_weight(gross_mg=25_000, tare_mg=30_000, tex=24)


@pytest.mark.parametrize(
    "wrong",
    [
        {"tex": 0},
        {"tex": math.nan},
        {"gross_mg": math.nan},
        {"gross_mg": math.inf},
        {"tare_mg": -1},
        {"scale_resolution_mg": -1},
        {"tare_sigma_mg": math.nan},
        {"tex_relative_sigma": -0.1},
        {"moisture_relative_sigma": math.inf},
    ],
)
def test_a_weighing_with_an_impossible_number_is_refused(wrong: dict[str, float]) -> None:
    weighing = {"gross_mg": 150_000, "tare_mg": 30_000, "tex": 24.0, "scale_resolution_mg": 1000,
                "tare_sigma_mg": 0, "tex_relative_sigma": 0.03, "moisture_relative_sigma": 0.0}  # fmt: skip
    with pytest.raises(NotPositive):
        length_sigma(**{**weighing, **wrong})


def test_a_one_gram_scale_is_unsure_by_tens_of_metres_of_fine_thread() -> None:
    # Two readings, each rounded to 1 g: 1 g × √(2/12) = 0.408 g; at 120 denier, 13.3 tex, that is 31 m.
    sigma_mm = length_sigma(
        gross_mg=60_000,
        tare_mg=30_000,
        tex=120 / 9,
        scale_resolution_mg=1000,
        tare_sigma_mg=0,
        tex_relative_sigma=0,
    )
    assert sigma_mm / 1000 == pytest.approx(0.40825 / (120 / 9) * 1000, rel=1e-4)
    assert 20 < sigma_mm / 1000 < 40


@pytest.mark.parametrize(
    ("resolution_mg", "tare_sigma_mg", "tex_sigma", "moisture_sigma"),
    [
        (1000, 0, 0, 0),
        (1000, 500, 0, 0),
        (100, 0, 0.03, 0),
        (100, 0, 0, 0.03),
        (1000, 500, 0.02, 0.02),
    ],
)
def test_sigma_is_the_spread_of_many_simulated_weighings(
    resolution_mg: float, tare_sigma_mg: float, tex_sigma: float, moisture_sigma: float
) -> None:
    """Weigh many spools of known length, as a scale does it, and compare the spread of the answers."""
    rng = np.random.default_rng(20_240_601)
    n = 400_000
    nominal_tex, spool_mg = 24.0, 30_000.0
    # Ten whole steps of the scale, so that no rounding is likelier than another.
    ten_steps_mm = 10 * resolution_mg / nominal_tex * 1000
    true_length_mm = 2_000_000 + rng.uniform(-ten_steps_mm / 2, ten_steps_mm / 2, n)
    true_tex = nominal_tex * (1 + tex_sigma * rng.standard_normal(n))
    damp = 1 + moisture_sigma * rng.standard_normal(n)
    this_spool_mg = spool_mg + rng.uniform(-5 * resolution_mg, 5 * resolution_mg, n)
    sampled_spool_mg = this_spool_mg + tare_sigma_mg * rng.standard_normal(n)

    def reading(mass_mg: np.ndarray) -> np.ndarray:
        return np.round(mass_mg / resolution_mg) * resolution_mg

    gross_mg = reading(this_spool_mg + true_length_mm / 1000 * true_tex * damp)
    measured_mm = (gross_mg - reading(sampled_spool_mg)) / nominal_tex * 1000
    spread_mm = np.std(measured_mm - true_length_mm)

    sigma_mm = length_sigma(
        gross_mg=spool_mg + 2_000 * nominal_tex,
        tare_mg=spool_mg,
        tex=nominal_tex,
        scale_resolution_mg=resolution_mg,
        tare_sigma_mg=tare_sigma_mg,
        tex_relative_sigma=tex_sigma,
        moisture_relative_sigma=moisture_sigma,
    )
    assert sigma_mm == pytest.approx(spread_mm, rel=0.01)


def test_moisture_swings_a_quarter_of_the_regain() -> None:
    # A spool weighs dry × (1 + regain). Cotton, regain 8.5 %: the weight at 1.25 × 8.5 % is 1.96 % more.
    damp, standard = 1 + 1.25 * 0.085, 1 + 0.085
    assert MOISTURE_SIGMA["cotton"] == pytest.approx(damp / standard - 1, rel=1e-12)


def test_commercial_regains_are_the_standard_ones() -> None:
    # ASTM D1909-13 as cited in Bioresources and Bioprocessing, doi 10.1186/s40643-020-00339-1, table 10.
    cited = {"cotton": 0.085, "silk": 0.11, "wool": 0.136}
    # From memory (ASTM D1909; BISFA for viscose).
    remembered = {"polyester": 0.004, "nylon": 0.045, "rayon": 0.13}
    assert {fibre: COMMERCIAL_MOISTURE_REGAIN[fibre] for fibre in cited | remembered} == cited | remembered


def test_moisture_matters_for_rayon_and_cotton_and_hardly_for_polyester() -> None:
    assert MOISTURE_SIGMA["rayon"] > MOISTURE_SIGMA["cotton"] > 10 * MOISTURE_SIGMA["polyester"]


def test_a_half_full_spool_holds_half_and_is_unsure() -> None:
    length_mm, sigma_mm = length_from_fill_level("Half", put_up_mm=5_000_000)
    assert length_mm == 2_500_000
    assert 500_000 <= sigma_mm <= 750_000


def test_neighbouring_fill_levels_overlap() -> None:
    # People are not that good at it: two sigmas of one word reach the next word.
    levels = list(FILL_LEVELS.values())
    for fuller, emptier in pairwise(levels):
        assert fuller.fraction > emptier.fraction
        assert fuller.fraction - 2 * fuller.sigma_fraction < emptier.fraction + 2 * emptier.sigma_fraction


def test_a_word_that_is_no_fill_level_is_refused_with_the_choices() -> None:
    with pytest.raises(UnknownFillLevel, match=r"brimming.*three quarters"):
        length_from_fill_level("brimming", put_up_mm=1_000_000)
    with pytest.raises(NotPositive, match="full spool"):
        length_from_fill_level("half", put_up_mm=0)
