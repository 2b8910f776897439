"""The grade of a colour difference, against ISO 105-A02 and ISO 105-A05."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from inventory.compute.colour.grade import (
    GREY_SCALE,
    NotADifference,
    delta_e_f,
    grade_between,
    grey_scale_grade,
    instrumental_grade,
)
from inventory.compute.colour.lab import delta_e_76

# ISO 105-A02, grey scale for assessing change in colour: ΔE*ab of each grade and its tolerance.
ISO_105_A02 = {
    "5": (0.0, 0.2),
    "4-5": (0.8, 0.2),
    "4": (1.7, 0.3),
    "3-4": (2.5, 0.35),
    "3": (3.4, 0.4),
    "2-3": (4.8, 0.5),
    "2": (6.8, 0.6),
    "1-2": (9.6, 0.7),
    "1": (13.6, 1.0),
}


@pytest.mark.parametrize(("grade", "step"), ISO_105_A02.items())
def test_each_step_of_the_grey_scale_is_its_own_grade_over_its_tolerance(
    grade: str, step: tuple[float, float]
) -> None:
    delta_e, tolerance = step
    assert GREY_SCALE[grade] == delta_e
    for difference in (max(delta_e - tolerance, 0), delta_e, delta_e + tolerance):
        assert grey_scale_grade(difference) == grade


def test_the_grade_changes_halfway_between_two_steps() -> None:
    steps = [(grade, delta_e) for grade, (delta_e, _) in ISO_105_A02.items()]
    for (better, low), (worse, high) in pairwise(steps):
        halfway = (low + high) / 2
        assert grey_scale_grade(halfway - 1e-6) == better
        assert grey_scale_grade(halfway + 1e-6) == worse


@pytest.mark.parametrize(
    ("halfway", "worse"),
    [
        (0.4, "4-5"),
        (1.25, "4"),
        (2.1, "3-4"),
        (2.95, "3"),
        (4.1, "2-3"),
        (5.8, "2"),
        (8.2, "1-2"),
        (11.6, "1"),
    ],
)
def test_exactly_halfway_is_the_worse_grade(halfway: float, worse: str) -> None:
    assert grey_scale_grade(halfway) == worse


def test_a_difference_beyond_the_scale_is_the_last_grade() -> None:
    assert grey_scale_grade(80) == "1"


@pytest.mark.parametrize("difference", [-0.1, float("nan")])
def test_a_difference_below_zero_has_no_grade(difference: float) -> None:
    with pytest.raises(NotADifference, match="zero or above"):
        grey_scale_grade(difference)


# ISO 105-A05:1997, read in two independent implementations: two colours, their ΔE*ab, ΔE_F and grade.
ISO_105_A05 = [
    ((33.492, 18.218, 18.757), (34.124, 18.985, 19.086), 1.047, 0.922, 4.46),
    ((80, 5, 75), (80, 5, 81), 6.00, 1.755, 3.97),
    ((50, 60, 40), (50, 63, 40), 3.00, 1.329, 4.22),
    ((50, 0, 0), (53.4, 0, 0), 3.4, 3.4, 3.00),
]
labs = st.tuples(*(st.floats(low, high) for low, high in ((0, 100), (-100, 100), (-100, 100))))


@pytest.mark.parametrize(("one", "other", "delta_ab", "expected", "grade"), ISO_105_A05)
def test_the_instrumental_grade_is_the_standards(one, other, delta_ab, expected, grade) -> None:
    found = float(delta_e_f(one, [other])[0])
    assert delta_e_76(one, [other])[0] == pytest.approx(delta_ab, abs=0.01)
    assert found == pytest.approx(expected, abs=0.01)
    assert instrumental_grade(found) == pytest.approx(grade, abs=0.01)


def test_a_yellow_that_differs_by_six_is_of_grade_four() -> None:
    assert grade_between((80, 5, 75), (80, 5, 81)) == "4"


@given(labs, labs)
def test_the_grade_does_not_depend_on_which_colour_is_named_first(one, other) -> None:
    # Hues half a turn apart have two means; the standard does not say which.
    assume(one[1] * other[1] + one[2] * other[2] > -0.99 * math.hypot(*one[1:]) * math.hypot(*other[1:]))
    assert delta_e_f(one, [other])[0] == pytest.approx(delta_e_f(other, [one])[0], rel=1e-9, abs=1e-9)


@given(labs)
def test_a_colour_does_not_differ_from_itself(lab) -> None:
    assert delta_e_f(lab, [lab])[0] == 0


@given(st.floats(0, 100), st.floats(0, 100))
def test_between_greys_it_is_the_difference_of_lightness(one: float, other: float) -> None:
    assert delta_e_f((one, 0, 0), [(other, 0, 0)])[0] == pytest.approx(abs(one - other))


@pytest.mark.parametrize("step", GREY_SCALE.items())
def test_the_formula_meets_the_steps_of_the_grey_scale(step: tuple[str, float]) -> None:
    grade, delta_e = step
    low, _, high = grade.partition("-")
    middle = (int(low) + int(high or low)) / 2
    # The standard's straight line and logarithm round its own steps to a twentieth of a grade.
    assert instrumental_grade(delta_e) == pytest.approx(middle, abs=0.05)


def test_the_grade_falls_as_the_difference_grows_and_stays_on_the_scale() -> None:
    grades = [instrumental_grade(each) for each in np.linspace(0, 30, 1_000)]
    assert grades == sorted(grades, reverse=True)
    assert (grades[0], grades[-1]) == (5, 1)


def test_hue_next_to_one_turn_is_taken_the_short_way() -> None:
    across = delta_e_f((50, 40, -1), [(50, 40, 1)])[0]
    assert across == pytest.approx(2 / (1 + 0.4**2), rel=0.01)
