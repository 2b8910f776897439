"""Tex and the other systems of linear density, against printed values."""

import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.compute.density import (
    denier_from_tex,
    grams_per_m2_from_oz_per_yd2,
    metric_ticket,
    ne_from_tex,
    nm_from_tex,
    tex_from_denier,
    tex_from_dtex,
    tex_from_ne,
    tex_from_nm,
)
from inventory.compute.errors import NotPositive


def test_thirty_tex_is_cotton_count_19_7() -> None:
    # ASTM D2260, factor 590.541; its example prints 19.7.
    assert ne_from_tex(30) == pytest.approx(19.685, abs=5e-4)


@pytest.mark.parametrize(("denier", "tex"), [(240, 26.667), (216, 24.000)])
def test_denier_is_nine_times_tex(denier: float, tex: float) -> None:
    # tex = denier / 9: ASTM D2260, ISO 1144.
    assert tex_from_denier(denier) == pytest.approx(tex, abs=5e-4)


def test_metric_ticket_is_three_thousand_over_tex() -> None:
    # Thread numbering guides: ticket = 3000 / tex; Nm 80/2 is ticket 120, tex 40 is ticket 75.
    assert metric_ticket(tex_from_nm(80, plies=2)) == pytest.approx(120, rel=1e-12)
    assert metric_ticket(40) == pytest.approx(75, rel=1e-12)


def test_decitex_is_ten_times_tex() -> None:
    # By definition (ISO 1144): dtex is the grams in 10 km.
    assert tex_from_dtex(240) == 24


def test_plies_add_up() -> None:
    # Two yarns of 12.5 tex laid together weigh 25 tex.
    assert tex_from_nm(80, plies=2) == pytest.approx(2 * tex_from_nm(80), rel=1e-12)
    assert tex_from_nm(80) == pytest.approx(12.5, rel=1e-12)
    assert tex_from_ne(50, plies=3) == pytest.approx(3 * tex_from_ne(50), rel=1e-12)


def test_the_cotton_factor_follows_from_hanks_and_pounds() -> None:
    # Ne 1 is one hank of 840 yd in a pound: 453.59237 g in 0.768096 km.
    assert tex_from_ne(1) == pytest.approx(453.59237 / (840 * 0.9144 / 1000), rel=1e-6)


def test_an_ounce_per_square_yard_is_33_906_grams_per_square_metre() -> None:
    # By definition of the ounce (28.349523125 g) and the yard (0.9144 m).
    assert grams_per_m2_from_oz_per_yd2(1) == pytest.approx(33.906, abs=5e-4)


@given(st.floats(min_value=0.1, max_value=10_000))
def test_every_system_leads_back_to_the_same_tex(tex: float) -> None:
    assert tex_from_denier(denier_from_tex(tex)) == pytest.approx(tex, rel=1e-12)
    assert tex_from_nm(nm_from_tex(tex)) == pytest.approx(tex, rel=1e-12)
    assert tex_from_ne(ne_from_tex(tex)) == pytest.approx(tex, rel=1e-12)
    assert metric_ticket(tex) == pytest.approx(metric_ticket(tex_from_nm(nm_from_tex(tex))), rel=1e-12)


@pytest.mark.parametrize(
    "convert",
    [
        tex_from_denier,
        tex_from_dtex,
        tex_from_nm,
        tex_from_ne,
        ne_from_tex,
        nm_from_tex,
        denier_from_tex,
        metric_ticket,
        grams_per_m2_from_oz_per_yd2,
    ],
)
@pytest.mark.parametrize("value", [0, -1, math.nan, math.inf])
def test_a_density_that_is_no_number_above_zero_is_refused(
    convert: Callable[[float], float], value: float
) -> None:
    with pytest.raises(NotPositive, match="above zero"):
        convert(value)


def test_a_thread_of_no_plies_is_refused() -> None:
    with pytest.raises(NotPositive, match="plies"):
        tex_from_nm(80, plies=0)
    with pytest.raises(NotPositive, match="plies"):
        tex_from_ne(50, plies=0)
